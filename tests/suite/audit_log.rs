//! The audit log: every way of tampering with it is found, nothing changes it by the usual doors, and a page that cannot
//! be logged is not shown.

use chrono::Duration;
use diesel::prelude::*;
use roundel::access::roles::Role;
use roundel::audit::rules::{BEFORE_FIRST, Broken, Canonical, Hash};
use roundel::audit::store::{EventRow, NotedHead, Verified, VerifyError, head, verify};
use roundel::audit::{Event, Outcome, append};
use roundel::db::ids::{PatientId, ServiceId, StaffId};
use roundel::db::schema::{audit_events, audit_subjects};
use roundel::db::{Actor, Conn, Db, StoreError, dialect};
use sha2::{Digest, Sha256};

use crate::both_backends;
use crate::support::app::Hands;
use crate::support::{Backend, TestDatabase, raw};

/// Number of events that [`ten_events`] writes; the fifth is the one that most tests change.
const LAST: i64 = 10;

fn somebody() -> Actor {
    Actor {
        staff_id: Some(StaffId::new()),
        name: "Nurse One".to_owned(),
        roles: "nurse".to_owned(),
        ..Actor::command("test", Some(ServiceId::new()))
    }
}

/// A log of ten events about two patients each, five on one day and five on the next.
fn ten_events(db: &TestDatabase) -> Db {
    let hands = Hands::new();
    let records = db.open(hands.clock());
    let actor = somebody();
    for n in 1..=LAST {
        if n == 6 {
            hands.set(hands.now() + Duration::days(1));
        }
        let event = Event::update("patient.record").about_all([PatientId::new(), PatientId::new()]).with("version", n);
        records.write_now(&actor, |tx| append(tx, event).map(drop)).map_err(|e: StoreError| e).expect("an event");
    }
    records
}

fn checked(conn: &mut Conn, noted: &[NotedHead]) -> Result<Verified, Broken> {
    verify(conn, None, noted, |_, _| {}).map_err(|error| match error {
        VerifyError::Broken(broken) => broken,
        VerifyError::Store(error) => panic!("the log could not be read: {error}"),
    })
}

fn rows(conn: &mut Conn) -> Vec<EventRow> {
    audit_events::table.order(audit_events::seq).select(EventRow::as_select()).load(conn).expect("the events")
}

/// Takes away what guards the log: the triggers, and the references between its tables.
fn unguard(conn: &mut Conn) {
    let sql = match conn {
        Conn::Sqlite(_) => {
            let names = raw::texts(conn, "SELECT name AS text FROM sqlite_master WHERE type = 'trigger'");
            assert!(names.len() >= 4, "{names:?}");
            names.iter().map(|name| format!("DROP TRIGGER {name};")).collect::<String>() + "PRAGMA foreign_keys = OFF"
        }
        Conn::Pg(_) => {
            "ALTER TABLE audit_events DISABLE TRIGGER ALL; ALTER TABLE audit_subjects DISABLE TRIGGER ALL".to_owned()
        }
    };
    raw::run(conn, &sql).expect("no guards");
}

/// What the verifier says after `tamper`; afterwards the log is as it was.
fn after<T>(conn: &mut Conn, noted: &[NotedHead], tamper: impl FnOnce(&mut Conn) -> T) -> Result<Verified, Broken> {
    raw::run(conn, "BEGIN").expect("begin");
    tamper(conn);
    let said = checked(conn, noted);
    raw::run(conn, "ROLLBACK").expect("roll back");
    said
}

fn after_sql(conn: &mut Conn, sql: &str) -> Result<Verified, Broken> {
    after(conn, &[], |conn| assert!(raw::touched(conn, sql) > 0, "{sql} touched nothing"))
}

/// Another value for each column of an event: on SQLite, on PostgreSQL.
const OTHER_VALUES: [(&str, &str, &str); 18] = [
    ("seq", "1000", "1000"),
    ("id", "randomblob(16)", "gen_random_uuid()"),
    ("service_id", "randomblob(16)", "gen_random_uuid()"),
    ("service_id", "NULL", "NULL"),
    ("at", "'2026-11-25 10:42:00.000001'", "'2026-11-25 10:42:00.000001Z'"),
    ("staff_id", "randomblob(16)", "gen_random_uuid()"),
    ("staff_id", "NULL", "NULL"),
    ("staff_name", "'Nurse Two'", "'Nurse Two'"),
    ("roles", "'nurse+lead'", "'nurse+lead'"),
    ("action", "'R'", "'R'"),
    ("what", "'patient.records'", "'patient.records'"),
    ("outcome", "'refused'", "'refused'"),
    ("request_id", "request_id || '0'", "request_id || '0'"),
    ("address", "''", "''"),
    ("detail", "'{}'", "'{}'"),
    ("detail", "detail || ' '", "detail || ' '"),
    ("prev_hash", "zeroblob(32)", "decode(repeat('00', 32), 'hex')"),
    ("hash", "zeroblob(32)", "decode(repeat('00', 32), 'hex')"),
];

both_backends! {
    fn a_log_as_written_holds(db: TestDatabase) {
        let records = ten_events(&db);
        let mut heard = Vec::new();
        let said = verify(&mut db.outside(), None, &[], |done, all| heard.push((done, all))).expect("it holds");
        let (seq, hash) = records.read_now(head).expect("the head");
        assert_eq!((said.first, said.last, said.head.to_vec()), (1, seq, hash));
        assert_eq!(seq, LAST);
        assert_eq!(heard, [(LAST, LAST)]);
    }

    fn an_empty_log_holds(db: TestDatabase) {
        let said = checked(&mut db.outside(), &[]);
        assert_eq!(said, Ok(Verified { first: 1, last: 0, head: BEFORE_FIRST }));
    }

    /// The hash is what the documentation says, worked out here a second time.
    fn the_hash_can_be_worked_out_by_others(db: TestDatabase) {
        drop(ten_events(&db));
        let mut conn = db.outside();
        let mut before = vec![0; 32];
        for row in rows(&mut conn) {
            let query = audit_subjects::table.filter(audit_subjects::seq.eq(row.seq)).select(audit_subjects::patient_id);
            let patients: Vec<PatientId> = query.load(&mut conn).expect("the subjects");
            let mut patients: Vec<String> = patients.iter().map(ToString::to_string).collect();
            patients.sort();
            assert_eq!(patients.len(), 2);
            let id = |id: Option<String>| id.unwrap_or_default();
            let fields = [
                row.id.to_string(),
                id(row.service_id.map(|id| id.to_string())),
                row.at.at().format("%Y-%m-%dT%H:%M:%S%.6fZ").to_string(),
                id(row.staff_id.map(|id| id.to_string())),
                row.staff_name,
                row.roles,
                row.action,
                row.what,
                row.outcome,
                row.request_id,
                row.address,
                row.detail,
            ];
            let mut bytes = b"roundel audit event 1".to_vec();
            bytes.extend(row.seq.to_be_bytes());
            bytes.extend(&before);
            for field in fields.iter().chain(&patients) {
                bytes.extend((field.len() as u64).to_be_bytes());
                bytes.extend(field.as_bytes());
            }
            assert_eq!(row.prev_hash, before);
            assert_eq!(row.hash, Sha256::digest(&bytes).to_vec(), "event {}", row.seq);
            before = row.hash;
        }
    }

    fn any_column_changed_is_found(db: TestDatabase) {
        drop(ten_events(&db));
        let mut conn = db.outside();
        let columns = dialect::columns(&mut conn).expect("the columns");
        for column in columns.iter().filter_map(|column| column.strip_prefix("audit_events.")) {
            assert!(OTHER_VALUES.iter().any(|(name, ..)| *name == column), "no test changes the column {column}");
        }
        unguard(&mut conn);
        for (column, sqlite, postgresql) in OTHER_VALUES {
            let value = if db.backend == Backend::Sqlite { sqlite } else { postgresql };
            let said = after_sql(&mut conn, &format!("UPDATE audit_events SET {column} = {value} WHERE seq = 5"));
            let expected = match column {
                "seq" => Broken::Gap { expected: 5, found: 6 },
                "prev_hash" => Broken::Unlinked(5),
                _ => Broken::Edited(5),
            };
            assert_eq!(said, Err(expected), "{column} = {value}");
        }
        assert_eq!(checked(&mut conn, &[]).map(|said| said.last), Ok(LAST), "the log is as it was");
    }

    /// The same letters, divided otherwise between two columns.
    fn text_moved_from_one_column_to_the_next_is_found(db: TestDatabase) {
        drop(ten_events(&db));
        let mut conn = db.outside();
        unguard(&mut conn);
        let moved = "UPDATE audit_events SET staff_name = 'Nurse Onen', roles = 'urse' WHERE seq = 5";
        assert_eq!(after_sql(&mut conn, moved), Err(Broken::Edited(5)));
    }

    fn removed_events_are_found(db: TestDatabase) {
        drop(ten_events(&db));
        let mut conn = db.outside();
        unguard(&mut conn);
        for (condition, expected) in [
            ("seq = 1", Broken::Gap { expected: 1, found: 2 }),
            ("seq = 5", Broken::Gap { expected: 5, found: 6 }),
            ("seq BETWEEN 3 AND 7", Broken::Gap { expected: 3, found: 8 }),
            ("seq = 10", Broken::Truncated { last: 9, head: LAST }),
            ("seq > 0", Broken::Truncated { last: 0, head: LAST }),
        ] {
            let said = after(&mut conn, &[], |conn| {
                raw::touched(conn, &format!("DELETE FROM audit_subjects WHERE {condition}"));
                raw::touched(conn, &format!("DELETE FROM audit_events WHERE {condition}"))
            });
            assert_eq!(said, Err(expected), "{condition}");
        }
        // Removed and the rest counted anew, so that no number is missing.
        let said = after(&mut conn, &[], |conn| {
            raw::touched(conn, "DELETE FROM audit_events WHERE seq = 5");
            for seq in 6..=LAST {
                raw::touched(conn, &format!("UPDATE audit_events SET seq = {} WHERE seq = {seq}", seq - 1));
            }
            raw::touched(conn, "UPDATE audit_head SET seq = 9")
        });
        assert_eq!(said, Err(Broken::Unlinked(5)));
    }

    fn events_in_another_order_are_found(db: TestDatabase) {
        drop(ten_events(&db));
        let mut conn = db.outside();
        unguard(&mut conn);
        let said = after(&mut conn, &[], |conn| {
            for (from, to) in [(5, 0), (6, 5), (0, 6)] {
                raw::touched(conn, &format!("UPDATE audit_subjects SET seq = {to} WHERE seq = {from}"));
                raw::touched(conn, &format!("UPDATE audit_events SET seq = {to} WHERE seq = {from}"));
            }
        });
        assert_eq!(said, Err(Broken::Unlinked(5)));
    }

    fn an_event_put_in_is_found(db: TestDatabase) {
        drop(ten_events(&db));
        let mut conn = db.outside();
        unguard(&mut conn);
        let insert = |conn: &mut Conn, row: &EventRow| {
            diesel::insert_into(audit_events::table).values(row).execute(conn).expect("an event put in");
        };
        let last = rows(&mut conn).pop().expect("an event");
        let fifth = rows(&mut conn).swap_remove(4);
        let new_id = roundel::db::ids::EventId::new();
        // At the end, copied as it stands.
        let copy = EventRow { seq: LAST + 1, id: new_id, ..last.clone() };
        assert_eq!(after(&mut conn, &[], |conn| insert(conn, &copy)), Err(Broken::Unlinked(LAST + 1)));
        // At the end, chained as it should be, but the head does not know of it.
        let chained = rehashed(EventRow { seq: LAST + 1, id: new_id, prev_hash: last.hash.clone(), ..last }, &[]);
        assert_eq!(after(&mut conn, &[], |conn| insert(conn, &chained)), Err(Broken::WrongHead(LAST + 1)));
        // In the middle, the rest moved up.
        let said = after(&mut conn, &[], |conn| {
            for seq in (5..=LAST).rev() {
                raw::touched(conn, &format!("UPDATE audit_subjects SET seq = {} WHERE seq = {seq}", seq + 1));
                raw::touched(conn, &format!("UPDATE audit_events SET seq = {} WHERE seq = {seq}", seq + 1));
            }
            insert(conn, &EventRow { id: new_id, ..fifth });
            raw::touched(conn, "UPDATE audit_head SET seq = 11")
        });
        assert_eq!(said, Err(Broken::Edited(5)));
    }

    /// Who was looked at is part of the event.
    fn changed_subjects_are_found(db: TestDatabase) {
        drop(ten_events(&db));
        let mut conn = db.outside();
        unguard(&mut conn);
        let (other, one) = match db.backend {
            Backend::Sqlite => ("randomblob(16)", "(SELECT min(patient_id) FROM audit_subjects WHERE seq = 5)"),
            Backend::Postgres => (
                "gen_random_uuid()",
                "(SELECT patient_id FROM audit_subjects WHERE seq = 5 ORDER BY patient_id LIMIT 1)",
            ),
        };
        for sql in [
            format!("UPDATE audit_subjects SET patient_id = {other} WHERE seq = 5 AND patient_id = {one}"),
            format!("DELETE FROM audit_subjects WHERE seq = 5 AND patient_id = {one}"),
            format!("INSERT INTO audit_subjects (seq, service_id, patient_id) SELECT 5, service_id, {other} \
                     FROM audit_events WHERE seq = 5"),
            format!("UPDATE audit_subjects SET seq = 6 WHERE seq = 5 AND patient_id = {one}"),
            // Out of sight of the patient's own page, which asks by service.
            format!("UPDATE audit_subjects SET service_id = {other} WHERE seq = 5 AND patient_id = {one}"),
        ] {
            assert_eq!(after_sql(&mut conn, &sql), Err(Broken::Edited(5)), "{sql}");
        }
    }

    /// Who can cut the log and set its head back leaves a log that holds in itself. The heads noted elsewhere find it.
    fn a_cut_with_the_head_set_back_is_found_by_a_noted_head(db: TestDatabase) {
        let records = ten_events(&db);
        let mut conn = db.outside();
        let noted = vec![records.read_now(head).expect("the head")];
        let eighth = rows(&mut conn).swap_remove(7);
        unguard(&mut conn);
        let mut cut = |noted: &[NotedHead]| {
            after(&mut conn, noted, |conn| {
                raw::touched(conn, "DELETE FROM audit_subjects WHERE seq > 8");
                raw::touched(conn, "DELETE FROM audit_events WHERE seq > 8");
                set_head(conn, &eighth);
            })
        };
        assert_eq!(cut(&[]).map(|said| said.last), Ok(8));
        assert_eq!(cut(&noted), Err(Broken::Truncated { last: 8, head: LAST }));
    }

    /// Who can write everything can also work all hashes out again. The heads noted elsewhere find that too.
    fn a_log_written_anew_is_found_by_a_noted_head(db: TestDatabase) {
        let records = ten_events(&db);
        let mut conn = db.outside();
        let noted = vec![records.read_now(head).expect("the head")];
        unguard(&mut conn);
        let mut rewrite = |noted: &[NotedHead]| {
            after(&mut conn, noted, |conn| {
                raw::touched(conn, "DELETE FROM audit_subjects");
                let mut before = BEFORE_FIRST.to_vec();
                for row in rows(conn) {
                    let row = rehashed(EventRow { prev_hash: before.clone(), staff_name: "Nobody".to_owned(), ..row }, &[]);
                    diesel::update(audit_events::table.find(row.seq))
                        .set((
                            audit_events::staff_name.eq(&row.staff_name),
                            audit_events::prev_hash.eq(&row.prev_hash),
                            audit_events::hash.eq(&row.hash),
                        ))
                        .execute(conn)
                        .expect("an event written anew");
                    before.clone_from(&row.hash);
                    set_head(conn, &row);
                }
            })
        };
        assert_eq!(rewrite(&[]).map(|said| said.last), Ok(LAST));
        assert_eq!(rewrite(&noted), Err(Broken::WrongHead(LAST)));
    }

    fn a_changed_head_is_found(db: TestDatabase) {
        drop(ten_events(&db));
        let mut conn = db.outside();
        let zero = if db.backend == Backend::Sqlite { "zeroblob(32)" } else { "decode(repeat('00', 32), 'hex')" };
        assert_eq!(after_sql(&mut conn, "UPDATE audit_head SET seq = 9"), Err(Broken::WrongHead(LAST)));
        let ahead = Err(Broken::Truncated { last: LAST, head: 11 });
        assert_eq!(after_sql(&mut conn, "UPDATE audit_head SET seq = 11"), ahead);
        assert_eq!(after_sql(&mut conn, &format!("UPDATE audit_head SET hash = {zero}")), Err(Broken::WrongHead(LAST)));
    }

    fn a_check_from_a_day_on_looks_at_that_day_and_after(db: TestDatabase) {
        drop(ten_events(&db));
        let mut conn = db.outside();
        let second_day = Hands::new().now().date_naive() + Duration::days(1);
        let from = |conn: &mut Conn, day| verify(conn, Some(day), &[], |_, _| {}).map(|said| (said.first, said.last));
        assert_eq!(from(&mut conn, second_day).expect("it holds"), (6, LAST));
        assert_eq!(from(&mut conn, second_day - Duration::days(1)).expect("it holds"), (1, LAST));
        assert_eq!(from(&mut conn, second_day + Duration::days(1)).expect("it holds"), (11, LAST));
        unguard(&mut conn);
        for (seq, found) in [(5, false), (6, true), (10, true)] {
            raw::run(&mut conn, "BEGIN").expect("begin");
            raw::touched(&mut conn, &format!("UPDATE audit_events SET staff_name = 'Another' WHERE seq = {seq}"));
            assert_eq!(from(&mut conn, second_day).is_err(), found, "event {seq}");
            raw::run(&mut conn, "ROLLBACK").expect("roll back");
        }
    }

    // --- the guards -------------------------------------------------------------------------------------------------

    fn the_database_itself_refuses_to_change_events(db: TestDatabase) {
        drop(ten_events(&db));
        let mut conn = db.outside();
        let mut tries = vec![
            "UPDATE audit_events SET staff_name = 'Another' WHERE seq = 5",
            "UPDATE audit_subjects SET seq = 6 WHERE seq = 5",
            "DELETE FROM audit_subjects",
            "DELETE FROM audit_events",
        ];
        match db.backend {
            Backend::Sqlite => tries.extend([
                // Replacing is deleting and inserting, and by default runs no trigger for the deletion.
                "INSERT OR REPLACE INTO audit_events SELECT seq, id, service_id, at, staff_id, 'Another', roles, action, \
                 what, outcome, request_id, address, detail, prev_hash, hash FROM audit_events WHERE seq = 10",
                "UPDATE OR REPLACE audit_events SET seq = 6 WHERE seq = 5",
            ]),
            Backend::Postgres => tries.extend(["TRUNCATE audit_events CASCADE", "TRUNCATE audit_subjects"]),
        }
        for sql in tries {
            let refused = raw::run(&mut conn, sql).expect_err(sql);
            assert!(refused.contains("never"), "{sql}: {refused}");
        }
        assert_eq!(checked(&mut conn, &[]).map(|said| said.last), Ok(LAST));
    }

    fn nobody_acts_on_patients_without_a_service(db: TestDatabase) {
        let records = db.open(Hands::new().clock());
        let machine = Actor::command("test", None);
        let about = |event: Event| records.write_now(&machine, |tx| append(tx, event).map(drop));
        let refused = about(Event::read("patient.record").about(PatientId::new()));
        assert!(matches!(refused, Err(StoreError::NotFound)), "{refused:?}");
        about(Event::execute("backup").outcome(Outcome::Ok)).expect("an event about nobody");
        assert_eq!(checked(&mut db.outside(), &[]).map(|said| said.last), Ok(1));
    }

    fn a_patient_named_twice_is_noted_once(db: TestDatabase) {
        let records = db.open(Hands::new().clock());
        let patient = PatientId::new();
        let event = Event::read("week.list").about_all([patient, PatientId::new(), patient]);
        records.write_now(&somebody(), |tx| append(tx, event).map(drop)).map_err(|e: StoreError| e).expect("an event");
        assert_eq!(raw::count(&mut db.outside(), "audit_subjects"), 2);
        assert_eq!(checked(&mut db.outside(), &[]).map(|said| said.last), Ok(1));
    }

    /// A whole caseload on one list: more subjects than fit into one statement.
    fn an_event_about_very_many_patients_is_written_whole(db: TestDatabase) {
        let records = db.open(Hands::new().clock());
        let event = Event::read("week.list").about_all((0..12_000).map(|_| PatientId::new()));
        records.write_now(&somebody(), |tx| append(tx, event).map(drop)).map_err(|e: StoreError| e).expect("an event");
        assert_eq!(raw::count(&mut db.outside(), "audit_subjects"), 12_000);
        assert_eq!(checked(&mut db.outside(), &[]).map(|said| said.last), Ok(1));
    }

    // --- pages ------------------------------------------------------------------------------------------------------

    /// No log, no page: what could not be noted as seen is not shown, and what could not be noted as done is not done.
    async fn without_the_log_nothing_is_shown_and_nothing_is_done(app: TestApp) {
        let client = app.as_role(Role::Administrator);
        let colleague = app.db_person(app.service_id, &[Role::Nurse]);
        let usual = client.get("/staff").await.expect(200);
        assert!(usual.text.contains(&colleague.sign_in_name));
        let mut conn = app.outside();
        raw::run(&mut conn, "ALTER TABLE audit_events RENAME TO audit_events_away").expect("the log taken away");
        let page = client.get("/staff").await.expect(503);
        assert!(!page.text.contains(&colleague.sign_in_name) && !page.text.contains(&colleague.name), "{}", page.text);
        let path = format!("/staff/{}", colleague.id);
        let act = client.post(&path, &[("act", "close")]).await;
        assert!(act.status >= 500, "{}", act.words());
        let wrong = app.anonymous().post("/sign-in", &[("user", &colleague.sign_in_name), ("password", "wrong")]).await;
        assert!(wrong.status >= 500 && wrong.set_cookies().is_empty(), "{}", wrong.words());
        raw::run(&mut conn, "ALTER TABLE audit_events_away RENAME TO audit_events").expect("the log put back");
        assert_eq!(raw::count(&mut conn, "staff WHERE disabled_at IS NOT NULL OR failed_count > 0"), 0);
        client.get("/staff").await.expect(200);
        checked(&mut conn, &[]).expect("the log holds");
    }

    async fn the_log_names_who_did_what_from_where(app: TestApp) {
        let client = app.as_role(Role::Administrator);
        let before = app.last_event();
        client.get("/staff").await.expect(200);
        let [event] = &app.events_after(before)[..] else { panic!("one event for one page") };
        assert_eq!((event.action.as_str(), event.what.as_str(), event.outcome.as_str()), ("R", "staff.list", "ok"));
        assert_eq!(event.service_id, Some(app.service_id));
        assert_eq!(event.staff_id, client.staff);
        assert_eq!(event.roles, "administrator");
        assert_eq!(event.address, "127.0.0.1");
        assert_eq!(event.at, app.now());
        assert!(!event.request_id.is_empty());
    }
}

fn set_head(conn: &mut Conn, row: &EventRow) {
    use roundel::db::schema::audit_head;
    let to = (audit_head::seq.eq(row.seq), audit_head::hash.eq(&row.hash));
    diesel::update(audit_head::table.find(1)).set(to).execute(conn).expect("another head");
}

/// The event with the hash that belongs to what it says.
fn rehashed(mut row: EventRow, patients: &[String]) -> EventRow {
    let before: Hash = row.prev_hash.clone().try_into().expect("a hash");
    let id = |id: Option<String>| id.unwrap_or_default();
    let hash = Canonical {
        seq: row.seq,
        id: &row.id.to_string(),
        service: &id(row.service_id.map(|id| id.to_string())),
        at: &row.at.canonical(),
        staff: &id(row.staff_id.map(|id| id.to_string())),
        staff_name: &row.staff_name,
        roles: &row.roles,
        action: &row.action,
        what: &row.what,
        outcome: &row.outcome,
        request_id: &row.request_id,
        address: &row.address,
        detail: &row.detail,
        patients,
    }
    .hash(&before);
    row.hash = hash.to_vec();
    row
}
