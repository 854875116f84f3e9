//! The engine against python-dateutil and the package `holidays`, by way of `tests/outside/follow_up_oracle.py`.
//!
//! `ROUNDEL_TEST_PYTHON` names an interpreter that has both packages; `ROUNDEL_TEST_FOLLOW_UP_CASES` may name a file of
//! cases made before. Without either the tests fail: a check that is skipped proves nothing.

use std::collections::BTreeSet;
use std::process::Command;

use roundel::follow_up::rules::bank_holidays::bank_holidays;
use roundel::follow_up::rules::*;
use serde_json::{Value, json};

const SCRIPT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/outside/follow_up_oracle.py");

fn oracle(command: &str) -> String {
    let python = std::env::var("ROUNDEL_TEST_PYTHON").unwrap_or_else(|_| {
        panic!(
            "ROUNDEL_TEST_PYTHON is not set: start the tests with tests/run, which prepares an interpreter with \
             python-dateutil and holidays"
        )
    });
    let output = Command::new(&python).args([SCRIPT, command]).output().unwrap_or_else(|e| panic!("{python}: {e}"));
    assert!(output.status.success(), "{python} failed: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).expect("UTF-8")
}

/// The answer in the rows that the oracle writes.
fn rows(answer: &Value) -> Value {
    let list = |name: &str, fields: &[&str]| -> Vec<Value> {
        let items = answer[name].as_array().expect("a list").iter();
        items.map(|item| fields.iter().map(|field| item[field].clone()).collect()).collect()
    };
    let review = ["step", "occurrence", "nominal", "earliest", "latest", "planned", "mode", "outside_window"];
    json!({ "reviews": list("reviews", &review), "waiting": list("waiting", &["step", "for"]) })
}

#[test]
fn follow_up_agrees_with_dateutil_and_holidays() {
    let lines = match std::env::var("ROUNDEL_TEST_FOLLOW_UP_CASES") {
        Ok(file) => std::fs::read_to_string(&file).unwrap_or_else(|e| panic!("{file}: {e}")),
        Err(_) => oracle("cases"),
    };
    let (mut cases, mut reviews, mut outside) = (0, 0, 0);
    for line in lines.lines() {
        let case: Value = serde_json::from_str(line).expect("a case");
        let answer = decide(&case["input"]).unwrap_or_else(|errors| panic!("{errors:?}\n{}", case["input"]));
        let expected = &case["expected"];
        assert_eq!(&rows(&answer), expected, "\n{}", case["input"]);
        let found = answer["reviews"].as_array().expect("a list");
        cases += 1;
        reviews += found.len();
        outside += found.iter().filter(|review| review["outside_window"] == true).count();
    }
    assert_eq!(cases, 10_000);
    // The cases must reach the rare rule too, or agreement means little.
    assert!(reviews > 100_000 && outside > 500, "{reviews} reviews, {outside} outside their window");
}

#[test]
fn bank_holidays_are_those_of_the_package() {
    let ours: BTreeSet<(String, String)> = Nation::ALL
        .iter()
        .flat_map(|(code, nation)| {
            bank_holidays().of(*nation).iter().map(|holiday| ((*code).to_owned(), holiday.on.to_string()))
        })
        .collect();
    let text = |line: &Value, name: &str| line[name].as_str().expect("a text").to_owned();
    let theirs: BTreeSet<(String, String)> = oracle("holidays")
        .lines()
        .map(|line| serde_json::from_str::<Value>(line).expect("a line"))
        .map(|line| (text(&line, "nation"), text(&line, "date")))
        .collect();
    assert!(theirs.len() > 300, "{}", theirs.len());
    assert_eq!(ours, theirs);
}
