//! `roundel serve`, `migrate` and `healthcheck`: settings refused together, a database that is behind, starting, stopping.

use std::io::{Read, Write};
use std::net::TcpListener;

use super::{Running, add_staff, ended, on, roundel};
use crate::both_backends;
use crate::support::{Backend, TestDatabase, block_on, raw};

#[test]
fn all_wrong_settings_are_said_at_once_and_nothing_is_made() {
    let folder = tempfile::tempdir().expect("a folder");
    let missing = folder.path().join("none").join("roundel.db");
    let ended = ended(roundel(&["serve"]).envs([
        ("ROUNDEL_DATABASE_URL", format!("sqlite:{}", missing.display()).as_str()),
        ("ROUNDEL_LISTEN", "8080"),
        ("ROUNDEL_IDLE_MINUTES", "600"),
        ("ROUNDEL_MIGRATE", "perhaps"),
        ("ROUNDEL_COLOUR", "red"),
    ]))
    .refused("does not exist: make it first");
    let lines: Vec<&str> = ended.err.lines().collect();
    assert_eq!(lines.len(), 5, "one line for each mistake: {}", ended.err);
    for name in ["DATABASE_URL", "LISTEN", "IDLE_MINUTES", "MIGRATE", "COLOUR"] {
        assert!(lines.iter().any(|line| line.starts_with(&format!("ROUNDEL_{name}"))), "{name}: {}", ended.err);
    }
    assert!(!folder.path().join("none").exists());
}

#[test]
fn every_command_that_needs_records_refuses_wrong_settings() {
    for args in [
        &["serve"][..],
        &["migrate"],
        &["staff", "add", "Ann Example", "ann@clinic.example", "--role", "nurse"],
        &["audit", "verify"],
        &["backup", "never-made.db"],
        &["restore", "Cargo.toml"],
    ] {
        ended(&mut roundel(args)).refused("ROUNDEL_DATABASE_URL is not set");
        ended(roundel(args).env("ROUNDEL_DATABASE_URL", "mysql://db.example/x")).refused("must begin with sqlite:");
    }
}

#[test]
fn settings_come_from_a_file_and_variables_win() {
    let db = TestDatabase::new(Backend::Sqlite);
    let file = db.folder().join("roundel.toml");
    let text = format!("database_url = {:?}\nlisten = \"127.0.0.1:0\"\nidle_minutes = 0\n", db.url());
    std::fs::write(&file, text).expect("the file");
    let with_file = |args: &[&str]| {
        let mut command = roundel(args);
        command.env("ROUNDEL_CONFIG", &file);
        command
    };
    ended(&mut with_file(&["serve"])).refused("ROUNDEL_IDLE_MINUTES");
    let running = Running::start(with_file(&["serve"]).env("ROUNDEL_IDLE_MINUTES", "20"), "listens on");
    ended(&mut roundel(&["healthcheck", running.address()])).expect(0);
    ended(roundel(&["serve"]).env("ROUNDEL_CONFIG", db.folder().join("none.toml"))).refused("cannot be read");
}

#[test]
fn a_port_that_is_taken_is_said() {
    let db = TestDatabase::new(Backend::Sqlite);
    let taken = TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = taken.local_addr().expect("its address").to_string();
    let ended = ended(on(&db, &["serve"]).env("ROUNDEL_LISTEN", &address)).expect(1);
    assert!(ended.err.contains(&address) && ended.err.contains("Choose another port"), "{ended:?}");
    assert_eq!(ended.out, "");
}

/// What goes wrong at the database lands in a terminal or a journal: the password must not.
#[test]
fn a_database_out_of_reach_is_said_without_its_password() {
    for url in [
        "postgres://clinic:lantern@/roundel?host=/nowhere",
        "postgres:///roundel?host=/nowhere&user=clinic&password=lantern",
    ] {
        for command in ["serve", "migrate"] {
            let ended = ended(roundel(&[command]).env("ROUNDEL_DATABASE_URL", url)).expect(1);
            assert!(ended.err.contains("/nowhere"), "{ended:?}");
            assert!(!ended.err.contains("lantern") && !ended.out.contains("lantern"), "{ended:?}");
        }
    }
}

both_backends! {
    fn a_database_that_is_behind_is_served_only_after_migrating(db: TestDatabase) {
        let empty = TestDatabase::empty(db.backend);
        let behind = ended(on(&empty, &["serve"]).env("ROUNDEL_MIGRATE", "false")).expect(1);
        assert!(behind.err.contains("run `roundel migrate`"), "{behind:?}");
        for _ in 0..2 {
            let said = ended(&mut on(&empty, &["migrate"])).expect(0);
            assert!(said.out.contains("is up to date"), "{said:?}");
            assert!(!said.out.contains("postgres@"), "no user name: {said:?}");
        }
        assert_eq!(raw::count(&mut empty.outside(), "audit_events"), 0);
        let mut serve = on(&empty, &["serve"]);
        let running = Running::start(serve.envs([("ROUNDEL_MIGRATE", "false"), ("ROUNDEL_LISTEN", "127.0.0.1:0")]), "listens on");
        ended(&mut roundel(&["healthcheck", running.address()])).expect(0);
        // And a database without a table is served by itself when it may be migrated.
        let other = TestDatabase::empty(db.backend);
        let running = Running::serve(&other);
        ended(&mut roundel(&["healthcheck", running.address()])).expect(0);
    }

    fn it_answers_until_it_is_told_to_stop_and_ends_well(db: TestDatabase) {
        add_staff(&db, "Ruth Example", "ruth@clinic.example", "lead");
        let running = Running::serve(&db);
        let address = running.address().to_owned();
        let page = block_on(async { running.anonymous().get("/sign-in").await });
        assert_eq!(page.expect(200).heading(), "Sign in");
        assert_eq!(running.said.lines().count(), 1, "{}", running.said);
        ended(&mut roundel(&["healthcheck", &address])).expect(0);
        // Without an address it asks the one of the settings.
        ended(on(&db, &["healthcheck"]).env("ROUNDEL_LISTEN", &address)).expect(0);
        ended(on(&db, &["healthcheck"]).env("ROUNDEL_LISTEN", "127.0.0.1:1")).expect(1);
        assert_eq!(running.stop().code(), Some(0));
        let gone = ended(&mut roundel(&["healthcheck", &address])).expect(1);
        assert!(gone.err.contains("is not ready"), "{gone:?}");
    }
}

/// An address that answers every request with these bytes, once.
fn answering(bytes: &'static [u8]) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = listener.local_addr().expect("its address").to_string();
    std::thread::spawn(move || {
        if let Ok((mut stream, _)) = listener.accept() {
            // The whole request is read: closing a connection with unread bytes would reset it.
            let (mut request, mut byte) = (Vec::new(), [0]);
            while !request.ends_with(b"\r\n\r\n") && stream.read(&mut byte).is_ok_and(|n| n == 1) {
                request.push(byte[0]);
            }
            // Nothing is answered to another question, and the check then fails.
            if request.starts_with(b"GET /readyz ") {
                drop(stream.write_all(bytes));
            }
        }
    });
    address
}

#[test]
fn the_health_check_believes_only_a_200() {
    ended(&mut roundel(&["healthcheck", &answering(b"HTTP/1.1 200 OK\r\n\r\nready")])).expect(0);
    for bytes in [
        &b"HTTP/1.1 503 Service Unavailable\r\n\r\n"[..],
        b"HTTP/1.1 303 See Other\r\n\r\n",
        b"HTTP/1.1 404 Not Found\r\n\r\n200",
        b"",
        b"hello 200 there",
    ] {
        let said = ended(&mut roundel(&["healthcheck", &answering(bytes)]));
        assert_eq!(said.code, Some(1), "{:?}: {said:?}", String::from_utf8_lossy(bytes));
        assert!(said.err.contains("is not ready"), "{said:?}");
    }
    ended(&mut roundel(&["healthcheck", "no address"])).expect(1);
}
