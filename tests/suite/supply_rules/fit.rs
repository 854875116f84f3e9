//! Fit and safety findings: each rule has an order that calls it and one beside it that does not.

use std::collections::BTreeSet;

use roundel::supplies::rules::rule_texts;
use serde_json::{Value, json};

use super::cases::{all, convex, flange, one_piece, opening, order, two_piece};
use super::{decided, line, with};

/// Rule, level and lines of each finding.
fn found(order: &Value) -> Vec<(String, String, Vec<u64>)> {
    let answer = decided(order);
    let findings = answer["findings"].as_array().expect("findings");
    let text = |finding: &Value, field: &str| finding[field].as_str().expect("text").to_owned();
    for finding in findings {
        assert!(!text(finding, "text").contains(['{', '}']), "unfilled: {finding}");
        assert!(!text(finding, "source").is_empty() && !text(finding, "standing").is_empty());
    }
    let lines =
        |finding: &Value| finding["lines"].as_array().expect("lines").iter().filter_map(Value::as_u64).collect();
    findings.iter().map(|f| (text(f, "rule"), text(f, "level"), lines(f))).collect()
}

#[test]
fn each_rule_applies_where_it_should_and_nowhere_beside() {
    let cases = all();
    for (rule, level, lines, calls, beside) in &cases {
        let hits: Vec<_> = found(calls).into_iter().filter(|(found, _, _)| found == rule).collect();
        assert_eq!(hits, [((*rule).to_owned(), (*level).to_owned(), lines.to_vec())], "{rule} on {calls}");
        assert!(!found(beside).iter().any(|(found, _, _)| found == rule), "{rule} on {beside}");
    }
    let tried: BTreeSet<&str> = cases.iter().map(|(rule, ..)| *rule).collect();
    let kept: BTreeSet<&str> = rule_texts().iter().map(|text| text.rule.as_str()).collect();
    assert_eq!(tried, kept, "every rule that has a text is tried here");
}

#[test]
fn a_plain_order_has_no_findings() {
    let plain = order(json!({"width_mm": 30, "height_mm": 30, "weeks_since_surgery": 200}), json!({}), &opening(33.0));
    assert_eq!(found(&plain), []);
    let full = json!({"coupling_mm": 50, "coupling": "locking"});
    assert_eq!(found(&order(json!({}), json!({}), &[two_piece(full.clone()), flange(full)])), []);
}

/// 1.5 mm all round of a stoma of 30 by 40 in a round opening of 43 is 6.5 mm on the narrow side.
#[test]
fn a_round_opening_does_not_fit_an_oval_stoma() {
    let oval = |mm: f64| found(&order(json!({"width_mm": 30, "height_mm": 40}), json!({}), &opening(mm)));
    assert_eq!(oval(43.0), [("opening-wide".to_owned(), "warn".to_owned(), vec![0])]);
    let rules: Vec<String> = oval(36.0).into_iter().map(|(rule, ..)| rule).collect();
    assert_eq!(rules, ["opening-smaller"], "36 mm is wide enough across and too small along");
    // One measure is enough to compare with.
    let width_only = found(&order(json!({"width_mm": 30}), json!({}), &opening(29.0)));
    assert_eq!(width_only[0].0, "opening-smaller");
    // Tenths are compared as tenths: 30.1 and 32.1 are 2 mm apart.
    assert_eq!(found(&order(json!({"width_mm": 30.1}), json!({}), &opening(32.1))), []);
}

#[test]
fn a_pouch_needs_one_flange_that_fits_not_all() {
    let part = |mm: u32, coupling: &str| json!({"coupling_mm": mm, "coupling": coupling});
    let lines = [
        two_piece(part(50, "locking")),
        two_piece(part(60, "locking")),
        flange(part(60, "locking")),
        flange(part(50, "locking")),
    ];
    assert_eq!(found(&order(json!({}), json!({}), &lines)), []);
    // The flange of 70 mm fits no pouch; only it is named.
    let lines = [two_piece(part(50, "locking")), flange(part(50, "locking")), flange(part(70, "locking"))];
    assert_eq!(
        found(&order(json!({}), json!({}), &lines)),
        [("coupling-size-mismatch".to_owned(), "refuse".to_owned(), vec![2])]
    );
}

#[test]
fn the_gravest_comes_first() {
    let lines = [convex(), line("flange", 1, 9), line("powder", 1, 30)];
    let mixed = with(order(json!({"findings": ["hernia"]}), json!({}), &lines), json!({"period_days": 60}));
    let levels: Vec<String> = found(&mixed).into_iter().map(|(_, level, _)| level).collect();
    let mut sorted = levels.clone();
    sorted.sort_by_key(|level| ["refuse", "warn", "note"].iter().position(|known| known == level));
    assert_eq!(levels, sorted);
    assert_eq!(BTreeSet::from_iter(levels).len(), 3);
}

/// A note early in the file of texts still comes after a refusal late in it.
#[test]
fn level_goes_before_the_order_of_the_texts() {
    let lines = [two_piece(json!({})), flange(json!({})), line("irrigation-kit", 1, 365)];
    let rules: Vec<String> =
        found(&order(json!({"kind": "ileostomy"}), json!({}), &lines)).into_iter().map(|(rule, ..)| rule).collect();
    assert_eq!(rules, ["irrigation-not-colostomy", "closed-on-ileostomy", "coupling-not-stated"]);
}

#[test]
fn what_is_avoided_is_asked_for_like_an_allergy() {
    let belt = [line("belt", 1, 120)];
    let note = |patient: Value| found(&order(json!({}), patient, &belt));
    assert_eq!(note(json!({"avoids": ["latex"]})), [("latex-not-stated".to_owned(), "note".to_owned(), vec![0])]);
    assert_eq!(note(json!({"avoids": ["bovine"]})), [], "a belt holds no gelatin");
    let powder = [line("powder", 1, 30)];
    let rules: Vec<String> =
        found(&order(json!({"findings": ["broken-skin"]}), json!({"avoids": ["animal-derived"]}), &powder))
            .into_iter()
            .map(|(rule, ..)| rule)
            .collect();
    assert_eq!(rules, ["powder-on-broken-skin", "animal-derived-not-stated"]);
}

/// Findings never change what is ordered.
#[test]
fn findings_leave_the_amounts_alone() {
    let amounts = |order: &Value| decided(order)["lines"][0]["units"].clone();
    let odd = order(json!({"kind": "urostomy", "width_mm": 90}), json!({"allergies": ["latex"]}), &opening(10.0));
    assert_eq!(amounts(&odd), amounts(&order(json!({}), json!({}), &[one_piece()])));
}
