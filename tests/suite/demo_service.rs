//! The demonstration: the same people for the same seed, every state that the pages know, nobody who could be real, and
//! a record that could have been written by the service itself.

mod dates;
mod pages;

use std::collections::BTreeSet;

use chrono::{Datelike, NaiveDate, TimeZone, Utc};
use roundel::access::roles::{ALL, Role};
use roundel::access::store::{everybody, roles_of, services, staff_by_name};
use roundel::audit::store::verify;
use roundel::db::ids::{PatientId, ServiceId};
use roundel::db::{Actor, Db, StoreError};
use roundel::demo::{ACCOUNTS, make};
use roundel::follow_up::replan::replan;
use roundel::follow_up::store::{Review, of_patient as reviews_of};
use roundel::patients::identifiers::Scheme;
use roundel::patients::likely::duplicates;
use roundel::patients::store::{Patient, all_ids, find, identifiers_of};
use roundel::stomas::store::{Stoma, of_patient as stomas_of};
use roundel::week::store::{WeekRow, derive_row, kept};

use crate::both_backends;
use crate::support::app::{Hands, Person};
use crate::support::{Backend, TestDatabase, raw};

const COUNT: usize = 48;

/// The demonstration in this database, made by the hands' time.
fn demo(db: &TestDatabase, hands: &Hands, seed: u64) -> (Db, ServiceId) {
    let records = db.open(hands.clock());
    let mut heard = 0;
    let made = make(&records, COUNT, seed, |done, all| {
        assert!(done > heard && done <= all, "{done} of {all} after {heard}");
        heard = done;
    });
    assert!(made.expect("the demonstration"), "nothing was there before");
    assert_eq!(heard, COUNT);
    let service = the_service(&records);
    (records, service)
}

fn the_service(records: &Db) -> ServiceId {
    let held = records.read_now(services).expect("the services");
    let demos: Vec<ServiceId> = held.iter().filter(|s| s.demo).map(|s| s.id).collect();
    assert_eq!(demos.len(), 1, "one demonstration");
    demos[0]
}

/// All that these tests look at of one patient.
struct Told {
    patient: Patient,
    stomas: Vec<Stoma>,
    reviews: Vec<Review>,
    row: Option<WeekRow>,
}

impl Told {
    fn open(&self) -> impl Iterator<Item = &Review> {
        self.reviews.iter().filter(|review| review.is_open())
    }

    fn scores(&self) -> Option<(i32, i32)> {
        let row = self.row.as_ref()?;
        row.previous_score.zip(row.last_score)
    }
}

fn everyone(records: &Db, service: ServiceId) -> Vec<Told> {
    let read = records.read_now(|conn| {
        let ids: Vec<PatientId> = all_ids(conn, service)?;
        let told = ids.into_iter().map(|id| {
            Ok::<_, StoreError>(Told {
                patient: find(conn, service, id)?,
                stomas: stomas_of(conn, service, id)?,
                reviews: reviews_of(conn, service, id)?,
                row: kept(conn, service, id)?,
            })
        });
        told.collect::<Result<Vec<_>, _>>()
    });
    read.expect("everybody")
}

/// Who they are, in the order in which they were made.
fn people(told: &[Told]) -> Vec<String> {
    let words =
        |p: &Patient| format!("{} {:?} {:?} {:?} {:?}", p.display_name(), p.born_on, p.phone, p.address, p.gp_practice);
    told.iter().map(|t| words(&t.patient)).collect()
}

const TABLES: [&str; 17] = [
    "services",
    "sites",
    "staff",
    "staff_roles",
    "catalogue_items",
    "patients",
    "patient_identifiers",
    "stomas",
    "reviews",
    "contacts",
    "assessments",
    "prescriptions",
    "prescription_lines",
    "audit_subjects",
    "week_rows",
    "record_versions",
    "audit_events",
];

fn counts(db: &TestDatabase) -> Vec<i64> {
    let mut conn = db.outside();
    TABLES.iter().map(|table| raw::count(&mut conn, table)).collect()
}

/// Every state of the brief is there; answers the states that are not.
fn missing_states(told: &[Told], today: NaiveDate) -> Vec<&'static str> {
    let under_care = || told.iter().filter(|t| t.patient.ended_reason.is_none());
    let ended = |reason: &str| told.iter().any(|t| t.patient.ended_reason.as_deref() == Some(reason));
    let any_stoma = |f: &dyn Fn(&Stoma) -> bool| under_care().any(|t| t.stomas.iter().any(f));
    let states: [(&str, bool); 15] = [
        ("died", ended("died")),
        ("moved away", ended("moved-away")),
        ("reversed", any_stoma(&|s| s.reversed_on.is_some_and(|on| on <= today))),
        (
            "awaiting reversal with a date",
            any_stoma(&|s| s.reversed_on.is_none() && s.reversal_on.is_some_and(|on| on > today)),
        ),
        (
            "awaiting reversal without a date",
            any_stoma(&|s| s.permanence == "temporary" && s.reversed_on.is_none() && s.reversal_on.is_none()),
        ),
        ("two stomas", told.iter().any(|t| t.stomas.len() == 2)),
        (
            "missed twice",
            told.iter().any(|t| t.reviews.iter().filter(|r| r.status == "noshow").count() == 2 && t.open().count() > 0),
        ),
        ("waiting for discharge", any_stoma(&|s| s.surgery_on.is_some() && s.discharge_on.is_none())),
        ("no review planned", told.iter().any(|t| t.row.as_ref().is_some_and(|row| row.review_id.is_none()))),
        ("overdue", told.iter().any(|t| t.row.as_ref().is_some_and(|row| row.latest_on.is_some_and(|on| on < today)))),
        ("worsening", told.iter().any(|t| t.scores().is_some_and(|(before, last)| last > before))),
        ("improving", told.iter().any(|t| t.scores().is_some_and(|(before, last)| last < before && last > 0))),
        (
            "booked",
            told.iter().any(|t| t.open().any(|r| r.status == "booked" && r.booked_on.is_some_and(|on| on >= today))),
        ),
        ("deferred", told.iter().any(|t| t.open().any(|r| r.deferred_reason.is_some()))),
        ("urgent", told.iter().any(|t| t.row.as_ref().is_some_and(|row| row.urgent))),
    ];
    states.iter().filter(|(_, there)| !there).map(|(name, _)| *name).collect()
}

both_backends! {
    fn it_is_made_once(db: TestDatabase) {
        let hands = Hands::new();
        let (records, service) = demo(&db, &hands, 1);
        assert_eq!(everyone(&records, service).len(), COUNT);
        let before = counts(&db);
        assert!(before.iter().all(|count| *count > 0), "{before:?}");
        for seed in [1, 2] {
            assert!(!make(&records, COUNT, seed, |_, _| panic!("nothing is made")).expect("an answer"));
        }
        assert_eq!(counts(&db), before);
    }

    fn every_role_has_an_account(db: TestDatabase) {
        let (records, service) = demo(&db, &Hands::new(), 1);
        let held = records.read_now(|conn| everybody(conn, service)).expect("the staff");
        assert_eq!(held.len(), ACCOUNTS.len());
        for role in ALL {
            let (name, ..) = ACCOUNTS.iter().find(|(.., of)| *of == role).expect("an account");
            let row = records.read_now(|conn| staff_by_name(conn, name)).expect("a read").expect("a member of staff");
            assert_eq!(records.read_now(|conn| roles_of(conn, row.id)).expect("roles"), [role]);
        }
    }

    fn every_state_is_there(db: TestDatabase) {
        let hands = Hands::new();
        let (records, service) = demo(&db, &hands, 1);
        let told = everyone(&records, service);
        assert_eq!(missing_states(&told, hands.clock().today()), [""; 0]);
        // Nobody who has gone is on the list or has a review to come.
        for gone in told.iter().filter(|t| t.patient.ended_reason.is_some() || t.stomas.iter().all(|s| s.reversed_on.is_some())) {
            assert!(gone.row.is_none() && gone.open().count() == 0, "{}", gone.patient.display_name());
        }
    }

    fn two_records_may_be_one_person(db: TestDatabase) {
        let (records, service) = demo(&db, &Hands::new(), 1);
        let pair: Vec<Patient> = everyone(&records, service)
            .into_iter()
            .map(|t| t.patient)
            .filter(|p| p.given_name == "Rosalind" && p.family_name.starts_with("Thornb"))
            .collect();
        assert!(pair.len() >= 2, "{pair:?}");
        let alike = |p: &Patient| {
            let likely = records.read_now(|conn| {
                let numbers = identifiers_of(conn, service, p.id)?;
                duplicates(conn, service, &p.family_name, &p.given_name, p.born_on, &numbers)
            });
            likely.expect("a search").into_iter().map(|l| l.patient.id).filter(|id| *id != p.id).collect::<Vec<_>>()
        };
        let (first, second) = (&pair[0], &pair[1]);
        assert_ne!(first.family_name, second.family_name);
        assert!(alike(first).contains(&second.id) && alike(second).contains(&first.id));
    }

    /// 999 000 0000 to 999 999 9999 is never issued; 01632 960000 to 960999 is kept for drama (Ofcom); ZZ99 is no place.
    fn nobody_could_be_real(db: TestDatabase) {
        let (records, service) = demo(&db, &Hands::new(), 1);
        let mut numbers = BTreeSet::new();
        for told in everyone(&records, service) {
            let held = records.read_now(|conn| identifiers_of(conn, service, told.patient.id)).expect("identifiers");
            assert_eq!(held.len(), 1, "{}", told.patient.display_name());
            assert_eq!(held[0].scheme(), Scheme::NhsNumber);
            assert!(held[0].value().starts_with("999") && held[0].value().len() == 10, "{}", held[0].value());
            assert!(numbers.insert(held[0].value().to_owned()), "{} twice", held[0].value());
            assert!(told.patient.phone.as_deref().is_some_and(|p| p.starts_with("01632 960") && p.len() == 12), "{:?}", told.patient.phone);
            assert!(told.patient.postcode.as_deref().is_some_and(|p| p.starts_with("ZZ99 ")), "{:?}", told.patient.postcode);
        }
    }

    fn the_record_is_one_the_service_could_have_written(db: TestDatabase) {
        let (records, service) = demo(&db, &Hands::new(), 1);
        let said = verify(&mut db.outside(), None, &[], |_, _| {}).expect("the log holds");
        assert!(said.last >= 1);
        let before = everyone(&records, service);
        for told in &before {
            let id = told.patient.id;
            let fresh = records.read_now(|conn| derive_row(conn, service, id)).expect("a row");
            assert_eq!(told.row, fresh, "{}", told.patient.display_name());
        }
        // Planning everybody again, one after the other, finds nothing to change.
        let actor = Actor::command("test", Some(service));
        let ids: Vec<PatientId> = before.iter().map(|t| t.patient.id).collect();
        let replanned = records.write_now(&actor, move |tx| {
            for id in ids {
                replan(tx, id)?;
            }
            roundel::audit::append(tx, roundel::audit::Event::execute("test")).map(drop)
        });
        replanned.map_err(|error: StoreError| error).expect("replanned");
        for (told, after) in before.iter().zip(everyone(&records, service)) {
            let name = told.patient.display_name();
            assert_eq!(format!("{:#?}", told.reviews), format!("{:#?}", after.reviews), "{name}");
            assert_eq!(told.row, after.row, "{name}");
        }
    }

    async fn every_page_says_that_it_is_a_demonstration(app: TestApp) {
        let mut app = app;
        let mark = "Demonstration: invented people";
        let real = app.as_role(Role::Nurse).get("/week").await.expect(200);
        assert!(!real.has(".demo-mark") && !real.words().contains(mark), "a real service has no mark");
        assert!(make(&app.db, COUNT, 1, |_, _| {}).expect("the demonstration"));
        app.service_id = the_service(&app.db);
        let row = app.read(|conn| staff_by_name(conn, "nurse")).expect("the nurse");
        let person = Person { id: row.id, sign_in_name: row.sign_in_name, name: row.display_name };
        let nurse = app.db_session(app.service_id, &person);
        let week = nurse.get("/week").await.expect(200);
        assert_eq!(week.first(".demo-mark"), mark);
        assert!(week.first("title").contains("(demonstration)"), "{}", week.first("title"));
        assert!(week.has(".row-name"), "somebody is on the list");
        for path in ["/patients", "/account"] {
            assert_eq!(nurse.get(path).await.expect(200).first(".demo-mark"), mark, "{path}");
        }
        assert_eq!(nurse.get("/no-such-page").await.expect(404).first(".demo-mark"), mark, "the error page");
    }
}

#[test]
fn the_seed_says_who_they_are() {
    let made = |seed: u64| {
        let db = TestDatabase::new(Backend::Sqlite);
        let (records, service) = demo(&db, &Hands::new(), seed);
        people(&everyone(&records, service))
    };
    let first = made(1);
    assert_eq!(made(1), first, "the same seed gives the same people");
    let other = made(2);
    assert_ne!(other, first, "another seed gives others");
}

#[test]
fn both_databases_hold_the_same_people() {
    let [one, other] = Backend::BOTH.map(|backend| {
        let db = TestDatabase::new(backend);
        let (records, service) = demo(&db, &Hands::new(), 7);
        people(&everyone(&records, service))
    });
    assert_eq!(one, other);
}

/// Weekends, bank holidays, ends of months and of the year: whoever starts the demonstration then sees as much.
#[test]
fn every_state_is_there_whatever_the_day() {
    for (year, month, day) in [(2026, 12, 26), (2027, 1, 1), (2027, 5, 31), (2027, 8, 29)] {
        let hands = Hands::new();
        hands.set(Utc.with_ymd_and_hms(year, month, day, 9, 0, 0).unwrap());
        let db = TestDatabase::new(Backend::Sqlite);
        let (records, service) = demo(&db, &hands, 1);
        let told = everyone(&records, service);
        assert_eq!(missing_states(&told, hands.clock().today()), [""; 0], "{year}-{month}-{day}");
    }
}

#[test]
fn they_are_grown_up_also_on_a_leap_day() {
    for (year, month, day) in [(2026, 11, 25), (2028, 2, 29)] {
        let hands = Hands::new();
        hands.set(Utc.with_ymd_and_hms(year, month, day, 9, 0, 0).unwrap());
        let db = TestDatabase::new(Backend::Sqlite);
        let (records, service) = demo(&db, &hands, 1);
        for told in everyone(&records, service) {
            let born = told.patient.born_on.expect("a birth date");
            let age = year - born.year();
            assert!(
                (34..=90).contains(&age),
                "{} was born {born}, seen {year}-{month}-{day}",
                told.patient.display_name()
            );
            assert!(
                told.stomas.iter().all(|s| s.surgery_on.is_none_or(|on| on > born)),
                "{}",
                told.patient.display_name()
            );
        }
    }
}
