//! A database of its own for each test, copied from a template that was migrated once, and removed afterwards.

use std::path::PathBuf;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU32, Ordering};

use roundel::clock::Clock;
use roundel::db::connection::{Door, Manager};
use roundel::db::{Address, Conn, Db, dialect, migrate};
use sha2::{Digest, Sha256};
use tempfile::TempDir;

use super::raw;

/// Which of the two databases.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Backend {
    /// A file.
    Sqlite,
    /// A database of the server that `tests/run` starts.
    Postgres,
}

impl Backend {
    /// Both.
    pub const BOTH: [Self; 2] = [Self::Sqlite, Self::Postgres];
}

/// A database for one test.
#[derive(Debug)]
pub struct TestDatabase {
    /// Which kind.
    pub backend: Backend,
    /// Its address.
    pub address: Address,
    place: Place,
}

#[derive(Debug)]
enum Place {
    Folder(TempDir),
    Named(String),
}

impl TestDatabase {
    /// A database with all migrations run.
    pub fn new(backend: Backend) -> Self {
        match backend {
            Backend::Sqlite => {
                let database = Self::empty(backend);
                if let Address::Sqlite(file) = &database.address {
                    std::fs::write(file, sqlite_template()).expect("a copy of the template");
                }
                database
            }
            Backend::Postgres => Self::on_the_server(&format!("TEMPLATE {}", postgres_template())),
        }
    }

    /// A database without a table.
    pub fn empty(backend: Backend) -> Self {
        match backend {
            Backend::Sqlite => {
                let folder = tempfile::tempdir().expect("a folder for the database");
                let address = Address::Sqlite(folder.path().join("roundel.db"));
                Self { backend, address, place: Place::Folder(folder) }
            }
            Backend::Postgres => Self::on_the_server("TEMPLATE template0"),
        }
    }

    fn on_the_server(options: &str) -> Self {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let name = format!("roundel_test_{}_{}", std::process::id(), COUNT.fetch_add(1, Ordering::Relaxed));
        let mut conn = open(&Address::Postgres(server()));
        raw::run(&mut conn, &format!("CREATE DATABASE {name} {options}")).expect("a database for the test");
        Self {
            backend: Backend::Postgres,
            address: Address::Postgres(with_database(&server(), &name)),
            place: Place::Named(name),
        }
    }

    /// The address as the settings take it.
    pub fn url(&self) -> String {
        match &self.address {
            Address::Sqlite(file) => format!("sqlite:{}", file.display()),
            Address::Postgres(url) => url.clone(),
        }
    }

    /// The folder of an SQLite database.
    pub fn folder(&self) -> PathBuf {
        match &self.place {
            Place::Folder(folder) => folder.path().to_owned(),
            Place::Named(name) => panic!("{name} has no folder"),
        }
    }

    /// The records on this database, as the service opens them.
    pub fn open(&self, clock: Clock) -> Db {
        Db::open(self.address.clone(), clock, true, roundel::derive::derive).expect("the database opens")
    }

    /// A connection beside the service.
    pub fn outside(&self) -> Conn {
        open(&self.address)
    }
}

impl Drop for TestDatabase {
    fn drop(&mut self) {
        if let Place::Named(name) = &self.place {
            // FORCE: the connections of a pool are closed a little after the pool.
            let dropped = Manager { address: Address::Postgres(server()), door: Door::Write }
                .open()
                .map_err(|error| error.to_string())
                .and_then(|mut conn| raw::run(&mut conn, &format!("DROP DATABASE {name} WITH (FORCE)")));
            if let Err(error) = dropped {
                eprintln!("{name} was left behind: {error}");
            }
        }
    }
}

fn open(address: &Address) -> Conn {
    Manager { address: address.clone(), door: Door::Write }.open().unwrap_or_else(|e| panic!("{address:?}: {e}"))
}

/// The server that `tests/run` started.
fn server() -> String {
    std::env::var("ROUNDEL_TEST_POSTGRES").unwrap_or_else(|_| panic!("run tests/run, it starts a PostgreSQL"))
}

/// The address of another database on the same server.
fn with_database(url: &str, name: &str) -> String {
    let (scheme, rest) = url.split_once("://").expect("an address");
    let (place, query) = rest.split_once('?').map_or((rest, String::new()), |(p, q)| (p, format!("?{q}")));
    let server = place.split('/').next().unwrap_or("");
    format!("{scheme}://{server}/{name}{query}")
}

/// The bytes of a migrated SQLite file.
fn sqlite_template() -> &'static [u8] {
    static BYTES: OnceLock<Vec<u8>> = OnceLock::new();
    BYTES.get_or_init(|| {
        let made = TestDatabase::empty(Backend::Sqlite);
        let copy = made.folder().join("template.db");
        let mut conn = made.outside();
        migrate::up(&mut conn).expect("the migrations run");
        dialect::copy_to(&mut conn, &copy.to_string_lossy()).expect("a copy in one file");
        std::fs::read(copy).expect("the copy")
    })
}

/// The name of a migrated database. It carries the migrations' hash, so that a server that outlives a run keeps it for
/// the next one and a changed migration makes another.
fn postgres_template() -> &'static str {
    static NAME: OnceLock<String> = OnceLock::new();
    NAME.get_or_init(|| {
        let mut conn = open(&Address::Postgres(server()));
        let name = format!("roundel_template_{}", migrations_hash());
        // Another run on the same server may be making it at this moment.
        raw::run(&mut conn, "SELECT pg_advisory_lock(7204)").expect("the lock");
        if raw::count(&mut conn, &format!("pg_database WHERE datname = '{name}'")) == 0 {
            let half = format!("{name}_half");
            let make = format!("DROP DATABASE IF EXISTS {half} WITH (FORCE)");
            raw::run(&mut conn, &make).expect("room for the template");
            raw::run(&mut conn, &format!("CREATE DATABASE {half} TEMPLATE template0")).expect("the template");
            migrate::up(&mut open(&Address::Postgres(with_database(&server(), &half)))).expect("the migrations run");
            raw::run(&mut conn, &format!("ALTER DATABASE {half} RENAME TO {name}")).expect("the template's name");
        }
        name // the lock goes with the connection
    })
}

fn migrations_hash() -> String {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/migrations/postgresql");
    let mut names: Vec<_> = std::fs::read_dir(folder).expect("migrations").flatten().map(|e| e.path()).collect();
    names.sort();
    let mut sha = Sha256::new();
    for name in names {
        sha.update(name.to_string_lossy().as_bytes());
        sha.update(std::fs::read(name.join("up.sql")).expect("an up.sql"));
    }
    hex::encode(&sha.finalize()[..6])
}
