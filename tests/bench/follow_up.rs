//! Follow-up: one patient's plan, a nation's caseload planned and written, the engine beside a script on
//! python-dateutil, the year ahead of a large service.

use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use chrono::{Days, Months, NaiveDate};
use indicatif::{ProgressBar, ProgressStyle};
use roundel::access::store as access;
use roundel::audit::{Event, append};
use roundel::clock::Clock;
use roundel::db::ids::ServiceId;
use roundel::db::{Actor, Address, Db, Stamp, StoreError, Tx};
use roundel::follow_up::demand;
use roundel::follow_up::rules::{
    Anchors, Construction, Nation, Permanence, PlanRequest, Protocol, StomaFacts, StomaKind, SurgeryType, WorkingDays,
    decide, plan, shipped_by_id,
};
use roundel::follow_up::world::World;
use roundel::patients::identifiers::{Identifier, Scheme, check_digit};
use roundel::patients::store as patients;
use roundel::stomas::store as stomas;
use serde_json::Value;

use crate::{Browser, demo, median, runtime, say};

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn dartford() -> &'static Protocol {
    shipped_by_id("dartford-gravesham").unwrap()
}

/// Thirty reviews: the early ones of a published protocol and 26 yearly ones.
fn one_plan() {
    let days = WorkingDays::new(Nation::England, &[]);
    let surgery = day("2019-01-15");
    let request = PlanRequest {
        days: &days,
        until: surgery.checked_add_months(Months::new(26 * 12)).unwrap(),
        stoma: StomaFacts {
            kind: StomaKind::Ileostomy,
            construction: Some(Construction::End),
            permanence: Some(Permanence::Permanent),
            surgery: Some(SurgeryType::Planned),
        },
        anchors: Anchors {
            surgery: Some(surgery),
            discharge: surgery.checked_add_days(Days::new(7)),
            ..Anchors::default()
        },
        protocol: dartford(),
        ended: None,
    };
    assert_eq!(plan(&request).reviews.len(), 30);
    let times: Vec<Duration> = (0..20_000)
        .map(|_| {
            let began = Instant::now();
            std::hint::black_box(plan(std::hint::black_box(&request)));
            began.elapsed()
        })
        .collect();
    let (half, most) = median(times);
    say("plan of one patient, 30 reviews with reasons, median (p95)", &format!("{half:.2?} ({most:.2?})"), "20 µs");
}

/// Patients with one stoma and one number each: one in ten operated on within the last year, the others before.
fn fill(tx: &mut Tx<'_>, service: ServiceId, from: u32, count: u32, today: NaiveDate) -> Result<(), StoreError> {
    let now = tx.now();
    let mut about = Vec::with_capacity(count as usize);
    for n in from..from + count {
        let mut patient = patients::new_patient(service, &format!("Family{n}"), &format!("Given{n}"), now);
        patient.born_on = today.checked_sub_months(Months::new(12 * (40 + n % 50)));
        let ago = if n % 10 == 0 { u64::from(n % 360) } else { 370 + u64::from(n % 3_000) };
        let surgery = today - Days::new(ago);
        let kind = ["colostomy", "ileostomy", "urostomy"][n as usize % 3];
        // As the import does for somebody of whom no visit is known.
        let taken_on = today.checked_sub_months(Months::new(12)).unwrap();
        let mut stoma = stomas::new_stoma(service, patient.id, kind, "dartford-gravesham", taken_on, now);
        stoma.surgery_on = Some(surgery);
        stoma.discharge_on = Some(surgery + Days::new(7));
        // Numbers of the test range, from the first stem whose check digit is one.
        let stem = (999_000_001 + u64::from(n) * 2).to_string();
        let number = check_digit(&stem).map(|digit| format!("{stem}{digit}"));
        let numbers: Vec<Identifier> =
            number.into_iter().filter_map(|n| Identifier::parse(Scheme::NhsNumber, &n).ok()).collect();
        about.push(patient.id);
        patients::add(tx, patient, &numbers)?;
        stomas::add(tx, &stoma)?;
    }
    append(tx, Event::create("bench").about_all(about)).map(drop)
}

/// An empty database with this many patients planned and written into it.
fn filled(folder: &Path, count: u32) -> (Db, ServiceId, Duration) {
    const TOGETHER: u32 = 1_000;
    let file = folder.join("clinic.db");
    let address = Address::parse(&format!("sqlite:{}", file.display())).unwrap();
    let db = Db::open(address, Clock::system(), true, roundel::derive::derive).unwrap();
    let today = db.clock().today();
    let now = Stamp::new(db.clock().now());
    let service = access::new_service("Bench", "england", true, now);
    let id = service.id;
    let actor = Actor::command("bench", Some(id));
    db.write_now(&actor, move |tx| {
        access::add_service(tx, &service)?;
        append(tx, Event::create("bench")).map(drop)
    })
    .map_err(|e: StoreError| e)
    .unwrap();
    let style = ProgressStyle::with_template("{bar:40} {pos} of {len} patients, {elapsed}").unwrap();
    let bar = ProgressBar::new(count.into()).with_style(style);
    let began = Instant::now();
    for from in (0..count).step_by(TOGETHER as usize) {
        let some = TOGETHER.min(count - from);
        db.write_now(&actor, move |tx| fill(tx, id, from, some, today)).unwrap();
        bar.inc(some.into());
    }
    let took = began.elapsed();
    bar.finish_and_clear();
    (db, id, took)
}

fn nation() {
    let folder = tempfile::tempdir().unwrap();
    let (db, service, took) = filled(folder.path(), 220_000);
    let reviews: i64 = db.read_now(|conn| count_reviews(conn, service)).unwrap();
    let size = std::fs::metadata(folder.path().join("clinic.db")).unwrap().len() / 1_000_000;
    say("220,000 patients planned and written to an empty file", &format!("{took:.2?}"), "60 s");
    println!("  {reviews} reviews, {size} MB before the log of the database is folded in");
}

fn count_reviews(conn: &mut roundel::db::Conn, service: ServiceId) -> Result<i64, StoreError> {
    use diesel::prelude::*;
    use roundel::db::schema::reviews;
    Ok(reviews::table.filter(reviews::service_id.eq(service)).count().get_result(conn)?)
}

/// The same 10,000 requests by the engine, from JSON to JSON with reasons, and by the script, from dictionaries to lists
/// without; one after the other in this run.
fn beside_dateutil() {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/outside/follow_up_oracle.py");
    let venv = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/outside/.venv/bin/python");
    let python = std::env::var("ROUNDEL_TEST_PYTHON").unwrap_or_else(|_| venv.to_owned());
    let folder = tempfile::tempdir().unwrap();
    let cases = folder.path().join("cases.jsonl");
    let made = Command::new(&python)
        .args([script, "cases"])
        .arg(&cases)
        .status()
        .expect("tests/run once: it makes the Python environment");
    assert!(made.success());
    let requests: Vec<Value> = std::fs::read_to_string(&cases)
        .unwrap()
        .lines()
        .map(|line| serde_json::from_str::<Value>(line).unwrap()["input"].take())
        .collect();
    let began = Instant::now();
    let mut reviews = 0;
    for request in &requests {
        reviews += decide(request).unwrap()["reviews"].as_array().unwrap().len();
    }
    let ours = began.elapsed();
    let out = Command::new(&python).args([script, "rate"]).arg(&cases).output().unwrap();
    let said = String::from_utf8(out.stdout).unwrap();
    let mut words = said.split_whitespace();
    let theirs = Duration::from_secs_f64(words.next().unwrap().parse().unwrap());
    assert_eq!(words.next().unwrap().parse::<usize>().unwrap(), reviews, "both plan the same reviews");
    let times = theirs.as_secs_f64() / ours.as_secs_f64();
    say("10,000 requests beside a dateutil script, times its rate", &format!("{times:.0}×"), "50×");
    println!("  engine {ours:.2?}, script {theirs:.2?}, {reviews} reviews");
}

fn year() {
    let folder = tempfile::tempdir().unwrap();
    let (db, service, _) = filled(folder.path(), 20_000);
    let today = db.clock().today();
    let began = Instant::now();
    let now = db.read_now(|conn| demand::as_planned(conn, service, today)).unwrap();
    let plain = began.elapsed();
    let began = Instant::now();
    let then = db
        .read_now(|conn| {
            let world = World::load(conn, service, today)?;
            let other = shipped_by_id("east-kent").unwrap().clone().into();
            demand::what_if(conn, &world, "dartford-gravesham", other, &now)
        })
        .map_err(|e: StoreError| e)
        .unwrap();
    say("year ahead of 20,000 patients, as planned", &format!("{plain:.2?}"), "2 s");
    say("the same, what if all followed another protocol", &format!("{:.2?}", began.elapsed()), "2 s");
    let sum = |d: &demand::Demand| (0..demand::WEEKS).map(|w| d.of_week(w)).sum::<u32>();
    println!("  {} reviews in the year, {} with the other protocol", sum(&now), sum(&then));
    drop(db);
    let folder = tempfile::tempdir().unwrap();
    let (served, _) = demo(folder.path(), 1_500);
    runtime().block_on(async {
        let browser = Browser::sign_in(&served.base).await;
        let (half, most) = browser.timed("/follow-up/year", 20).await;
        say("the page of the year, 1,500 patients, median (p95)", &format!("{half:.2?} ({most:.2?})"), "none");
    });
}

pub fn run() {
    one_plan();
    beside_dateutil();
    year();
    nation();
}
