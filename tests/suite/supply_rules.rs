//! Supplies, the rules: against published tables, a second reckoning in another language, and laws that always hold.
//!
//! Tables stand here as literals beside their source; they are not taken from the engine's data files.

#![allow(clippy::expect_used, clippy::panic, reason = "helpers of tests fail by panicking")]

mod amounts;
mod cases;
mod coverage;
mod data;
mod fit;
mod outside;
mod refusals;
mod sets;

use roundel::supplies::rules::{SupplyPlan, decide, decide_supply, read_request};
use serde_json::{Value, json};

/// A request with these lines and sets, 28 days.
fn request(kind: &str, sets: &[&str], lines: Value) -> Value {
    json!({"period_days": 28, "stoma": {"kind": kind}, "sets": sets, "lines": lines})
}

/// One line used `units` every `days`, in packs of 10.
fn line(item: &str, units: u32, days: u32) -> Value {
    json!({"item": item, "pack": 10, "use": {"units": units, "every_days": days}})
}

/// `line` with more fields.
fn with(line: Value, more: Value) -> Value {
    let (Value::Object(mut line), Value::Object(more)) = (line, more) else { panic!("both must be objects") };
    line.extend(more);
    Value::Object(line)
}

/// The typed decision.
fn plan(request: &Value) -> SupplyPlan {
    decide_supply(&read_request(request).unwrap_or_else(|errors| panic!("{errors:?} in {request}")))
}

/// The JSON decision.
fn decided(request: &Value) -> Value {
    decide(request).unwrap_or_else(|errors| panic!("{errors:?} in {request}"))
}

/// The first verdict on a single line.
fn verdict(kind: &str, set: &str, line: Value) -> Value {
    decided(&request(kind, &[set], json!([line])))["lines"][0]["verdicts"][0].clone()
}

/// Its code.
fn band(kind: &str, set: &str, line: Value) -> String {
    verdict(kind, set, line)["verdict"].as_str().expect("a verdict").to_owned()
}

/// The example of the contract.
#[test]
fn the_contract_example_holds() {
    let answer = decided(&json!({"period_days":28,"stoma":{"kind":"ileostomy"},"sets":["scotland-2015","us-coverage"],
        "lines":[{"item":"one-piece-drainable","pack":10,"use":{"units":1,"every_days":3},"on_hand":0}]}));
    let line = &answer["lines"][0];
    for (field, value) in [("units", 10), ("packs", 1), ("supplied", 10), ("surplus", 0), ("days_supply", 30)] {
        assert_eq!(line[field], value, "{field}");
    }
    assert_eq!(line["item"], "one-piece-drainable");
    let us = &line["verdicts"][1];
    assert_eq!(us["set"], "us-coverage");
    assert_eq!(us["verdict"], "in-range");
    assert_eq!(us["low"], Value::Null);
    assert_eq!(us["high"], 20);
    assert_eq!(us["period"], "month");
    assert_eq!(us["standing"], "read");
    assert!(us["source"].as_str().is_some_and(|source| source.contains("L33828")));
    let scotland = &line["verdicts"][0];
    assert_eq!((&scotland["set"], &scotland["verdict"]), (&json!("scotland-2015"), &json!("in-range")));
    assert_eq!(
        (&scotland["high"], &scotland["period"], &scotland["period_days"]),
        (&json!(208), &json!("year"), &json!(364))
    );
    assert_eq!(answer["findings"], json!([]));
}

#[test]
fn sets_are_answered_in_the_order_asked_for() {
    let sets = ["doncaster", "scotland-2015", "england-template", "us-coverage", "australia-scheme"];
    let answer = decided(&request("colostomy", &sets, json!([line("one-piece-closed", 2, 1)])));
    let named: Vec<_> =
        answer["lines"][0]["verdicts"].as_array().expect("verdicts").iter().map(|v| &v["set"]).collect();
    assert_eq!(named, sets);
}
