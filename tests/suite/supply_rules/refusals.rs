//! Wrong input is refused, all of it at once, with the field and what to do.

use roundel::supplies::rules::decide;
use serde_json::{Value, json};

use super::{line, with};

fn good() -> Value {
    json!({"period_days": 28, "stoma": {"kind": "ileostomy"}, "sets": ["us-coverage"],
           "lines": [line("one-piece-drainable", 1, 3)]})
}

/// The fields complained of, sorted.
fn refused(input: &Value) -> Vec<String> {
    let errors = decide(input).expect_err(&format!("must be refused: {input}"));
    let mut fields: Vec<String> = errors.errors.iter().map(|error| error.field.clone()).collect();
    assert!(errors.errors.iter().all(|error| !error.message.is_empty()));
    fields.sort();
    fields
}

fn with_line(more: Value) -> Value {
    let mut input = good();
    input["lines"] = json!([with(line("one-piece-drainable", 1, 3), more)]);
    input
}

fn changed(path: &str, value: Value) -> Value {
    let mut input = good();
    *input.pointer_mut(path).expect("the place to change") = value;
    input
}

#[test]
fn the_good_request_is_accepted() {
    assert!(decide(&good()).is_ok());
    // Sets and stock may be left out; null counts as absent.
    assert!(
        decide(&json!({"period_days": 366, "stoma": {"kind": "urostomy"}, "patient": null,
        "lines": [{"item": "night-bag", "pack": 1, "use": {"units": 1, "every_days": 7}, "on_hand": null}]}))
        .is_ok()
    );
}

#[test]
fn numbers_out_of_bounds() {
    for bad in [json!(0), json!(-1), json!(367), json!(28.5), json!("28"), json!(1e300)] {
        assert_eq!(refused(&changed("/period_days", bad.clone())), ["period_days"], "{bad}");
    }
    for bad in [json!(0), json!(-10), json!(2.5), json!("10"), json!(1_000_001)] {
        assert_eq!(refused(&changed("/lines/0/pack", bad.clone())), ["lines[0].pack"], "{bad}");
    }
    for bad in [json!(0), json!(-1), json!(2.5), json!(10_001), json!("1")] {
        assert_eq!(refused(&changed("/lines/0/use/units", bad.clone())), ["lines[0].use.units"], "{bad}");
    }
    for bad in [json!(0), json!(-3), json!(0.5), json!(3_651)] {
        assert_eq!(refused(&changed("/lines/0/use/every_days", bad.clone())), ["lines[0].use.every_days"], "{bad}");
    }
    for bad in [json!(-1), json!(1.5), json!(1_000_001)] {
        assert_eq!(refused(&with_line(json!({"on_hand": bad}))), ["lines[0].on_hand"]);
    }
    for (field, bad) in [("coupling_mm", 0), ("aperture_mm", 201), ("content_g", 0), ("content_ml", 5_001)] {
        assert_eq!(refused(&with_line(json!({field: bad}))), [format!("lines[0].{field}")]);
    }
}

#[test]
fn unknown_words_and_fields() {
    assert_eq!(refused(&changed("/lines/0/item", json!("pouch"))), ["lines[0].item"]);
    assert_eq!(refused(&changed("/stoma/kind", json!("fistula"))), ["stoma.kind"]);
    assert_eq!(refused(&changed("/sets/0", json!("wales"))), ["sets[0]"]);
    assert_eq!(refused(&changed("/sets", json!(["doncaster", "doncaster"]))), ["sets[1]"]);
    assert_eq!(refused(&changed("/sets", json!("doncaster"))), ["sets"]);
    assert_eq!(refused(&with_line(json!({"size": 30}))), ["lines[0].size"]);
    assert_eq!(refused(&with_line(json!({"convexity": "round"}))), ["lines[0].convexity"]);
    assert_eq!(refused(&with_line(json!({"latex": "no"}))), ["lines[0].latex"]);
    let mut input = good();
    input["note"] = json!("x");
    input["stoma"]["colour"] = json!("pink");
    input["patient"] = json!({"name": "x", "avoids": ["wheat"], "allergies": [""]});
    input["lines"][0]["use"]["per"] = json!("day");
    assert_eq!(
        refused(&input),
        ["lines[0].use.per", "note", "patient.allergies[0]", "patient.avoids[0]", "patient.name", "stoma.colour"]
    );
}

#[test]
fn what_is_missing_is_named() {
    assert_eq!(refused(&json!({})), ["lines", "period_days", "stoma"]);
    assert_eq!(
        refused(&json!({"period_days": 28, "stoma": {}, "lines": [{}]})),
        ["lines[0].item", "lines[0].pack", "lines[0].use", "stoma.kind"]
    );
    assert_eq!(refused(&changed("/lines", json!([]))), ["lines"]);
    assert_eq!(refused(&changed("/lines/0/use", json!({}))), ["lines[0].use.every_days", "lines[0].use.units"]);
    assert_eq!(refused(&changed("/lines", json!({}))), ["lines"]);
    assert_eq!(refused(&changed("/lines/0", json!(7))), ["lines[0]"]);
    assert_eq!(refused(&json!([])), [""]);
    let many: Vec<Value> = (0..101).map(|_| line("flange", 1, 3)).collect();
    assert_eq!(refused(&changed("/lines", json!(many))), ["lines"]);
}

#[test]
fn every_mistake_is_reported_at_once() {
    let input = json!({"period_days": 0, "stoma": {"kind": "x"}, "sets": ["y"], "lines": [
        {"item": "z", "pack": 0, "use": {"units": 0, "every_days": 0}, "on_hand": -1},
        {"item": "flange", "pack": 5, "use": {"units": -2, "every_days": 3}}]});
    assert_eq!(
        refused(&input),
        [
            "lines[0].item",
            "lines[0].on_hand",
            "lines[0].pack",
            "lines[0].use.every_days",
            "lines[0].use.units",
            "lines[1].use.units",
            "period_days",
            "sets[0]",
            "stoma.kind"
        ]
    );
}

#[test]
fn codes_are_checked_against_the_table() {
    assert_eq!(refused(&with_line(json!({"hcpcs": "A9999"}))), ["lines[0].hcpcs"]);
    assert_eq!(refused(&with_line(json!({"hcpcs": "a5051"}))), ["lines[0].hcpcs"], "no silent repair");
    assert_eq!(refused(&with_line(json!({"hcpcs": "A4405", "content_ml": 60}))), ["lines[0].content_ml"]);
    assert_eq!(refused(&with_line(json!({"hcpcs": "A4455", "content_g": 50}))), ["lines[0].content_g"]);
    assert_eq!(refused(&with_line(json!({"hcpcs": "A4436", "content_g": 50}))), ["lines[0].hcpcs"]);
}

#[test]
fn a_urostomy_is_not_added_to_a_urostomy() {
    let mut input = good();
    input["stoma"] = json!({"kind": "urostomy", "with_urostomy": true});
    assert_eq!(refused(&input), ["stoma.with_urostomy"]);
}

#[test]
fn the_message_says_what_to_write_instead() {
    let message = |input: &Value| decide(input).expect_err("refused").errors[0].message.clone();
    assert!(message(&changed("/lines/0/use/units", json!(2.5))).contains("units 5, every_days 2"));
    assert!(message(&changed("/period_days", json!(400))).contains("from 1 to 366"));
    assert!(message(&changed("/sets/0", json!("usa"))).contains("us-coverage"));
}

/// What is odd but possible is a finding, never a refusal of the input.
#[test]
fn an_odd_order_is_decided_with_findings() {
    let odd = json!({"period_days": 200, "stoma": {"kind": "urostomy", "width_mm": 70}, "sets": [], "lines": [
        line("two-piece-closed-pouch", 1, 1), with(line("one-piece-urostomy", 1, 1), json!({"aperture_mm": 20}))]});
    let answer = decide(&odd).expect("decided");
    assert!(answer["findings"].as_array().is_some_and(|found| found.len() >= 4), "{answer}");
}
