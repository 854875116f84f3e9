//! The dates of the demonstration: the same for the same seed, counted from the day on which it is made.

use chrono::{Duration, NaiveDate};

use super::{Told, demo, everyone};
use crate::support::app::Hands;
use crate::support::{Backend, TestDatabase};

/// Every date of everybody, as days from `today`; names before them.
fn dates(told: &[Told], today: NaiveDate) -> Vec<String> {
    let from_today = |on: Option<NaiveDate>| on.map(|on| (on - today).num_days());
    let stomas = |t: &Told| -> Vec<_> {
        let days = |s: &roundel::stomas::store::Stoma| {
            [s.surgery_on, s.discharge_on, s.reversal_on, s.reversed_on].map(from_today)
        };
        t.stomas.iter().map(|s| (s.kind.clone(), days(s))).collect()
    };
    let told = told.iter().map(|t| {
        let name = t.patient.display_name();
        format!("{name} {:?} {:?}", from_today(t.patient.ended_on), stomas(t))
    });
    told.collect()
}

fn reviews(told: &[Told]) -> Vec<String> {
    let words =
        |t: &Told| t.reviews.iter().map(|r| format!("{} {} {:?}", r.planned_on, r.status, r.booked_on)).collect();
    let mut all: Vec<Vec<String>> = told.iter().map(words).collect();
    all.iter_mut().for_each(|of| of.sort());
    all.concat()
}

fn made(seed: u64, later: i64) -> (Vec<String>, Vec<String>) {
    let hands = Hands::new();
    hands.set(hands.now() + Duration::days(later));
    let db = TestDatabase::new(Backend::Sqlite);
    let (records, service) = demo(&db, &hands, seed);
    let told = everyone(&records, service);
    (dates(&told, hands.clock().today()), reviews(&told))
}

#[test]
fn the_same_seed_gives_the_same_dates_counted_from_today() {
    let first = made(3, 0);
    assert_eq!(made(3, 0), first);
    let later = made(3, 45);
    assert_eq!(later.0, first.0, "six weeks later everything is six weeks later");
    assert_ne!(later.1, first.1);
    assert_ne!(made(4, 0).0, first.0, "another seed gives other dates");
}
