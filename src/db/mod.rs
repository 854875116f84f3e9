//! The records' two doors: [`Db::read`] and [`Db::write`]. There is no third.
//!
//! Every write is one transaction that must append an audit event, or it is refused. On SQLite one thread
//! writes (see `writer`), readers stand beside it; on PostgreSQL writers queue at the audit head's row.
//! This room knows no feature and no page.

pub mod connection;
pub mod dialect;
pub mod error;
pub mod ids;
pub mod migrate;
#[rustfmt::skip]
pub mod schema;
pub mod tx;
pub mod types;
mod writer;

use std::sync::Arc;
use std::time::Duration;

use diesel::prelude::*;
use diesel::r2d2::Pool;

pub use connection::{Address, Conn};
pub use error::StoreError;
pub use tx::{Actor, Tx};
pub use types::{Doc, Stamp};

use crate::clock::Clock;
use connection::{Door, Manager};
use writer::Writer;

/// Readers kept open on an SQLite file: two cores, and one for a long page.
const SQLITE_READERS: u32 = 3;
/// Connections kept to PostgreSQL per instance.
const POSTGRES_CONNECTIONS: u32 = 8;

/// Makes anew what derives from the facts of patients (planned reviews, the week's rows), in the transaction that
/// changed them. Given from above when the records are opened, for this room knows no feature.
pub type Derive = fn(&mut Tx<'_>, &[ids::PatientId]) -> Result<(), StoreError>;

/// The records.
#[derive(Clone)]
pub struct Db {
    inner: Arc<Inner>,
}

struct Inner {
    address: Address,
    clock: Clock,
    derive: Derive,
    pool: Pool<Manager>,
    writer: Option<Writer>,
}

impl std::fmt::Debug for Db {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Db({:?})", self.inner.address)
    }
}

impl Db {
    /// Opens the database; with `migrate` runs what is pending, without it refuses a database that is behind.
    pub fn open(address: Address, clock: Clock, migrate: bool, derive: Derive) -> Result<Self, StoreError> {
        let manager = Manager { address: address.clone(), door: Door::Write };
        let mut conn = manager.open().map_err(|e| StoreError::Busy(format!("{address:?}: {e}")))?;
        dialect::check_version(&mut conn)?;
        if migrate {
            for name in migrate::up(&mut conn)? {
                tracing::info!(migration = %name, "migrated");
            }
        } else if migrate::pending(&mut conn)? {
            return Err(StoreError::Backend("the database is behind this program: run `roundel migrate`".to_owned()));
        }
        let (writer, readers, size) = match address {
            Address::Sqlite(_) => {
                let writer = Writer::start(manager, conn).map_err(|e| StoreError::Backend(e.to_string()))?;
                (Some(writer), Manager { address: address.clone(), door: Door::Read }, SQLITE_READERS)
            }
            Address::Postgres(_) => (None, manager, POSTGRES_CONNECTIONS),
        };
        let pool = Pool::builder()
            .max_size(size)
            .min_idle(Some(1))
            .test_on_check_out(matches!(address, Address::Postgres(_)))
            .connection_timeout(Duration::from_secs(10))
            .build(readers)
            .map_err(|e| StoreError::Busy(e.to_string()))?;
        Ok(Self { inner: Arc::new(Inner { address, clock, derive, pool, writer }) })
    }

    /// Where the records are.
    pub fn address(&self) -> &Address {
        &self.inner.address
    }

    /// The clock that stamps writes.
    pub fn clock(&self) -> &Clock {
        &self.inner.clock
    }

    /// Reads, on a thread made for blocking work. `f` sees one state of the records.
    pub async fn read<T, E, F>(&self, f: F) -> Result<T, E>
    where
        T: Send + 'static,
        E: From<StoreError> + Send + 'static,
        F: FnOnce(&mut Conn) -> Result<T, E> + Send + 'static,
    {
        let db = self.clone();
        tokio::task::spawn_blocking(move || db.read_now(f))
            .await
            .unwrap_or_else(|e| Err(StoreError::Backend(format!("a read was stopped: {e}")).into()))
    }

    /// Reads on this thread: for commands.
    pub fn read_now<T, E: From<StoreError>>(&self, f: impl FnOnce(&mut Conn) -> Result<T, E>) -> Result<T, E> {
        let mut conn = self.inner.pool.get().map_err(|e| StoreError::Busy(e.to_string()))?;
        dialect::begin_read(&mut conn)?;
        let result = f(&mut conn);
        dialect::roll_back(&mut conn);
        result
    }

    /// Writes: `f` runs in one transaction of its own and must append at least one audit event. What an `Ok`
    /// answers for is on disk.
    pub async fn write<T, E, F>(&self, actor: &Actor, f: F) -> Result<T, E>
    where
        T: Send + 'static,
        E: From<StoreError> + Send + 'static,
        F: FnOnce(&mut Tx<'_>) -> Result<T, E> + Send + 'static,
    {
        let db = self.clone();
        let actor = actor.clone();
        match &self.inner.writer {
            Some(writer) => {
                let (tell, told) = tokio::sync::oneshot::channel();
                writer.queue(db.job(actor, f, move |result| drop(tell.send(result))))?;
                told.await.unwrap_or_else(|_| Err(dropped().into()))
            }
            None => tokio::task::spawn_blocking(move || db.write_now(&actor, f))
                .await
                .unwrap_or_else(|e| Err(StoreError::Backend(format!("a write was stopped: {e}")).into())),
        }
    }

    /// Writes and waits on this thread: for commands.
    pub fn write_now<T, E, F>(&self, actor: &Actor, f: F) -> Result<T, E>
    where
        T: Send + 'static,
        E: From<StoreError> + Send + 'static,
        F: FnOnce(&mut Tx<'_>) -> Result<T, E> + Send + 'static,
    {
        if let Some(writer) = &self.inner.writer {
            let (tell, told) = std::sync::mpsc::channel();
            writer.queue(self.job(actor.clone(), f, move |result| drop(tell.send(result))))?;
            return told.recv().unwrap_or_else(|_| Err(dropped().into()));
        }
        let mut conn = self.inner.pool.get().map_err(|e| StoreError::Busy(e.to_string()))?;
        dialect::begin_write(&mut conn)?;
        let now = Stamp::new(self.inner.clock.now());
        match audited(&mut conn, actor, now, self.inner.derive, f) {
            Ok(value) => {
                dialect::commit(&mut conn)?;
                Ok(value)
            }
            Err(error) => {
                dialect::roll_back(&mut conn);
                Err(error)
            }
        }
    }

    /// Wraps `f` as a job of the writer thread: a savepoint of its own, the answer after the commit.
    fn job<T, E, F>(&self, actor: Actor, f: F, tell: impl FnOnce(Result<T, E>) + Send + 'static) -> writer::Job
    where
        T: Send + 'static,
        E: From<StoreError> + Send + 'static,
        F: FnOnce(&mut Tx<'_>) -> Result<T, E> + Send + 'static,
    {
        let (clock, derive) = (self.inner.clock.clone(), self.inner.derive);
        Box::new(move |conn| {
            let now = Stamp::new(clock.now());
            let result = in_savepoint(conn, |conn| audited(conn, &actor, now, derive, f));
            Box::new(move |committed| tell(committed.map_err(E::from).and(result)))
        })
    }

    /// Opens a connection outside the doors: for backup and for tests that look behind the service.
    pub fn outside(&self) -> Result<Conn, StoreError> {
        let manager = Manager { address: self.inner.address.clone(), door: Door::Write };
        manager.open().map_err(|e| StoreError::Busy(e.to_string()))
    }
}

fn dropped() -> StoreError {
    StoreError::Busy("the write was not made".to_owned())
}

fn audited<T, E: From<StoreError>>(
    conn: &mut Conn,
    actor: &Actor,
    now: Stamp,
    derive: Derive,
    f: impl FnOnce(&mut Tx<'_>) -> Result<T, E>,
) -> Result<T, E> {
    let mut tx = Tx::new(conn, actor, now);
    let value = f(&mut tx)?;
    let touched: Vec<ids::PatientId> = tx.take_touched().into_iter().collect();
    derive(&mut tx, &touched)?;
    if tx.events() == 0 {
        return Err(StoreError::Unaudited.into());
    }
    note_session_use(conn, actor, now)?;
    Ok(value)
}

/// A session in use is noted at most once a minute, in the same transaction as what it was used for; the message of
/// the last act goes when the page that shows it is logged.
fn note_session_use(conn: &mut Conn, actor: &Actor, now: Stamp) -> Result<(), StoreError> {
    use schema::sessions;
    let Some(token_hash) = &actor.session else { return Ok(()) };
    let minute_ago = Stamp::new(now.at() - chrono::Duration::minutes(1));
    diesel::update(sessions::table.find(token_hash))
        .filter(sessions::last_seen_at.lt(minute_ago))
        .set(sessions::last_seen_at.eq(now))
        .execute(conn)?;
    if actor.shows_message {
        diesel::update(sessions::table.find(token_hash))
            .set((sessions::message.eq(None::<String>), sessions::undo.eq(None::<String>)))
            .execute(conn)?;
    }
    Ok(())
}

/// Carries any error through diesel's nested transaction, which wants one made from its own.
enum Inside<E> {
    Own(E),
    Diesel(diesel::result::Error),
}

impl<E> From<diesel::result::Error> for Inside<E> {
    fn from(error: diesel::result::Error) -> Self {
        Self::Diesel(error)
    }
}

fn in_savepoint<T, E: From<StoreError>>(conn: &mut Conn, f: impl FnOnce(&mut Conn) -> Result<T, E>) -> Result<T, E> {
    conn.transaction(|conn| f(conn).map_err(Inside::Own)).map_err(|error| match error {
        Inside::Own(error) => error,
        Inside::Diesel(error) => E::from(StoreError::from(error)),
    })
}
