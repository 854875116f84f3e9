//! The follow-up engine against tables from outside, each named beside its check.
//!
//! Tables of dates: made with python-dateutil 2.9 (month arithmetic) and the package `holidays` 0.109 (bank holidays),
//! England unless another nation is named. The steps are those of the web pages named; the pages print intervals, not
//! dates.

#![allow(clippy::expect_used, clippy::panic, reason = "helpers of tests stop at once")]

mod contract;
mod difference;
mod ends;
mod facts;
mod outside;
mod properties;
mod protocols;
mod refusals;

use chrono::{Datelike, Days, NaiveDate};
use roundel::follow_up::rules::bank_holidays::bank_holidays;
use roundel::follow_up::rules::*;
use serde_json::{Value, json};

fn day(text: &str) -> NaiveDate {
    NaiveDate::parse_from_str(text, "%Y-%m-%d").expect("a date")
}

/// One decision on the steps given, for patient A: surgery Thu 15-Jan-2026, discharge Thu 22-Jan-2026, England.
fn patient_a(steps: Value) -> Value {
    json!({
        "nation": "england", "closures": [], "until": "2029-01-01",
        "stoma": { "kind": "ileostomy", "construction": "end", "permanence": "permanent", "surgery": "planned" },
        "anchors": { "surgery": "2026-01-15", "discharge": "2026-01-22" },
        "protocol": { "id": "test", "title": "Test", "version": 1, "steps": steps },
    })
}

fn decided(input: &Value) -> Value {
    decide(input).unwrap_or_else(|errors| panic!("{errors:?}"))
}

/// `(step, occurrence, planned)` of every review.
fn planned(input: &Value) -> Vec<(String, u64, String)> {
    let answer = decided(input);
    let text = |review: &Value, name: &str| review[name].as_str().expect("a text").to_owned();
    let reviews = answer["reviews"].as_array().expect("a list").iter();
    reviews.map(|r| (text(r, "step"), r["occurrence"].as_u64().expect("a number"), text(r, "planned"))).collect()
}

fn at(anchor: &str, offset: &str) -> Value {
    json!({ "id": "one", "anchor": anchor, "shape": "at", "offset": offset, "mode": "clinic" })
}

fn by(anchor: &str, offset: &str) -> Value {
    json!({ "id": "one", "anchor": anchor, "shape": "by", "offset": offset, "mode": "clinic" })
}

fn window(anchor: &str, from: &str, to: &str) -> Value {
    json!({ "id": "one", "anchor": anchor, "shape": "window", "from": from, "to": to, "mode": "home" })
}

/// The single review of a single step.
fn only(step: Value) -> Value {
    let answer = decided(&patient_a(json!([step])));
    assert_eq!(answer["reviews"].as_array().map(Vec::len), Some(1), "{answer}");
    answer["reviews"][0].clone()
}

// ---- the contract's own example ----

#[test]
fn the_example_of_the_contract_gives_its_dates() {
    let input = json!({"nation":"england","closures":["2026-12-29"],"until":"2028-12-31",
     "stoma":{"kind":"ileostomy","construction":"end","permanence":"permanent","surgery":"planned"},
     "anchors":{"surgery":"2026-01-15","discharge":"2026-01-22"},
     "protocol":{"id":"example","title":"Example","version":1,"steps":[
      {"id":"community","anchor":"discharge","shape":"by","offset":"P14D","mode":"home"},
      {"id":"home","anchor":"discharge","shape":"window","from":"P3D","to":"P5D","mode":"home"},
      {"id":"three-months","anchor":"surgery","shape":"at","offset":"P3M","mode":"clinic"},
      {"id":"yearly","anchor":"surgery","shape":"at","offset":"P12M","repeat":"P12M","mode":"clinic","when":{"kind":["ileostomy"]}}]}});
    let answer = decided(&input);
    let facts: Vec<Value> = answer["reviews"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|r| {
            json!([
                r["step"],
                r["occurrence"],
                r["nominal"],
                r["earliest"],
                r["latest"],
                r["planned"],
                r["mode"],
                r["outside_window"]
            ])
        })
        .collect();
    assert_eq!(
        Value::from(facts),
        json!([
            ["home", 1, "2026-01-25", "2026-01-25", "2026-01-27", "2026-01-26", "home", false],
            ["community", 1, "2026-02-05", null, "2026-02-05", "2026-02-05", "home", false],
            ["three-months", 1, "2026-04-15", "2026-04-15", "2026-04-15", "2026-04-15", "clinic", false],
            ["yearly", 1, "2027-01-15", "2027-01-15", "2027-01-15", "2027-01-15", "clinic", false],
            ["yearly", 2, "2028-01-15", "2028-01-15", "2028-01-15", "2028-01-17", "clinic", false],
        ])
    );
    assert_eq!(answer["waiting"], json!([]));
    assert_eq!(
        answer["reviews"][2]["reasons"],
        json!(["3 months after surgery on 15-Jan-2026 is Wed 15-Apr-2026, a working day"])
    );
}

// ---- patient A: intervals of the pages named, dates by dateutil and holidays ----

#[test]
fn dartford_and_gravesham_for_patient_a() {
    // Dartford and Gravesham NHS Trust, Stoma therapy page.
    let mut input = patient_a(json!([]));
    input["protocol"] = json!("dartford-gravesham");
    input["until"] = json!("2028-12-31");
    let expected = [
        ("community", 1, "2026-02-05"),
        ("six-week-clinic", 1, "2026-03-05"),
        ("three-months", 1, "2026-04-15"),
        ("six-months", 1, "2026-07-15"),
        ("yearly", 1, "2027-01-15"), // 1 year and annual review are one event
        ("yearly", 2, "2028-01-17"), // Sat 15-Jan-2028
    ];
    assert_eq!(planned(&input), expected.map(|(step, k, on)| (step.to_owned(), k, on.to_owned())));
}

#[test]
fn leeds_window_takes_its_first_working_day() {
    // Leeds Community Healthcare, Stoma care page: home visit 3 to 5 days after discharge = Sun 25 to Tue 27-Jan-2026.
    let review = only(window("discharge", "P3D", "P5D"));
    assert_eq!(review["nominal"], "2026-01-25");
    assert_eq!(review["latest"], "2026-01-27");
    assert_eq!(review["planned"], "2026-01-26");
    assert_eq!(review["outside_window"], false);
    assert_eq!(
        review["reasons"],
        json!([
            "the window, 3 to 5 days after discharge on 22-Jan-2026, is Sun 25-Jan-2026 to Tue 27-Jan-2026",
            "its first working day is Mon 26-Jan-2026",
        ])
    );
    let first_reason = |from: &str, to: &str| only(window("discharge", from, to))["reasons"][0].clone();
    assert_eq!(
        first_reason("P1D", "P1W"),
        "the window, 1 day to 1 week after discharge on 22-Jan-2026, is Fri 23-Jan-2026 to Thu 29-Jan-2026"
    );
    assert_eq!(first_reason("P1D", "P1D"), "the window, 1 day after discharge on 22-Jan-2026, is Fri 23-Jan-2026");
}

#[test]
fn cambridge_window_without_a_working_day_takes_the_earlier_neighbour_and_says_so() {
    // Cambridge University Hospitals, Urostomy discharge information: call 2 to 3 days after = Sat 24, Sun 25-Jan-2026.
    let review = only(window("discharge", "P2D", "P3D"));
    assert_eq!(review["planned"], "2026-01-23");
    assert_eq!(review["outside_window"], true);
    let reasons = review["reasons"].to_string();
    assert!(reasons.contains("no working day lies in it"), "{reasons}");
}

#[test]
fn a_window_without_a_working_day_takes_the_nearer_neighbour() {
    // Easter 2026: Fri 3 to Mon 6 April closed. Sun 5 to Mon 6: Thu 2 is 3 days before, Tue 7 is 1 day after.
    let mut step = window("discharge", "P73D", "P74D");
    let review = only(step.clone());
    assert_eq!((review["nominal"].as_str(), review["latest"].as_str()), (Some("2026-04-05"), Some("2026-04-06")));
    assert_eq!(review["planned"], "2026-04-07");
    assert_eq!(review["outside_window"], true);
    // Fri 3 to Sat 4: Thu 2 is 1 day before, Tue 7 is 3 days after.
    step["from"] = json!("P71D");
    step["to"] = json!("P72D");
    assert_eq!(only(step)["planned"], "2026-04-02");
}

#[test]
fn other_points_of_patient_a() {
    // RNAO 2019 summary, by 4 weeks; WOCN 2019 paper 11881, 30-day clinic; StomaCare trial protocol 2023, months 1 and
    // 2.
    let cases = [
        (by("discharge", "P4W"), "2026-02-19", "2026-02-19"),
        (at("surgery", "P30D"), "2026-02-14", "2026-02-16"), // Saturday
        (at("surgery", "P1M"), "2026-02-15", "2026-02-16"),  // Sunday
        (at("surgery", "P2M"), "2026-03-15", "2026-03-16"),  // Sunday
        (at("surgery", "P6W"), "2026-02-26", "2026-02-26"),
        (at("surgery", "P12W"), "2026-04-09", "2026-04-09"), // is not 3 months
        (at("surgery", "P3M"), "2026-04-15", "2026-04-15"),
    ];
    for (step, nominal, on) in cases {
        let review = only(step.clone());
        assert_eq!((review["nominal"].as_str(), review["planned"].as_str()), (Some(nominal), Some(on)), "{step}");
    }
}

// ---- month ends and holidays: dateutil relativedelta, then the next working day of each nation ----

#[test]
fn months_clamp_and_are_never_chained() {
    // dateutil: 29-Feb-2024 yearly reaches 28-Feb three times and 29-Feb-2028 again; a chain would stay on the 28th.
    let step = json!([{ "id": "y", "anchor": "surgery", "shape": "at", "offset": "P12M", "repeat": "P12M", "mode": "clinic" }]);
    let mut input = patient_a(step);
    input["anchors"] = json!({ "surgery": "2024-02-29" });
    input["until"] = json!("2028-02-29");
    let answer = decided(&input);
    let nominal: Vec<&str> = (0..4).filter_map(|i| answer["reviews"][i]["nominal"].as_str()).collect();
    assert_eq!(nominal, ["2025-02-28", "2026-02-28", "2027-02-28", "2028-02-29"]);
    // Three that the date function of an SQL database overflows into the next month (2026-03-03, 2025-03-01,
    // 2026-03-02).
    for (anchor, offset, expected) in
        [("2025-08-31", "P6M", "2026-02-28"), ("2024-02-29", "P12M", "2025-02-28"), ("2025-11-30", "P3M", "2026-02-28")]
    {
        let offset = Offset::parse(offset).expect("an offset");
        assert_eq!(offset.after(day(anchor)), Some(day(expected)));
    }
}

#[test]
fn points_near_holidays_in_three_nations() {
    // (anchor, offset, England, Scotland, Northern Ireland); Wales as England.
    let table = [
        ("2025-12-11", "P2W", "2025-12-29", "2025-12-29", "2025-12-29"),
        ("2025-12-12", "P2W", "2025-12-29", "2025-12-29", "2025-12-29"),
        ("2026-02-20", "P6W", "2026-04-07", "2026-04-06", "2026-04-07"),
        ("2026-02-23", "P6W", "2026-04-07", "2026-04-06", "2026-04-07"),
        ("2025-11-30", "P3M", "2026-03-02", "2026-03-02", "2026-03-02"),
        ("2026-08-31", "P6M", "2027-03-01", "2027-03-01", "2027-03-01"),
        ("2024-02-29", "P12M", "2025-02-28", "2025-02-28", "2025-02-28"),
        ("2024-02-29", "P48M", "2028-02-29", "2028-02-29", "2028-02-29"),
        ("2026-10-03", "P3M", "2027-01-04", "2027-01-05", "2027-01-04"),
        ("2026-11-16", "P2W", "2026-11-30", "2026-12-01", "2026-11-30"),
        ("2027-11-27", "P1M", "2027-12-29", "2027-12-29", "2027-12-29"),
        ("2027-12-31", "P1D", "2028-01-04", "2028-01-05", "2028-01-04"),
        ("2026-06-01", "P2W", "2026-06-15", "2026-06-16", "2026-06-15"),
        ("2026-06-29", "P2W", "2026-07-13", "2026-07-13", "2026-07-14"),
    ];
    for (anchor, offset, england, scotland, northern_ireland) in table {
        let nations =
            [("england", england), ("wales", england), ("scotland", scotland), ("northern-ireland", northern_ireland)];
        for (nation, expected) in nations {
            let mut input = patient_a(json!([at("surgery", offset)]));
            input["nation"] = json!(nation);
            input["anchors"] = json!({ "surgery": anchor });
            assert_eq!(planned(&input)[0].2, expected, "{anchor} {offset} {nation}");
        }
    }
}

#[test]
fn working_days_after_a_discharge() {
    // holidays 0.109: +1, +2, +3 working days.
    let england = WorkingDays::new(Nation::England, &[]);
    let scotland = WorkingDays::new(Nation::Scotland, &[]);
    let table = [
        (&england, "2026-04-02", ["2026-04-07", "2026-04-08", "2026-04-09"]),
        (&scotland, "2026-04-02", ["2026-04-06", "2026-04-07", "2026-04-08"]),
        (&england, "2025-12-31", ["2026-01-02", "2026-01-05", "2026-01-06"]),
        (&scotland, "2025-12-31", ["2026-01-05", "2026-01-06", "2026-01-07"]),
        (&england, "2026-06-12", ["2026-06-15", "2026-06-16", "2026-06-17"]),
        (&scotland, "2026-06-12", ["2026-06-16", "2026-06-17", "2026-06-18"]),
        (&england, "2026-12-24", ["2026-12-29", "2026-12-30", "2026-12-31"]),
        (&scotland, "2026-12-24", ["2026-12-29", "2026-12-30", "2026-12-31"]),
    ];
    for (days, discharge, expected) in table {
        let found = [1, 2, 3].map(|n| days.add_working_days(day(discharge), n));
        assert_eq!(found, expected.map(day), "{discharge} {}", days.nation().code());
    }
    assert_eq!(england.add_working_days(day("2026-04-03"), 0), day("2026-04-03"));
}

#[test]
fn weekday_holidays_of_the_years_tabled() {
    // holidays 0.109, weekday closures 2025 to 2028; Wales as England.
    let england = [
        "2025: 01-01 04-18 04-21 05-05 05-26 08-25 12-25 12-26",
        "2026: 01-01 04-03 04-06 05-04 05-25 08-31 12-25 12-28",
        "2027: 01-01 03-26 03-29 05-03 05-31 08-30 12-27 12-28",
        "2028: 01-03 04-14 04-17 05-01 05-29 08-28 12-25 12-26",
    ];
    let scotland = [
        "2025: 01-01 01-02 04-18 05-05 05-26 08-04 12-01 12-25 12-26",
        "2026: 01-01 01-02 04-03 05-04 05-25 06-15 08-03 11-30 12-25 12-28",
        "2027: 01-01 01-04 03-26 05-03 05-31 08-02 11-30 12-27 12-28",
        "2028: 01-03 01-04 04-14 05-01 05-29 08-07 11-30 12-25 12-26",
    ];
    let northern_ireland = [
        "2025: 01-01 03-17 04-18 04-21 05-05 05-26 07-14 08-25 12-25 12-26",
        "2026: 01-01 03-17 04-03 04-06 05-04 05-25 07-13 08-31 12-25 12-28",
        "2027: 01-01 03-17 03-26 03-29 05-03 05-31 07-12 08-30 12-27 12-28",
        "2028: 01-03 03-17 04-14 04-17 05-01 05-29 07-12 08-28 12-25 12-26",
    ];
    let nations = [
        (Nation::England, england),
        (Nation::Wales, england),
        (Nation::Scotland, scotland),
        (Nation::NorthernIreland, northern_ireland),
    ];
    for (nation, years) in nations {
        for (year, expected) in (2025..).zip(years) {
            let of_year = bank_holidays().of(nation).iter().filter(|holiday| holiday.on.year() == year);
            let days: Vec<String> = of_year.map(|holiday| holiday.on.format("%m-%d").to_string()).collect();
            assert_eq!(format!("{year}: {}", days.join(" ")), expected, "{}", nation.code());
        }
    }
}

#[test]
fn working_days_a_year() {
    // Counted with holidays 0.109: England 253, 253, 253 and Scotland 252, 251, 252 in 2025, 2026, 2027.
    for (nation, expected) in [(Nation::England, [253, 253, 253]), (Nation::Scotland, [252, 251, 252])] {
        let days = WorkingDays::new(nation, &[]);
        let count = |year| {
            let first = NaiveDate::from_ymd_opt(year, 1, 1).expect("a date");
            (0..365).filter(|n| days.is_working_day(first + Days::new(*n))).count()
        };
        assert_eq!([2025, 2026, 2027].map(count), expected);
    }
}
