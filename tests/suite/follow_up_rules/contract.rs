//! The rules of the contract one by one: rounding, waiting, limits, ends, order, reasons.

use roundel::follow_up::rules::*;
use serde_json::{Value, json};

use super::{at, by, decided, only, patient_a, planned, window};

#[test]
fn a_deadline_falls_back_and_a_point_moves_on() {
    // Discharge Thu 22-Jan-2026 + 2 days is Saturday.
    assert_eq!(only(by("discharge", "P2D"))["planned"], "2026-01-23");
    assert_eq!(only(at("discharge", "P2D"))["planned"], "2026-01-26");
    // A closure of the service counts like a holiday.
    let mut input = patient_a(json!([at("discharge", "P2D")]));
    input["closures"] = json!(["2026-01-27", "2026-01-26"]);
    assert_eq!(planned(&input)[0].2, "2026-01-28");
}

#[test]
fn a_step_without_its_date_waits_and_a_step_for_others_is_left_out() {
    let mut input = patient_a(json!([
        { "id": "home", "anchor": "discharge", "shape": "by", "offset": "P2W", "mode": "home" },
        { "id": "colostomy", "anchor": "surgery", "shape": "at", "offset": "P3M", "mode": "clinic", "when": { "kind": "colostomy" } },
        { "id": "loop", "anchor": "surgery", "shape": "at", "offset": "P3M", "mode": "clinic", "when": { "construction": ["loop", "double-barrel"] } },
        { "id": "all", "anchor": "surgery", "shape": "at", "offset": "P3M", "mode": "clinic", "when": { "kind": ["ileostomy", "urostomy"], "surgery": "planned" } },
    ]));
    input["anchors"] = json!({ "surgery": "2026-01-15", "discharge": null });
    let answer = decided(&input);
    assert_eq!(answer["waiting"].as_array().map(Vec::len), Some(1));
    assert_eq!((&answer["waiting"][0]["step"], &answer["waiting"][0]["for"]), (&json!("home"), &json!("discharge")));
    assert_eq!(planned(&input).iter().map(|(step, ..)| step.as_str()).collect::<Vec<_>>(), ["all"]);
    let left_out: Vec<&str> = (0..2).filter_map(|i| answer["left_out"][i]["step"].as_str()).collect();
    assert_eq!(left_out, ["colostomy", "loop"]);
    // A fact that decides and is not known is no reason to drop the step.
    input["stoma"] = json!({ "kind": "ileostomy" });
    let answer = decided(&input);
    let waits: Vec<&str> = (0..3).filter_map(|i| answer["waiting"][i]["for"].as_str()).collect();
    assert_eq!(waits, ["discharge", "stoma.construction", "stoma.surgery"]);
}

#[test]
fn until_limits_the_nominal_date_and_not_the_planned_one() {
    // 15-Jan-2028 is a Saturday, planned on Monday 17.
    let steps = json!([{ "id": "y", "anchor": "surgery", "shape": "at", "offset": "P12M", "repeat": "P12M", "mode": "clinic" }]);
    let mut input = patient_a(steps);
    input["until"] = json!("2028-01-15");
    assert_eq!(planned(&input).last().map(|(_, k, on)| (*k, on.as_str())), Some((2, "2028-01-17")));
    input["until"] = json!("2028-01-14");
    assert_eq!(planned(&input).len(), 1);
    // A window is limited by its first day.
    let mut input = patient_a(json!([window("discharge", "P3D", "P5D")]));
    input["until"] = json!("2026-01-25");
    assert_eq!(planned(&input)[0].2, "2026-01-26");
}

#[test]
fn nothing_is_planned_after_the_end() {
    let mut input = patient_a(json!([
        { "id": "y", "anchor": "surgery", "shape": "at", "offset": "P12M", "repeat": "P12M", "mode": "clinic" },
    ]));
    input["ended"] = json!({ "reason": "moved-away", "on": "2028-01-16" }); // nominal Sat 15, planned Mon 17
    let answer = decided(&input);
    assert_eq!(answer["reviews"].as_array().map(Vec::len), Some(1));
    assert_eq!(answer["left_out"][0]["step"], "y");
    let text = answer["left_out"][0]["text"].as_str().expect("a text");
    assert!(text.contains("Sun 16-Jan-2028: the patient moved away"), "{text}");
    input["ended"]["on"] = json!("2028-01-17");
    assert_eq!(planned(&input).len(), 2);
}

#[test]
fn reviews_of_one_day_stand_in_the_order_of_the_steps() {
    let step = |id: &str, shape: &str, offset: &str| json!({ "id": id, "anchor": "discharge", "shape": shape, "offset": offset, "mode": "home" });
    // Sun 25-Jan by → Fri 23; Fri 23 at → Fri 23; Sat 24 by → Fri 23; Thu 22 at.
    let input = patient_a(json!([
        step("c", "by", "P3D"),
        step("a", "at", "P1D"),
        step("b", "by", "P2D"),
        step("z", "at", "P0D")
    ]));
    let order: Vec<String> = planned(&input).into_iter().map(|(step, ..)| step).collect();
    assert_eq!(order, ["z", "c", "a", "b"]);
}

#[test]
fn years_without_known_holidays_are_named() {
    let mut input = patient_a(json!([at("surgery", "P36M")]));
    input["until"] = json!("2029-12-31");
    let reasons = decided(&input)["reviews"][0]["reasons"].to_string();
    assert!(reasons.contains("bank holidays after 2028 are not known here"), "{reasons}");
    // Sun 31-Dec-2028 moves on into an unknown year.
    input["anchors"] = json!({ "surgery": "2028-09-30" });
    input["protocol"]["steps"] = json!([at("surgery", "P92D")]);
    let review = decided(&input)["reviews"][0].clone();
    assert_eq!((review["nominal"].as_str(), review["planned"].as_str()), (Some("2028-12-31"), Some("2029-01-01")));
    assert!(review["reasons"].to_string().contains("after 2028"), "{review}");
    input["anchors"] = json!({ "surgery": "2018-01-10" });
    input["until"] = json!("2019-12-31");
    assert!(decided(&input)["reviews"][0]["reasons"].to_string().contains("before 2019"));
    // A known year says nothing of the kind.
    assert!(!only(at("surgery", "P3M"))["reasons"].to_string().contains("not known"));
}

#[test]
fn reasons_name_the_day_and_what_was_done_about_it() {
    let reasons = |step: Value| only(step)["reasons"].to_string();
    let easter = reasons(at("surgery", "P78D"));
    assert!(
        easter.contains(
            "78 days after surgery on 15-Jan-2026 is Fri 03-Apr-2026, a bank holiday in England (Good Friday)"
        ),
        "{easter}"
    );
    assert!(easter.contains("planned for the next working day, Tue 07-Apr-2026"), "{easter}");
    let clamped = reasons(at("discharge", "P1M"));
    assert!(!clamped.contains("shorter"), "{clamped}");
    // A deadline that falls back before its own anchor is pointed out: discharge on a Saturday, by the next day.
    let mut input = patient_a(json!([by("discharge", "P1D")]));
    input["anchors"]["discharge"] = json!("2026-01-24");
    let review = decided(&input)["reviews"][0].clone();
    assert_eq!(review["planned"], "2026-01-23");
    assert!(review["reasons"].to_string().contains("this is before discharge on 24-Jan-2026"), "{review}");
    assert!(!only(at("discharge", "P0D"))["reasons"].to_string().contains("this is before"));
    // So is a month that is too short.
    let mut input = patient_a(json!([at("surgery", "P1M")]));
    input["anchors"] = json!({ "surgery": "2026-01-31" });
    assert!(decided(&input)["reviews"][0]["reasons"].to_string().contains("its last day counts"));
}

#[test]
fn without_a_repeat_until_may_be_left_out() {
    let mut input = patient_a(json!([at("surgery", "P3M")]));
    input.as_object_mut().expect("an object").remove("until");
    input.as_object_mut().expect("an object").remove("closures");
    assert_eq!(planned(&input)[0].2, "2026-04-15");
}

#[test]
fn the_answer_names_the_protocol_the_calendar_and_the_version_of_the_rules() {
    let mut input = patient_a(json!([]));
    input["protocol"] = json!("bristol-yearly");
    let answer = decided(&input);
    assert_eq!(answer["protocol"]["standing"], "read");
    assert!(answer["protocol"]["source"].as_str().is_some_and(|source| source.contains("Bristol")));
    assert_eq!(answer["bank_holidays"]["last_year"], 2028);
    assert_eq!(answer["rule_version"], RULE_VERSION);
    assert_eq!(answer["waiting"][0]["for"], "last-completed");
    // Dates that cannot both be right are not refused by the contract, but pointed out.
    input["anchors"]["reversal"] = json!("2026-01-01");
    assert!(decided(&input)["notes"][0].as_str().is_some_and(|note| note.contains("check both")));
}
