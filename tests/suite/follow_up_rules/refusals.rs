//! What the contract refuses, and that every mistake is reported, not only the first.

use roundel::follow_up::rules::*;
use serde_json::{Value, json};

use super::{at, patient_a, window};

/// `(field, message)` of every error.
fn refused(input: &Value) -> Vec<(String, String)> {
    let errors = decide(input).expect_err("must be refused");
    errors.errors.into_iter().map(|error| (error.field, error.message)).collect()
}

/// The fields named when one field of a right request is changed.
fn fields(change: impl FnOnce(&mut Value)) -> Vec<String> {
    let mut input = patient_a(json!([at("surgery", "P3M")]));
    decide(&input).expect("right before the change");
    change(&mut input);
    refused(&input).into_iter().map(|(field, _)| field).collect()
}

/// The fields named when a step of a right request is changed.
fn step_fields(change: impl FnOnce(&mut Value)) -> Vec<String> {
    fields(|input| change(&mut input["protocol"]["steps"][0]))
}

#[test]
fn the_refusals_of_the_contract() {
    assert_eq!(fields(|i| i["anchors"]["discharge"] = json!("2026-01-14")), ["anchors.discharge"]);
    let two = json!([at("surgery", "P3M"), at("surgery", "P6M")]);
    assert_eq!(fields(|i| i["protocol"]["steps"] = two), ["protocol.steps[1].id"]);
    assert_eq!(
        fields(|i| i["protocol"]["steps"] = json!([window("discharge", "P5D", "P3D")])),
        ["protocol.steps[0].to"]
    );
    assert_eq!(step_fields(|s| s["repeat"] = json!("P0M")), ["protocol.steps[0].repeat"]);
    assert_eq!(step_fields(|s| s["repeat"] = json!("P12W")), ["protocol.steps[0].repeat"]);
    assert_eq!(step_fields(|s| s["anchor"] = json!("birth")), ["protocol.steps[0].anchor"]);
    assert_eq!(fields(|i| i["anchors"]["birth"] = json!("2026-01-15")), ["anchors.birth"]);
    assert_eq!(fields(|i| i["nation"] = json!("cornwall")), ["nation"]);
    assert_eq!(step_fields(|s| s["mode"] = json!("letter")), ["protocol.steps[0].mode"]);
}

#[test]
fn a_discharge_on_the_day_of_surgery_is_taken() {
    let mut input = patient_a(json!([at("surgery", "P3M")]));
    input["anchors"]["discharge"] = json!("2026-01-15");
    assert!(decide(&input).is_ok());
}

#[test]
fn unknown_and_missing_fields() {
    for name in ["nation", "stoma", "anchors", "protocol"] {
        assert_eq!(fields(|i| drop(i.as_object_mut().expect("an object").remove(name))), [name]);
    }
    for name in ["id", "anchor", "shape", "mode", "offset"] {
        let path = format!("protocol.steps[0].{name}");
        assert_eq!(step_fields(|s| drop(s.as_object_mut().expect("an object").remove(name))), [path]);
    }
    for name in ["id", "steps"] {
        let path = format!("protocol.{name}");
        assert_eq!(fields(|i| drop(i["protocol"].as_object_mut().expect("an object").remove(name))), [path]);
    }
    assert_eq!(fields(|i| i["stoma"] = json!({ "construction": "end" })), ["stoma.kind"]);
    assert_eq!(fields(|i| i["ended"] = json!({ "reason": "died" })), ["ended.on"]);
    assert_eq!(fields(|i| i["colour"] = json!("red")), ["colour"]);
    assert_eq!(fields(|i| i["stoma"]["colour"] = json!("red")), ["stoma.colour"]);
    assert_eq!(fields(|i| i["protocol"]["colour"] = json!("red")), ["protocol.colour"]);
    assert_eq!(step_fields(|s| s["colour"] = json!("red")), ["protocol.steps[0].colour"]);
    assert_eq!(step_fields(|s| s["when"] = json!({ "colour": "red" })), ["protocol.steps[0].when.colour"]);
    assert_eq!(fields(|i| i["ended"] = json!({ "reason": "died", "on": "2026-02-01", "by": "x" })), ["ended.by"]);
}

#[test]
fn a_repeat_needs_until_and_until_has_a_limit() {
    let missing = fields(|i| {
        i["protocol"]["steps"][0]["repeat"] = json!("P3M");
        i.as_object_mut().expect("an object").remove("until");
    });
    assert_eq!(missing, ["until"]);
    let mut input = patient_a(json!([at("surgery", "P3M")]));
    input["until"] = json!("2086-01-15"); // 60 years to the day
    assert!(decide(&input).is_ok());
    input["until"] = json!("2086-01-16");
    let refused = refused(&input);
    assert_eq!(refused.len(), 1);
    assert!(
        refused[0].1.contains("more than 60 years after the earliest date given (surgery on 15-Jan-2026)"),
        "{refused:?}"
    );
}

#[test]
fn offsets_of_another_form() {
    for wrong in [
        "", "P", "3M", "P3", "P3Y", "P3m", "p3M", "P-3M", "P+3M", "P3.5M", "P1M2D", "PM", "P3MM", " P3M", "P٣M", "PT3H",
    ] {
        assert_eq!(step_fields(|s| s["offset"] = json!(wrong)), ["protocol.steps[0].offset"], "{wrong}");
    }
    for too_long in ["P721M", "P3131W", "P21916D", "P99999999999999999999D"] {
        let mut input = patient_a(json!([at("surgery", "P3M")]));
        input["protocol"]["steps"][0]["offset"] = json!(too_long);
        assert!(refused(&input)[0].1.contains("more than 60 years"), "{too_long}");
    }
    for right in ["P0D", "P720M", "P3130W", "P21915D"] {
        assert_eq!(Offset::parse(right).map(|offset| offset.to_string()), Ok(right.to_owned()));
    }
    assert_eq!(step_fields(|s| s["offset"] = json!(14)), ["protocol.steps[0].offset"]);
}

#[test]
fn fields_that_the_shape_has_no_use_for() {
    assert_eq!(step_fields(|s| s["from"] = json!("P3D")), ["protocol.steps[0].from"]);
    let mut step = window("discharge", "P3D", "P5D");
    step["offset"] = json!("P3D");
    assert_eq!(fields(|i| i["protocol"]["steps"] = json!([step])), ["protocol.steps[0].offset"]);
    assert!(decide(&patient_a(json!([window("discharge", "P3D", "P3D")]))).is_ok(), "a window of one day");
    assert_eq!(step_fields(|s| s["shape"] = json!("between")), ["protocol.steps[0].shape"]);
    // A repeat counts in the unit of both ends of a window.
    let mut step = window("discharge", "P3D", "P1W");
    step["repeat"] = json!("P7D");
    assert_eq!(fields(|i| i["protocol"]["steps"] = json!([step])), ["protocol.steps[0].repeat"]);
}

#[test]
fn a_window_in_two_units_must_hold_for_every_anchor() {
    // 1 month is 28 days after 31-Jan or 1-Feb, so P29D to P1M ends before it begins for some patients.
    let one = |from: &str, to: &str| patient_a(json!([window("discharge", from, to)]));
    assert_eq!(refused(&one("P29D", "P1M"))[0].0, "protocol.steps[0].to");
    assert!(decide(&one("P28D", "P1M")).is_ok());
    assert!(decide(&one("P4W", "P1M")).is_ok());
    assert_eq!(refused(&one("P1M", "P30D"))[0].0, "protocol.steps[0].to");
    assert!(decide(&one("P1M", "P31D")).is_ok());
}

#[test]
fn limits_of_when() {
    assert_eq!(step_fields(|s| s["when"] = json!({ "kind": [] })), ["protocol.steps[0].when.kind"]);
    assert_eq!(
        step_fields(|s| s["when"] = json!({ "kind": ["ileostomy", "bag"] })),
        ["protocol.steps[0].when.kind[1]"]
    );
    assert_eq!(step_fields(|s| s["when"] = json!({ "permanence": "for ever" })), ["protocol.steps[0].when.permanence"]);
    assert_eq!(step_fields(|s| s["when"] = json!(["ileostomy"])), ["protocol.steps[0].when"]);
}

#[test]
fn dates_that_are_none() {
    for wrong in ["2026-02-30", "15-01-2026", "2026-1-5", "", "2026-01-15T00:00:00Z"] {
        assert_eq!(fields(|i| i["anchors"]["surgery"] = json!(wrong)), ["anchors.surgery"], "{wrong}");
    }
    assert_eq!(fields(|i| i["anchors"]["surgery"] = json!("0206-01-15")), ["anchors.surgery"]);
    assert_eq!(fields(|i| i["closures"] = json!(["2026-12-29", "Christmas"])), ["closures[1]"]);
    assert_eq!(fields(|i| i["closures"] = json!("2026-12-29")), ["closures"]);
}

#[test]
fn protocols_that_are_none() {
    let mut input = patient_a(json!([]));
    assert_eq!(refused(&input)[0].0, "protocol.steps");
    input["protocol"] = json!("no-such-one");
    assert!(refused(&input)[0].1.contains("dartford-gravesham"), "names what there is");
    input["protocol"] = json!(7);
    assert_eq!(refused(&input)[0].0, "protocol");
    assert_eq!(fields(|i| i["protocol"]["standing"] = json!("read")), ["protocol.source"]);
    assert_eq!(fields(|i| i["protocol"]["version"] = json!(0)), ["protocol.version"]);
    assert_eq!(refused(&json!([]))[0].0, "");
}

#[test]
fn every_mistake_is_reported() {
    let mut input = patient_a(json!([
        { "id": "a", "anchor": "birth", "shape": "at", "offset": "3 months", "mode": "letter" },
        { "id": "a", "anchor": "surgery", "shape": "window", "from": "P5D", "to": "P3D", "repeat": "P0D", "mode": "home" },
    ]));
    input["nation"] = json!("cornwall");
    input["anchors"]["discharge"] = json!("2026-01-14");
    input["colour"] = json!("red");
    let mut fields: Vec<String> = refused(&input).into_iter().map(|(field, _)| field).collect();
    fields.sort();
    assert_eq!(
        fields,
        [
            "anchors.discharge",
            "colour",
            "nation",
            "protocol.steps[0].anchor",
            "protocol.steps[0].mode",
            "protocol.steps[0].offset",
            "protocol.steps[1].id",
            "protocol.steps[1].repeat",
            "protocol.steps[1].to",
        ]
    );
}
