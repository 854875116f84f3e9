//! The service, started as `main` starts it, on a database of its own, at a time of the test's choosing.

use std::net::SocketAddr;
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Arc, Mutex, OnceLock, mpsc};
use std::thread::JoinHandle;

use actix_web::dev::ServerHandle;
use chrono::{DateTime, Duration, NaiveDate, NaiveTime, TimeZone, Utc};
use roundel::access::roles::Role;
use roundel::access::{passwords, secrets, setup, store};
use roundel::audit::store::EventRow;
use roundel::audit::{Event, append};
use roundel::clock::Clock;
use roundel::db::ids::{PatientId, ServiceId, StaffId};
use roundel::db::{Actor, Conn, Db, Stamp, StoreError, Tx};
use roundel::web::State;

use super::client::Client;
use super::database::{Backend, TestDatabase};
use super::raw;

/// The password of every staff member that a test makes.
pub const PASSWORD: &str = "lantern otter quilt spade";

/// A password's hash, worked out once: it is slow on purpose.
fn password_hash() -> &'static str {
    static HASH: OnceLock<String> = OnceLock::new();
    HASH.get_or_init(|| passwords::hash(PASSWORD).expect("a hash"))
}

/// A clock that a test moves.
#[derive(Clone, Debug)]
pub struct Hands(Arc<Mutex<DateTime<Utc>>>);

impl Hands {
    /// Wednesday 25 November 2026, 10:42 in London.
    pub fn new() -> Self {
        Self(Arc::new(Mutex::new(Utc.with_ymd_and_hms(2026, 11, 25, 10, 42, 0).unwrap())))
    }

    /// The clock that tells this time.
    pub fn clock(&self) -> Clock {
        let hands = self.0.clone();
        Clock::told_by(move || *hands.lock().unwrap())
    }

    /// What it tells.
    pub fn now(&self) -> DateTime<Utc> {
        *self.0.lock().unwrap()
    }

    /// Sets it.
    pub fn set(&self, at: DateTime<Utc>) {
        *self.0.lock().unwrap() = at;
    }
}

/// Somebody who works for a service.
#[derive(Clone, Debug)]
pub struct Person {
    /// Id.
    pub id: StaffId,
    /// What they type; the password is [`PASSWORD`].
    pub sign_in_name: String,
    /// Name on pages.
    pub name: String,
}

/// The running service. Ends, and removes its database, when it is dropped.
pub struct TestApp {
    /// Which database.
    pub backend: Backend,
    /// Where it listens.
    pub address: SocketAddr,
    /// `http://127.0.0.1:PORT`
    pub base: String,
    /// The records, by the same doors as the service.
    pub db: Db,
    /// The service that the helpers below act for.
    pub service_id: ServiceId,
    /// The clock.
    pub hands: Hands,
    http: reqwest::Client,
    serving: Option<(ServerHandle, JoinHandle<()>)>,
    /// The database itself; the last field, for it goes last.
    pub database: TestDatabase,
}

impl TestApp {
    /// Starts the service with one clinic in it and nobody.
    pub fn start(backend: Backend) -> Self {
        let database = TestDatabase::new(backend);
        let hands = Hands::new();
        let db = database.open(hands.clock());
        let state = State {
            db: db.clone(),
            clock: hands.clock(),
            idle_minutes: roundel::config::IDLE_MINUTES,
            refuse_test_numbers: false,
            demo_sign_ins: Arc::from([]),
        };
        let (tell, told) = mpsc::channel();
        let thread = std::thread::spawn(move || {
            actix_web::rt::System::new().block_on(async move {
                let bound = roundel::app::bind(state, SocketAddr::from(([127, 0, 0, 1], 0))).expect("a free port");
                tell.send((bound.address, bound.server.handle())).expect("a test that waits");
                bound.server.await.expect("the service runs");
            });
        });
        let (address, handle) = told.recv().expect("the service starts");
        let http = reqwest::Client::builder().redirect(reqwest::redirect::Policy::none()).no_proxy().build();
        let mut app = Self {
            backend,
            address,
            base: format!("http://{address}"),
            db,
            service_id: ServiceId::new(),
            hands,
            http: http.expect("a client"),
            serving: Some((handle, thread)),
            database,
        };
        app.service_id = app.add_service("Example Community Health");
        app
    }

    /// Now, as the service believes.
    pub fn now(&self) -> Stamp {
        Stamp::new(self.hands.now())
    }

    /// Today, as the service believes.
    pub fn today(&self) -> NaiveDate {
        self.hands.clock().today()
    }

    /// Makes it this day, the hour unchanged. Open sessions stay open: who waits a week need not sign in again.
    pub fn set_today(&self, day: NaiveDate) {
        self.hands.set(day.and_time(self.hands.now().time()).and_utc());
        let now = match self.backend {
            Backend::Sqlite => self.hands.now().format("'%Y-%m-%d %H:%M:%S%.6f'").to_string(),
            Backend::Postgres => self.hands.now().format("'%Y-%m-%d %H:%M:%S%.6fZ'").to_string(),
        };
        let keep = format!("UPDATE sessions SET created_at = {now}, last_seen_at = {now} WHERE ended_at IS NULL");
        raw::touched(&mut self.outside(), &keep);
    }

    /// Makes it this hour of the same day.
    pub fn set_time(&self, hour: u32, minute: u32) {
        let time = NaiveTime::from_hms_opt(hour, minute, 0).expect("a time");
        self.hands.set(self.hands.now().date_naive().and_time(time).and_utc());
    }

    /// Lets time pass; sessions end as they would.
    pub fn wait(&self, time: Duration) {
        self.hands.set(self.hands.now() + time);
    }

    /// A connection beside the service.
    pub fn outside(&self) -> Conn {
        self.database.outside()
    }

    /// Somebody who is not signed in.
    pub fn anonymous(&self) -> Client {
        Client::new(self.http.clone(), &self.base)
    }

    /// The actor of the direct writes below.
    pub fn actor(&self, service: ServiceId) -> Actor {
        Actor::command("test", Some(service))
    }

    /// Writes directly, for the test's own service; the audit event is added here.
    pub fn write<T: Send + 'static>(&self, f: impl FnOnce(&mut Tx<'_>) -> Result<T, StoreError> + Send + 'static) -> T {
        self.write_as(&self.actor(self.service_id), f)
    }

    /// Writes directly as this actor.
    pub fn write_as<T: Send + 'static>(
        &self,
        actor: &Actor,
        f: impl FnOnce(&mut Tx<'_>) -> Result<T, StoreError> + Send + 'static,
    ) -> T {
        let done = self.db.write_now(actor, |tx| {
            let value = f(tx)?;
            append(tx, Event::create("test.setup"))?;
            Ok::<_, StoreError>(value)
        });
        done.expect("a direct write")
    }

    /// Reads directly.
    pub fn read<T>(&self, f: impl FnOnce(&mut Conn) -> Result<T, StoreError>) -> T {
        self.db.read_now(f).expect("a direct read")
    }

    /// Another clinic in the same database.
    pub fn add_service(&self, name: &str) -> ServiceId {
        let service = store::new_service(name, "england", false, self.now());
        let id = service.id;
        // Set up: who signs in comes to the first page of their role.
        self.write_as(&self.actor(id), move |tx| {
            store::add_service(tx, &service)?;
            setup::settle(tx, setup::Step::PutAway)
        });
        id
    }

    /// A staff member who has chosen [`PASSWORD`] and is not signed in.
    pub fn db_person(&self, service: ServiceId, roles: &[Role]) -> Person {
        static COUNT: AtomicU32 = AtomicU32::new(1);
        let number = COUNT.fetch_add(1, Ordering::Relaxed);
        let word = roles.first().map_or("Guest", |role| role.word());
        let sign_in_name = format!("person{number}@clinic.example");
        let mut row = store::new_staff(service, &sign_in_name, &format!("{word} {number}"), self.now());
        row.password_hash = Some(password_hash().to_owned());
        let person = Person { id: row.id, sign_in_name, name: row.display_name.clone() };
        let roles = roles.to_vec();
        self.write_as(&self.actor(service), move |tx| store::add_staff(tx, &row, &roles));
        person
    }

    /// Signs somebody in without the sign-in page.
    pub fn db_session(&self, service: ServiceId, person: &Person) -> Client {
        let (reference, token) = (secrets::fresh().expect("a reference"), secrets::fresh().expect("a token"));
        let (hash, form_token, id) = (secrets::hash(&reference), token.clone(), person.id);
        self.write_as(&self.actor(service), move |tx| {
            let row = store::staff_member(tx.conn(), service, id)?;
            store::open_session(tx, &row, &hash, &form_token)
        });
        self.anonymous().with_session(person.id, &reference, &token)
    }

    /// A new staff member with this role, signed in.
    pub fn as_role(&self, role: Role) -> Client {
        self.as_roles(self.service_id, &[role])
    }

    /// A new staff member of a service with these roles, signed in.
    pub fn as_roles(&self, service: ServiceId, roles: &[Role]) -> Client {
        self.db_session(service, &self.db_person(service, roles))
    }

    /// The audit events after number `seq`, oldest first.
    pub fn events_after(&self, seq: i64) -> Vec<EventRow> {
        use diesel::prelude::*;
        use roundel::db::schema::audit_events;
        let query = audit_events::table.filter(audit_events::seq.gt(seq)).order(audit_events::seq);
        self.read(|conn| Ok(query.select(EventRow::as_select()).load(conn)?))
    }

    /// The number of the last audit event.
    pub fn last_event(&self) -> i64 {
        self.read(roundel::audit::store::head).0
    }

    /// The patients that an event names.
    pub fn subjects_of(&self, seq: i64) -> Vec<PatientId> {
        use diesel::prelude::*;
        use roundel::db::schema::audit_subjects;
        let query = audit_subjects::table.filter(audit_subjects::seq.eq(seq)).order(audit_subjects::patient_id);
        self.read(|conn| Ok(query.select(audit_subjects::patient_id).load(conn)?))
    }
}

impl Drop for TestApp {
    fn drop(&mut self) {
        if let Some((handle, thread)) = self.serving.take() {
            drop(handle.stop(false)); // the order is given at once; the thread ends when it is carried out
            if thread.join().is_err() && !std::thread::panicking() {
                panic!("the service ended badly");
            }
        }
    }
}
