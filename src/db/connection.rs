//! One connection type over both databases, chosen by the scheme of the address.
//!
//! The derived `establish` would try each database in turn and hide the true error, so [`Manager`] picks
//! by scheme itself. Per-connection settings stand here and nowhere else.

#![allow(missing_docs, reason = "the derive of the enum makes items that cannot be given any")]

use std::path::{Path, PathBuf};

use diesel::connection::SimpleConnection;
use diesel::r2d2::R2D2Connection;
use diesel::{Connection, PgConnection, SqliteConnection, r2d2};

/// A connection to either database.
#[derive(diesel::MultiConnection)]
pub enum Conn {
    /// PostgreSQL 15 or later.
    Pg(PgConnection),
    /// The bundled SQLite.
    Sqlite(SqliteConnection),
}

/// Where the records are kept.
#[derive(Clone, PartialEq, Eq)]
pub enum Address {
    /// `sqlite:PATH`
    Sqlite(PathBuf),
    /// `postgres://…`
    Postgres(String),
}

impl Address {
    /// Reads `sqlite:PATH` or `postgres://…`; anything else is refused with a sentence that says what to write.
    pub fn parse(text: &str) -> Result<Self, String> {
        if let Some(path) = text.strip_prefix("sqlite:") {
            let path = PathBuf::from(path);
            let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
            if path.file_name().is_none() {
                return Err("sqlite: needs a file path, for example sqlite:data/roundel.db".to_owned());
            }
            if !folder.is_dir() {
                return Err(format!("the folder {} does not exist: make it first", folder.display()));
            }
            return Ok(Self::Sqlite(path));
        }
        if text.starts_with("postgres://") || text.starts_with("postgresql://") {
            return Ok(Self::Postgres(text.to_owned()));
        }
        Err("the database address must begin with sqlite: or postgres://".to_owned())
    }
}

impl std::fmt::Debug for Address {
    /// Leaves out all of a PostgreSQL address: it may hold a password in more than one place.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Sqlite(path) => write!(f, "sqlite:{}", path.display()),
            Self::Postgres(_) => f.write_str("postgres://…"),
        }
    }
}

/// What a connection is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Door {
    /// Reading only; on SQLite the connection refuses to write.
    Read,
    /// The writer.
    Write,
}

/// Makes connections for the pool.
#[derive(Clone, Debug)]
pub struct Manager {
    /// Which database.
    pub address: Address,
    /// For which door.
    pub door: Door,
}

impl Manager {
    /// Opens one connection and puts its settings on.
    pub fn open(&self) -> Result<Conn, r2d2::Error> {
        let mut conn = match &self.address {
            Address::Postgres(url) => Conn::Pg(PgConnection::establish(url).map_err(r2d2::Error::ConnectionError)?),
            Address::Sqlite(path) => {
                let path = path.to_string_lossy();
                Conn::Sqlite(SqliteConnection::establish(&path).map_err(r2d2::Error::ConnectionError)?)
            }
        };
        let settings = match (&conn, self.door) {
            (Conn::Pg(_), _) => "SET TIME ZONE 'UTC'; SET statement_timeout = '120s'; SET lock_timeout = '10s'",
            // FULL, not NORMAL: in WAL mode NORMAL may lose acknowledged commits on power loss (sqlite.org, PRAGMA synchronous).
            (Conn::Sqlite(_), Door::Write) => {
                "PRAGMA busy_timeout = 5000; PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; \
                 PRAGMA foreign_keys = ON; PRAGMA cache_size = -8000; PRAGMA trusted_schema = OFF"
            }
            (Conn::Sqlite(_), Door::Read) => {
                "PRAGMA busy_timeout = 5000; PRAGMA foreign_keys = ON; PRAGMA synchronous = FULL; \
                 PRAGMA cache_size = -4000; PRAGMA trusted_schema = OFF; PRAGMA query_only = ON"
            }
        };
        conn.batch_execute(settings).map_err(r2d2::Error::QueryError)?;
        Ok(conn)
    }
}

impl r2d2::ManageConnection for Manager {
    type Connection = Conn;
    type Error = r2d2::Error;

    fn connect(&self) -> Result<Conn, r2d2::Error> {
        self.open()
    }

    fn is_valid(&self, conn: &mut Conn) -> Result<(), r2d2::Error> {
        conn.ping().map_err(r2d2::Error::QueryError)
    }

    fn has_broken(&self, conn: &mut Conn) -> bool {
        std::thread::panicking() || conn.is_broken()
    }
}
