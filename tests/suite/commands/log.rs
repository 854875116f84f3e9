//! `roundel audit verify`: a log that holds, a log that was changed, a log that was cut together with its head row.

use std::path::Path;

use super::{Ended, Running, add_staff, ended, on};
use crate::both_backends;
use crate::support::{Backend, TestDatabase, raw};

/// A log of three events: a service with its first staff member, and a second one.
fn three_events(db: &TestDatabase) {
    add_staff(db, "Ruth Example", "ruth@clinic.example", "lead");
    add_staff(db, "Amit Example", "amit@clinic.example", "clerk");
    assert_eq!(raw::count(&mut db.outside(), "audit_events"), 3);
}

fn verify(db: &TestDatabase, more: &[&str]) -> Ended {
    ended(&mut on(db, &[&["audit", "verify"], more].concat()))
}

/// Runs statements with the guards of the log taken away.
fn tamper(db: &TestDatabase, sql: &str) {
    let mut conn = db.outside();
    let unguard = match db.backend {
        Backend::Sqlite => {
            let names = raw::texts(&mut conn, "SELECT name AS text FROM sqlite_master WHERE type = 'trigger'");
            let drops: String = names.iter().map(|name| format!("DROP TRIGGER {name};")).collect();
            drops + "PRAGMA foreign_keys = OFF"
        }
        Backend::Postgres => ["audit_events", "audit_subjects", "audit_head"]
            .map(|table| format!("ALTER TABLE {table} DISABLE TRIGGER ALL;"))
            .concat(),
    };
    raw::run(&mut conn, &unguard).expect("no guards");
    raw::run(&mut conn, sql).expect("the tampering");
}

fn failed(ended: Ended, words: &str) {
    let ended = ended.expect(1);
    assert_eq!(ended.out, "", "{ended:?}");
    assert!(ended.err.contains("The chain does not hold") && ended.err.contains(words), "“{words}”: {ended:?}");
}

both_backends! {
    fn a_log_as_written_holds_and_verifying_changes_nothing(db: TestDatabase) {
        three_events(&db);
        let said = verify(&db, &[]).expect(0);
        assert!(said.out.contains("The chain holds: events 1 to 3"), "{said:?}");
        assert_eq!(verify(&db, &[]).expect(0).out, said.out);
        assert!(verify(&db, &["--from", "2020-01-01"]).expect(0).out.contains("events 1 to 3"));
        assert!(verify(&db, &["--from", "2999-01-01"]).expect(0).out.contains("no event from that day on"));
    }

    fn an_event_that_was_changed_is_named(db: TestDatabase) {
        three_events(&db);
        tamper(&db, "UPDATE audit_events SET staff_name = 'somebody else' WHERE seq = 2");
        failed(verify(&db, &[]), "event 2 was changed");
        failed(verify(&db, &["--from", "2020-01-01"]), "event 2 was changed");
        // Begun with a later day, the events before are taken as given.
        verify(&db, &["--from", "2999-01-01"]).expect(0);
    }

    fn an_event_that_is_gone_is_named(db: TestDatabase) {
        three_events(&db);
        tamper(&db, "DELETE FROM audit_events WHERE seq = 2");
        failed(verify(&db, &[]), "event 2 is missing");
    }

    fn a_log_cut_together_with_its_head_row_is_found_by_the_noted_heads(db: TestDatabase) {
        three_events(&db);
        let folder = tempfile::tempdir().expect("a folder");
        let heads = folder.path().join("heads");
        let heads_text = heads.to_str().expect("plain text");
        // `serve` notes the head when it starts and when it stops.
        let mut serve = on(&db, &["serve"]);
        serve.env("ROUNDEL_LISTEN", "127.0.0.1:0").env("ROUNDEL_AUDIT_HEADS", &heads);
        let running = Running::start(&mut serve, "listens on");
        assert_eq!(running.stop().code(), Some(0));
        let noted = std::fs::read_to_string(&heads).expect("the heads");
        assert_eq!(noted.lines().count(), 2, "{noted}");
        assert!(noted.lines().all(|line| line.starts_with("3 ")), "{noted}");
        let holds = verify(&db, &["--heads", heads_text]).expect(0);
        assert!(holds.out.contains("2 noted heads agree"), "{holds:?}");

        tamper(
            &db,
            "UPDATE audit_head SET seq = 2, hash = (SELECT hash FROM audit_events WHERE seq = 2);\
             DELETE FROM audit_events WHERE seq = 3",
        );
        // The log alone looks whole; what was noted elsewhere tells.
        verify(&db, &[]).expect(0);
        failed(verify(&db, &["--heads", heads_text]), "the log ends at event 2, but its head says 3");
        failed(ended(on(&db, &["audit", "verify"]).env("ROUNDEL_AUDIT_HEADS", &heads)), "ends at event 2");
        // Written again after the cut, the log is as long as before and another.
        add_staff(&db, "Nell Example", "nell@clinic.example", "nurse");
        verify(&db, &[]).expect(0);
        failed(verify(&db, &["--heads", heads_text]), "the last event 3 is not the one the head names");
    }
}

#[test]
fn heads_that_are_no_heads_are_refused() {
    let db = TestDatabase::new(Backend::Sqlite);
    three_events(&db);
    let file = db.folder().join("heads");
    let with = |file: &Path| verify(&db, &["--heads", file.to_str().expect("plain text")]);
    with(&file).refused("cannot be read");
    for (text, line) in [("hello\n", "line 1"), ("\n3 0g\n", "line 2"), ("3\n", "line 1"), ("3 00 \nx 00\n", "line 2")]
    {
        std::fs::write(&file, text).expect("the file");
        with(&file).refused(line);
    }
}
