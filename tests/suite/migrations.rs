//! The migrations: the same steps for both databases, each can be taken back, and running them again gives the same.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use roundel::clock::Clock;
use roundel::db::connection::{Door, Manager};
use roundel::db::{Db, dialect, migrate};

use crate::both_backends;
use crate::support::app::Hands;
use crate::support::{Backend, TestDatabase, raw};

const FOLDERS: [&str; 2] = ["sqlite", "postgresql"];

/// The steps of one folder by name.
fn steps(folder: &str) -> BTreeMap<String, PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations").join(folder);
    let entries = std::fs::read_dir(&folder).expect("the folder of migrations").flatten();
    entries.map(|entry| (entry.file_name().to_string_lossy().into_owned(), entry.path())).collect()
}

/// What SQL says apart from its comments.
fn statements(file: &Path) -> String {
    let text = std::fs::read_to_string(file).unwrap_or_else(|error| panic!("{}: {error}", file.display()));
    text.lines().map(|line| line.split("--").next().unwrap_or("").trim()).collect()
}

#[test]
fn both_folders_have_the_same_steps() {
    let names = FOLDERS.map(|folder| steps(folder).into_keys().collect::<Vec<_>>());
    assert!(!names[0].is_empty());
    assert_eq!(names[0], names[1]);
}

#[test]
fn every_step_says_how_it_is_taken_back() {
    for folder in FOLDERS {
        for (name, path) in steps(folder) {
            for file in ["up.sql", "down.sql"] {
                assert!(!statements(&path.join(file)).is_empty(), "{folder}/{name}/{file} does nothing");
            }
        }
    }
}

/// Tables, columns, indexes, triggers and functions: everything that a migration may leave behind.
fn everything(db: &TestDatabase) -> Vec<String> {
    let mut conn = db.outside();
    let rest = match db.backend {
        Backend::Sqlite => {
            "SELECT type || ' ' || name || ' ' || coalesce(sql, '') AS text FROM sqlite_master ORDER BY 1"
        }
        Backend::Postgres => {
            "SELECT 'trigger ' || tgname || ' ' || pg_get_triggerdef(oid) AS text FROM pg_trigger WHERE NOT tgisinternal \
             UNION ALL SELECT 'function ' || proname FROM pg_proc WHERE pronamespace = current_schema()::regnamespace \
             UNION ALL SELECT 'constraint ' || conrelid::regclass || ' ' || pg_get_constraintdef(oid) FROM pg_constraint \
             WHERE connamespace = current_schema()::regnamespace AND contype <> 'n' \
             UNION ALL SELECT 'index ' || indexdef FROM pg_indexes WHERE schemaname = current_schema() ORDER BY 1"
        }
    };
    let mut all = dialect::columns(&mut conn).expect("the columns");
    all.extend(raw::texts(&mut conn, rest));
    all.retain(|line| !line.contains("__diesel_schema_migrations"));
    all
}

both_backends! {
    fn up_down_up_leaves_the_same(db: TestDatabase) {
        let first = everything(&db);
        assert!(first.iter().any(|line| line == "patients.service_id"), "{first:?}");
        migrate::down(&mut db.outside()).expect("every step can be taken back");
        assert_eq!(everything(&db), Vec::<String>::new());
        assert!(migrate::pending(&mut db.outside()).expect("an answer"));
        let ran = migrate::up(&mut db.outside()).expect("the steps run again");
        assert_eq!(ran.len(), steps(FOLDERS[0]).len());
        assert_eq!(everything(&db), first);
    }

    fn a_second_run_does_nothing(db: TestDatabase) {
        assert_eq!(migrate::up(&mut db.outside()).expect("an answer"), Vec::<String>::new());
        assert!(!migrate::pending(&mut db.outside()).expect("an answer"));
    }

    fn a_service_told_not_to_migrate_refuses_a_database_that_is_behind(db: TestDatabase) {
        let open = |migrate| Db::open(db.address.clone(), Hands::new().clock(), migrate, roundel::derive::derive);
        open(false).expect("a database that is not behind");
        migrate::down(&mut db.outside()).expect("every step can be taken back");
        let refused = open(false).expect_err("a database that is behind").to_string();
        assert!(refused.contains("roundel migrate"), "{refused}");
    }
}

fn started_together(backend: Backend) {
    let db = TestDatabase::empty(backend);
    let starting: Vec<_> = (0..4)
        .map(|_| {
            let address = db.address.clone();
            std::thread::spawn(move || Db::open(address, Clock::system(), true, roundel::derive::derive).map(drop))
        })
        .collect();
    for start in starting {
        start.join().expect("no panic").expect("it starts");
    }
    assert!(!migrate::pending(&mut db.outside()).expect("an answer"));
}

/// Two instances that start at the same moment on an empty database: one migrates, the other waits for it.
#[test]
fn instances_may_start_together_postgresql() {
    started_together(Backend::Postgres);
}

#[test]
fn instances_may_start_together_sqlite() {
    started_together(Backend::Sqlite);
}

#[test]
fn the_true_error_of_a_wrong_address_comes_through() {
    let wrong = |text: &str| roundel::db::Address::parse(text).expect("an address");
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("none.db");
    std::fs::create_dir(&file).expect("a folder where the file should be");
    for (address, says) in [
        (wrong(&format!("sqlite:{}", file.display())), "unable to open"),
        (wrong("postgres://nobody@127.0.0.1:1/none"), "refused"),
    ] {
        let error = Manager { address, door: Door::Write }.open().err().map(|error| error.to_string());
        let error = error.expect("an address that does not work");
        assert!(error.to_lowercase().contains(says), "{error}");
    }
}
