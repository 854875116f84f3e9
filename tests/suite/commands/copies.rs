//! `roundel backup` and `restore`: a whole copy of a database that is written to meanwhile, and nothing ever overwritten.

use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use roundel::audit::{Event, append};
use roundel::clock::Clock;
use roundel::db::connection::{Door, Manager};
use roundel::db::{Actor, Address, StoreError};

use super::{Ended, Running, add_staff, ended, on, roundel};
use crate::support::{Backend, TestDatabase, block_on, raw};

fn names(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).expect("a folder");
    let mut names: Vec<String> = entries.flatten().map(|e| e.file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

fn text(path: &Path) -> &str {
    path.to_str().expect("plain text")
}

fn at(file: &Path, args: &[&str]) -> Ended {
    ended(roundel(args).env("ROUNDEL_DATABASE_URL", format!("sqlite:{}", file.display())))
}

#[test]
fn a_copy_is_made_while_the_service_runs_and_put_back_elsewhere() {
    let db = TestDatabase::new(Backend::Sqlite);
    let link = add_staff(&db, "Ruth Example", "ruth@clinic.example", "lead");
    let running = Running::serve(&db);
    let folder = tempfile::tempdir().expect("a folder");
    let (copy, target) = (folder.path().join("copy.db"), folder.path().join("restored.db"));
    let said = ended(&mut on(&db, &["backup", text(&copy)])).expect(0);
    assert!(said.out.contains(text(&copy)), "{said:?}");
    assert_eq!(names(folder.path()), ["copy.db"], "a backup is one file");
    // The service goes on, and the backup is in its log.
    block_on(async { running.anonymous().get(&link).await }).expect(200);
    let events = raw::texts(&mut db.outside(), "SELECT what AS text FROM audit_events ORDER BY seq");
    assert_eq!(events.iter().filter(|what| *what == "backup").count(), 1, "{events:?}");

    let said = at(&target, &["restore", text(&copy)]).expect(0);
    assert!(said.out.contains("roundel audit verify"), "{said:?}");
    assert_eq!(names(folder.path()), ["copy.db", "restored.db"], "a restored database is one file");
    let verified = at(&target, &["audit", "verify"]).expect(0);
    // All but the event of the backup itself, which was written after the copy.
    assert!(verified.out.contains(&format!("events 1 to {}", events.len() - 1)), "{verified:?}");
    let mut serve = roundel(&["serve"]);
    serve.env("ROUNDEL_DATABASE_URL", format!("sqlite:{}", target.display())).env("ROUNDEL_LISTEN", "127.0.0.1:0");
    let restored = Running::start(&mut serve, "listens on");
    let page = block_on(async { restored.anonymous().get(&link).await }).expect(200);
    assert!(page.words().contains("Ruth Example"), "{}", page.words());
}

#[test]
fn a_copy_made_in_the_middle_of_writing_is_whole() {
    let db = TestDatabase::new(Backend::Sqlite);
    let records = db.open(Clock::system());
    let folder = tempfile::tempdir().expect("a folder");
    let stop = AtomicBool::new(false);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            let actor = Actor::command("test", None);
            while !stop.load(Ordering::Relaxed) {
                let written = records.write_now(&actor, |tx| append(tx, Event::execute("test")).map(drop));
                written.map_err(|error: StoreError| error).expect("a write");
            }
        });
        for n in 0..3 {
            let copy = folder.path().join(format!("copy-{n}.db"));
            ended(&mut on(&db, &["backup", text(&copy)])).expect(0);
            at(&copy, &["audit", "verify"]).expect(0);
        }
        stop.store(true, Ordering::Relaxed);
    });
    assert!(raw::count(&mut db.outside(), "audit_events WHERE what = 'test'") > 3);
}

#[test]
fn a_backup_never_overwrites_and_a_half_one_is_no_hindrance() {
    let db = TestDatabase::new(Backend::Sqlite);
    let folder = tempfile::tempdir().expect("a folder");
    let copy = folder.path().join("copy.db");
    std::fs::write(&copy, "mine").expect("a file");
    ended(&mut on(&db, &["backup", text(&copy)])).refused("is there already");
    assert_eq!(std::fs::read(&copy).expect("the file"), b"mine");
    let nowhere = folder.path().join("none").join("copy.db");
    let said = ended(&mut on(&db, &["backup", text(&nowhere)]));
    assert!(matches!(said.code, Some(1 | 2)) && !said.err.is_empty() && said.out.is_empty(), "{said:?}");
    // What a killed backup left behind must not stop the next one.
    std::fs::remove_file(&copy).expect("gone");
    std::fs::write(folder.path().join("copy.db.part"), "half a file").expect("a file");
    ended(&mut on(&db, &["backup", text(&copy)])).expect(0);
    assert_eq!(names(folder.path()), ["copy.db"]);
    at(&copy, &["audit", "verify"]).expect(0);
    let events = raw::texts(&mut db.outside(), "SELECT what AS text FROM audit_events");
    assert_eq!(events, ["backup"], "only the backup that was made is in the log");
}

#[test]
fn a_restore_refuses_to_overwrite_and_takes_only_a_whole_copy() {
    let db = TestDatabase::new(Backend::Sqlite);
    add_staff(&db, "Ruth Example", "ruth@clinic.example", "lead");
    let folder = tempfile::tempdir().expect("a folder");
    let copy = folder.path().join("copy.db");
    ended(&mut on(&db, &["backup", text(&copy)])).expect(0);
    // The database of the settings is there, served or not.
    let before = raw::count(&mut db.outside(), "audit_events");
    ended(&mut on(&db, &["restore", text(&copy)])).refused("is there already");
    let running = Running::serve(&db);
    ended(&mut on(&db, &["restore", text(&copy)])).refused("is there already");
    drop(running);
    assert_eq!(raw::count(&mut db.outside(), "audit_events"), before);
    // Only its log of changes is left: putting a copy beside it would mix the two.
    let target = folder.path().join("target.db");
    let wal = folder.path().join("target.db-wal");
    std::fs::write(&wal, "what was not yet in the file").expect("a file");
    at(&target, &["restore", text(&copy)]).refused("is there already");
    std::fs::remove_file(&wal).expect("gone");
    // No file, no database, half a copy, a copy with a damaged page.
    at(&target, &["restore", text(&folder.path().join("none.db"))]).refused("is not there");
    let whole = std::fs::read(&copy).expect("the copy");
    let mut damaged = whole.clone();
    let middle = whole.len() / 2;
    damaged[middle..middle + 4096].fill(0xA5);
    let broken = folder.path().join("broken.db");
    // A database of something else may be as whole as it likes.
    let other = folder.path().join("other.db");
    let mut conn = Manager { address: Address::Sqlite(other.clone()), door: Door::Write }.open().expect("a database");
    raw::run(&mut conn, "PRAGMA journal_mode = DELETE; CREATE TABLE recipes (name TEXT)").expect("a table");
    drop(conn);
    let others =
        std::fs::read(&other).and_then(|bytes| std::fs::remove_file(&other).map(|()| bytes)).expect("its bytes");
    for bytes in [b"this is no database".to_vec(), whole[..middle].to_vec(), damaged, others] {
        std::fs::write(&broken, &bytes).expect("a file");
        let said = at(&target, &["restore", text(&broken)]).expect(1);
        assert!(said.err.contains("is no whole copy") && said.out.is_empty(), "{said:?}");
        assert_eq!(names(folder.path()), ["broken.db", "copy.db"], "nothing is left behind");
    }
    at(&target, &["restore", text(&copy)]).expect(0);
}

#[test]
fn a_postgresql_database_is_copied_by_its_own_programs() {
    let db = TestDatabase::new(Backend::Postgres);
    let folder = tempfile::tempdir().expect("a folder");
    let copy = folder.path().join("copy.db");
    ended(&mut on(&db, &["backup", text(&copy)])).refused("pg_dump");
    std::fs::write(&copy, "a copy").expect("a file");
    ended(&mut on(&db, &["restore", text(&copy)])).refused("pg_restore");
}
