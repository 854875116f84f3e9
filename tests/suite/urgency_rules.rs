//! Urgency: which signal leads to which band, by whose limit, and by when.
//!
//! Limits and triggers come from published pages and papers, named in each row as the words that the reason's source
//! must hold; the bands are local proposals (no bands for a nurse's list are published in the UK), so a row whose band
//! alone is at stake says local.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "helpers of tests stop at once")]

mod set;

use std::collections::BTreeSet;

use chrono::NaiveDate;
use roundel::urgency::rules::*;
use serde_json::{Value, json};

/// Wednesday; no bank holiday within three weeks before 25 December.
const TODAY: &str = "2026-11-25";

fn ask(kind: &str, signals: Value) -> Value {
    let input = json!({ "today": TODAY, "nation": "england", "stoma": { "kind": kind }, "signals": signals });
    decide(&input).unwrap_or_else(|errors| panic!("{errors:?}: {input}"))
}

fn refused(input: &Value) -> Vec<String> {
    decide(input).expect_err("must be refused").errors.into_iter().map(|error| error.field).collect()
}

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

const ILEO: &str = "ileostomy";
const COLO: &str = "colostomy";
const URO: &str = "urostomy";

/// Kind, signals, the signal that is looked at, its band, words that its source must hold.
type Row = (&'static str, Value, &'static str, &'static str, &'static str);

fn rows() -> Vec<Row> {
    vec![
        // Colour. SA Health, Clinical Prioritisation Criteria, Stoma complications, adult: blue or black = emergency.
        (ILEO, json!({ "stoma_colour": "black" }), "stoma_colour", "same-day", "SA Health"),
        (COLO, json!({ "stoma_colour": "dusky" }), "stoma_colour", "same-day", "SA Health"),
        (COLO, json!({ "stoma_colour": "pale" }), "stoma_colour", "one-working-day", "no publication read"),
        // Berry 2019, Jordan and Burns 2013: a urinary stoma may be paler.
        (URO, json!({ "stoma_colour": "pale" }), "stoma_colour", "ten-working-days", "Berry"),
        // Output: Baker 2011 above 2,000; Arenas 2015 from 1,500; Gateshead above 1,000; Leicester B12/2005 above 1,200.
        (ILEO, json!({ "output_ml_24h": 2000 }), "output_ml_24h", "same-day", "Baker"),
        (ILEO, json!({ "output_ml_24h": 1999 }), "output_ml_24h", "one-working-day", "Arenas"),
        (ILEO, json!({ "output_ml_24h": 1500 }), "output_ml_24h", "one-working-day", "Arenas"),
        (ILEO, json!({ "output_ml_24h": 1499 }), "output_ml_24h", "five-working-days", "Gateshead"),
        (
            COLO,
            json!({ "output_ml_24h": 1201, "days_since_discharge": 21 }),
            "output_ml_24h",
            "five-working-days",
            "Gateshead",
        ),
        (COLO, json!({ "output_ml_24h": 1001 }), "output_ml_24h", "five-working-days", "Gateshead"),
        (
            ILEO,
            json!({ "output_ml_24h": 1201, "days_since_discharge": 21 }),
            "output_ml_24h",
            "one-working-day",
            "Leicester",
        ),
        (
            ILEO,
            json!({ "output_ml_24h": 1200, "days_since_discharge": 21 }),
            "output_ml_24h",
            "five-working-days",
            "Gateshead",
        ),
        (
            ILEO,
            json!({ "output_ml_24h": 1201, "days_since_discharge": 22 }),
            "output_ml_24h",
            "five-working-days",
            "Gateshead",
        ),
        (ILEO, json!({ "output_ml_24h": 1100, "dehydration_signs": true }), "output_ml_24h", "same-day", "SA Health"),
        (COLO, json!({ "output_ml_24h": 1001, "dehydration_signs": true }), "output_ml_24h", "same-day", "SA Health"),
        (URO, json!({ "output_ml_24h": 399 }), "output_ml_24h", "same-day", "no publication read"),
        (URO, json!({ "output_ml_24h": 400 }), "output_ml_24h", "one-working-day", "guideline"),
        (URO, json!({ "output_ml_24h": 799 }), "output_ml_24h", "one-working-day", "guideline"),
        // No output: Ostomy Association of Los Angeles 2009, 4–6 h with cramps and nausea; US nurses' page 8 h, 6 h, 2 d.
        (ILEO, json!({ "no_output_hours": 4, "vomiting": true }), "no_output_hours", "same-day", "Los Angeles"),
        (ILEO, json!({ "no_output_hours": 4, "abdominal_pain": 4 }), "no_output_hours", "same-day", "Los Angeles"),
        (COLO, json!({ "no_output_hours": 6, "vomiting": true }), "no_output_hours", "same-day", "Los Angeles"),
        (COLO, json!({ "no_output_hours": 6, "abdominal_pain": 4 }), "no_output_hours", "same-day", "Los Angeles"),
        (ILEO, json!({ "no_output_hours": 8 }), "no_output_hours", "same-day", "8 hours"),
        (URO, json!({ "no_output_hours": 6 }), "no_output_hours", "same-day", "6 hours"),
        (COLO, json!({ "no_output_hours": 48 }), "no_output_hours", "one-working-day", "2 days"),
        (ILEO, json!({ "vomiting": true }), "vomiting", "one-working-day", "US patient page"),
        // Pain: severe uncontrolled pain = emergency (SA Health); 4–6 moderate, 7–10 severe (Boonstra 2016).
        (COLO, json!({ "abdominal_pain": 7 }), "abdominal_pain", "same-day", "SA Health"),
        (COLO, json!({ "abdominal_pain": 6 }), "abdominal_pain", "one-working-day", "Boonstra"),
        (URO, json!({ "abdominal_pain": 4 }), "abdominal_pain", "one-working-day", "Boonstra"),
        (URO, json!({ "skin_pain": 7 }), "skin_pain", "one-working-day", "Boonstra"),
        (URO, json!({ "skin_pain": 6 }), "skin_pain", "five-working-days", "Boonstra"),
        (URO, json!({ "skin_pain": 4 }), "skin_pain", "five-working-days", "Boonstra"),
        // Bleeding, infection, structure: SA Health emergencies; the split of bleeding is local.
        (COLO, json!({ "bleeding": "does-not-stop" }), "bleeding", "same-day", "SA Health"),
        (COLO, json!({ "bleeding": "stops-with-pressure" }), "bleeding", "one-working-day", "SA Health"),
        (COLO, json!({ "bleeding": "spotting" }), "bleeding", "ten-working-days", "Jordan and Burns"),
        (COLO, json!({ "fever": true }), "fever", "same-day", "38 °C"),
        (COLO, json!({ "spreading_redness": true }), "spreading_redness", "same-day", "SA Health"),
        (COLO, json!({ "separation": "full" }), "separation", "same-day", "surgeon"),
        (COLO, json!({ "separation": "partial" }), "separation", "one-working-day", "fill and cover"),
        (COLO, json!({ "separation": "deep" }), "separation", "same-day", "surgeon"),
        (
            COLO,
            json!({ "hernia": true, "vomiting": true, "abdominal_pain": 2 }),
            "hernia",
            "same-day",
            "red-flag lists",
        ),
        (COLO, json!({ "prolapse": "irreducible" }), "prolapse", "same-day", "SA Health"),
        (COLO, json!({ "prolapse": "reducible" }), "prolapse", "five-working-days", "Local"),
        (ILEO, json!({ "rapid_painful_ulcer": true }), "rapid_painful_ulcer", "same-day", "Northern Care Alliance"),
        (ILEO, json!({ "dehydration_signs": true }), "dehydration_signs", "same-day", "Gateshead"),
        // Skin: band limits recalled (severe from 7, moderate from 4); a rise of 3 is local.
        (COLO, json!({ "score": 7 }), "score", "five-working-days", "Martins"),
        (COLO, json!({ "score": 6 }), "score", "ten-working-days", "Martins"),
        (COLO, json!({ "score": 4 }), "score", "ten-working-days", "Martins"),
        (COLO, json!({ "score": 3, "previous_score": 0 }), "previous_score", "five-working-days", "Jemec"),
        // Leaks: 4 of 10 (WCET J 2020); first week of an ileostomy within 24 h (WOCN 2016); any leak (Bristol ICB).
        (COLO, json!({ "leaks_of_last_10": 4 }), "leaks_of_last_10", "five-working-days", "WCET J 2020"),
        (COLO, json!({ "leaks_of_last_10": 3 }), "leaks_of_last_10", "ten-working-days", "Bristol"),
        (COLO, json!({ "leaks_of_last_10": 8 }), "leaks_of_last_10", "one-working-day", "Local"),
        (COLO, json!({ "leaks_of_last_10": 7 }), "leaks_of_last_10", "five-working-days", "WCET J 2020"),
        (
            URO,
            json!({ "leaks_of_last_10": 1, "days_since_discharge": 8 }),
            "leaks_of_last_10",
            "ten-working-days",
            "Bristol",
        ),
        (
            ILEO,
            json!({ "leaks_of_last_10": 1, "days_since_discharge": 7 }),
            "leaks_of_last_10",
            "one-working-day",
            "9939",
        ),
        (
            ILEO,
            json!({ "leaks_of_last_10": 1, "days_since_discharge": 8 }),
            "leaks_of_last_10",
            "ten-working-days",
            "Bristol",
        ),
        (
            URO,
            json!({ "leaks_of_last_10": 1, "days_since_discharge": 7 }),
            "leaks_of_last_10",
            "five-working-days",
            "Local",
        ),
        (URO, json!({ "pouch_off_per_day": 3.5 }), "pouch_off_per_day", "one-working-day", "recalled"),
        (URO, json!({ "pouch_off_per_day": 3 }), "pouch_off_per_day", "five-working-days", "Local"),
        (URO, json!({ "pouch_off_per_day": 1 }), "pouch_off_per_day", "five-working-days", "Local"),
        // Reviews, first contact (WOCN 2016 and 2019; Justiniano 2018; Leeds; Dartford), supplies (Scotland 2015), coping.
        (COLO, json!({ "overdue_days": 28 }), "overdue_days", "five-working-days", "Local"),
        (COLO, json!({ "overdue_days": 27 }), "overdue_days", "ten-working-days", "Local"),
        (COLO, json!({ "overdue_days": 1 }), "overdue_days", "ten-working-days", "Local"),
        (COLO, json!({ "missed_in_a_row": 3 }), "missed_in_a_row", "one-working-day", "Public Health Wales"),
        (COLO, json!({ "missed_in_a_row": 2 }), "missed_in_a_row", "five-working-days", "RCGP"),
        (COLO, json!({ "missed_in_a_row": 1 }), "missed_in_a_row", "ten-working-days", "RCGP"),
        (
            ILEO,
            json!({ "first_contact_made": false, "days_since_discharge": 3 }),
            "first_contact_made",
            "one-working-day",
            "11881",
        ),
        (
            ILEO,
            json!({ "first_contact_made": false, "days_since_discharge": 8 }),
            "first_contact_made",
            "same-day",
            "Justiniano",
        ),
        (
            COLO,
            json!({ "first_contact_made": false, "days_since_discharge": 6 }),
            "first_contact_made",
            "five-working-days",
            "Leeds",
        ),
        (
            URO,
            json!({ "first_contact_made": false, "days_since_discharge": 14 }),
            "first_contact_made",
            "one-working-day",
            "Dartford",
        ),
        (COLO, json!({ "supply_ratio": 1.251 }), "supply_ratio", "ten-working-days", "Scottish Government"),
        (COLO, json!({ "supply_ratio": 0.49 }), "supply_ratio", "ten-working-days", "Practice knowledge"),
        (COLO, json!({ "not_coping": true }), "not_coping", "five-working-days", "Bristol"),
        (COLO, json!({ "not_coping": true, "days_since_discharge": 28 }), "not_coping", "one-working-day", "RNAO"),
    ]
}

#[test]
fn each_limit_leads_to_its_band_with_its_source() {
    for (kind, signals, signal, band, source) in rows() {
        let answer = ask(kind, signals.clone());
        let reasons = answer["reasons"].as_array().unwrap();
        let reason = reasons
            .iter()
            .find(|reason| reason["signal"] == signal)
            .unwrap_or_else(|| panic!("{signal} does not count in {kind} {signals}"));
        assert_eq!(reason["band"], band, "{kind} {signals}");
        assert!(reason["source"].as_str().unwrap().contains(source), "{kind} {signals}: {reason}");
        let text = reason["text"].as_str().unwrap();
        assert!(!text.contains('{') && text.ends_with('.'), "{text}");
    }
}

#[test]
fn every_threshold_shipped_is_reached_by_a_row() {
    let reached: BTreeSet<String> = rows()
        .into_iter()
        .flat_map(|(kind, signals, ..)| ask(kind, signals)["reasons"].as_array().unwrap().clone())
        .map(|reason| reason["threshold"].as_str().unwrap().to_owned())
        .collect();
    let shipped: BTreeSet<String> = shipped().unwrap().rules.iter().map(|rule| rule.id.clone()).collect();
    assert_eq!(shipped.difference(&reached).collect::<Vec<_>>(), Vec::<&String>::new());
}

/// The usual list of red flags around a stoma, as the trade teaches it: each must interrupt an assessment.
#[test]
fn the_red_flags_of_the_trade_interrupt() {
    let flagged = |kind, signals: Value| {
        ask(kind, signals)["reasons"].as_array().unwrap().iter().any(|reason| reason["red_flag"] == true)
    };
    for (kind, signals) in [
        (COLO, json!({ "stoma_colour": "black" })),
        (COLO, json!({ "stoma_colour": "dusky" })),
        (COLO, json!({ "bleeding": "does-not-stop" })),
        (ILEO, json!({ "no_output_hours": 5, "vomiting": true })),
        (ILEO, json!({ "no_output_hours": 5, "abdominal_pain": 5 })),
        (ILEO, json!({ "output_ml_24h": 2100 })),
        (ILEO, json!({ "dehydration_signs": true })),
        (ILEO, json!({ "rapid_painful_ulcer": true })),
        (COLO, json!({ "spreading_redness": true })),
        (COLO, json!({ "fever": true })),
        (COLO, json!({ "separation": "full" })),
        (COLO, json!({ "separation": "deep" })),
        (COLO, json!({ "prolapse": "irreducible" })),
        (COLO, json!({ "hernia": true, "vomiting": true, "abdominal_pain": 3 })),
        (ILEO, json!({ "pouch_off_per_day": 4 })),
    ] {
        assert!(flagged(kind, signals.clone()), "{kind} {signals}");
    }
    // What is usual, and what can wait for a planned call, does not interrupt.
    for (kind, signals) in [
        (COLO, json!({ "hernia": true })),
        (COLO, json!({ "hernia": true, "vomiting": true })),
        (ILEO, json!({ "pouch_off_per_day": 3 })),
        (COLO, json!({ "separation": "partial" })),
        (COLO, json!({ "prolapse": "reducible" })),
        (COLO, json!({ "score": 9, "skin_pain": 8, "leaks_of_last_10": 6 })),
    ] {
        assert!(!flagged(kind, signals.clone()), "{kind} {signals}");
    }
}

#[test]
fn usual_answers_give_no_reason() {
    // At the limits' other side: published limits are "above" where the source says above.
    for (kind, signals) in [
        (ILEO, json!({})),
        (ILEO, json!({ "stoma_colour": "pink", "bleeding": "none", "separation": "none", "prolapse": "none" })),
        (COLO, json!({ "stoma_colour": "red", "fever": false, "vomiting": false, "spreading_redness": false })),
        (COLO, json!({ "dehydration_signs": false, "rapid_painful_ulcer": false, "not_coping": false })),
        (ILEO, json!({ "output_ml_24h": 1000, "dehydration_signs": false, "no_output_hours": 7.9 })),
        (ILEO, json!({ "no_output_hours": 3.9, "abdominal_pain": 3 })),
        (COLO, json!({ "no_output_hours": 47 })),
        (URO, json!({ "output_ml_24h": 2500, "no_output_hours": 5 })),
        (URO, json!({ "output_ml_24h": 800 })),
        (ILEO, json!({ "output_ml_24h": 300 })),
        (COLO, json!({ "score": 3, "previous_score": 1, "skin_pain": 3, "leaks_of_last_10": 0 })),
        (COLO, json!({ "score": 2, "previous_score": 9 })),
        (COLO, json!({ "previous_score": 9 })),
        (COLO, json!({ "pouch_off_per_day": 0, "overdue_days": 0, "missed_in_a_row": 0 })),
        // Scottish Government 2015: more than 25 % above; exactly 1.25 does not alert. Half is not less than half.
        (COLO, json!({ "supply_ratio": 1.25 })),
        (COLO, json!({ "supply_ratio": 0.5 })),
        (ILEO, json!({ "first_contact_made": false, "days_since_discharge": 2 })),
        (ILEO, json!({ "first_contact_made": true, "days_since_discharge": 9 })),
        (ILEO, json!({ "first_contact_made": false })),
        (COLO, json!({ "first_contact_made": false, "days_since_discharge": 5 })),
    ] {
        let answer = ask(kind, signals.clone());
        assert_eq!(answer["reasons"], json!([]), "{kind} {signals}");
        assert_eq!((&answer["band"], &answer["respond_by"]), (&json!("as-planned"), &Value::Null), "{signals}");
        assert_eq!(answer["advice"], json!([]));
    }
}

#[test]
fn just_short_of_a_limit_the_signal_itself_does_not_count() {
    // The other side of the limits above, where another signal of the same row counts all the same.
    for (kind, signals, signal) in [
        (ILEO, json!({ "output_ml_24h": 1000, "dehydration_signs": true }), "output_ml_24h"),
        (URO, json!({ "output_ml_24h": 2500, "dehydration_signs": true }), "output_ml_24h"),
        (ILEO, json!({ "no_output_hours": 3.9, "vomiting": true }), "no_output_hours"),
        (ILEO, json!({ "no_output_hours": 3.9, "abdominal_pain": 4 }), "no_output_hours"),
        (ILEO, json!({ "no_output_hours": 4, "abdominal_pain": 3 }), "no_output_hours"),
        (COLO, json!({ "no_output_hours": 5.9, "vomiting": true }), "no_output_hours"),
        (COLO, json!({ "no_output_hours": 5.9, "abdominal_pain": 4 }), "no_output_hours"),
        (COLO, json!({ "no_output_hours": 6, "abdominal_pain": 3 }), "no_output_hours"),
        (ILEO, json!({ "leaks_of_last_10": 0, "days_since_discharge": 7 }), "leaks_of_last_10"),
        (URO, json!({ "leaks_of_last_10": 0, "days_since_discharge": 7 }), "leaks_of_last_10"),
        (URO, json!({ "pouch_off_per_day": 0.9 }), "pouch_off_per_day"),
    ] {
        let answer = ask(kind, signals.clone());
        let reasons = answer["reasons"].as_array().unwrap();
        assert!(reasons.iter().all(|reason| reason["signal"] != signal), "{kind} {signals}");
    }
}

#[test]
fn the_contract_example_is_decided() {
    let answer = decide(&json!({
        "today": TODAY, "nation": "england", "stoma": { "kind": "ileostomy" },
        "signals": {
            "stoma_colour": "dusky", "output_ml_24h": 2100, "leaks_of_last_10": 5, "score": 8, "previous_score": 3,
            "overdue_days": 12,
        },
        "review": { "planned": "2026-11-20", "latest": "2026-11-24" },
    }))
    .unwrap();
    assert_eq!((&answer["band"], &answer["respond_by"]), (&json!("same-day"), &json!("2026-11-25")));
    let of = |name: &str| -> Vec<Value> {
        answer["reasons"].as_array().unwrap().iter().map(|reason| reason[name].clone()).collect()
    };
    // Most urgent first, then in the contract's order of signals.
    assert_eq!(
        of("signal"),
        ["stoma_colour", "output_ml_24h", "score", "previous_score", "leaks_of_last_10", "overdue_days"]
    );
    assert_eq!(
        of("band"),
        ["same-day", "same-day", "five-working-days", "five-working-days", "five-working-days", "ten-working-days"]
    );
    assert_eq!(of("standing")[..3], ["read", "read", "from-memory"]);
    assert_eq!(of("text")[1], "Output was 2100 mL in 24 hours: 2,000 mL or more.");
    assert_eq!(of("text")[3], "The skin score has risen by 5 points since last time.");
    let advice = answer["advice"].as_array().unwrap();
    assert_eq!(advice.len(), 2);
    assert!(advice.iter().all(|said| said.as_str().unwrap().ends_with("follow your local escalation policy")));
    assert_eq!(answer["bands"]["standing"], "local");
    assert_eq!(answer["notes"], json!([]));
}

#[test]
fn the_date_counts_working_days_of_the_nation() {
    // Holidays: GOV.UK bank holidays, checked against the PyPI package holidays 0.109 (2019–2028).
    for (today, nation, signals, expected) in [
        // Maundy Thursday 2026: Good Friday and, not in Scotland, Easter Monday follow.
        ("2026-04-02", "england", json!({ "vomiting": true }), "2026-04-07"),
        ("2026-04-02", "scotland", json!({ "vomiting": true }), "2026-04-06"),
        // 12 June 2026 is a Friday; Monday 15 June is Scotland's one-off holiday.
        ("2026-06-12", "northern-ireland", json!({ "vomiting": true }), "2026-06-15"),
        ("2026-06-12", "scotland", json!({ "vomiting": true }), "2026-06-16"),
        ("2026-11-25", "wales", json!({ "score": 9 }), "2026-12-02"),
        ("2026-11-25", "scotland", json!({ "score": 9 }), "2026-12-03"),
        // 23, 24, 29, 30, 31 December and 4–8 January: Christmas Day, its neighbour's substitute and New Year fall out.
        ("2026-12-22", "england", json!({ "score": 5 }), "2027-01-08"),
        // Christmas Day, a Friday: the same day is still today.
        ("2026-12-25", "england", json!({ "fever": true }), "2026-12-25"),
        ("2026-12-25", "england", json!({ "vomiting": true }), "2026-12-29"),
    ] {
        let input = json!({ "today": today, "nation": nation, "stoma": { "kind": "ileostomy" }, "signals": signals });
        assert_eq!(decide(&input).unwrap()["respond_by"], expected, "{input}");
    }
    let closed = json!({
        "today": "2026-12-25", "nation": "england", "closures": ["2026-12-29", "2026-12-30"],
        "stoma": { "kind": "ileostomy" }, "signals": { "vomiting": true },
    });
    assert_eq!(decide(&closed).unwrap()["respond_by"], "2026-12-31");
    // Past the last year that is known the answer says so.
    let late = json!({
        "today": "2060-03-01", "nation": "england", "stoma": { "kind": "ileostomy" }, "signals": { "vomiting": true },
    });
    assert!(decide(&late).unwrap()["notes"][0].as_str().unwrap().contains("not known"));
}

#[test]
fn as_planned_answers_with_the_review() {
    for (review, expected) in [
        (json!({ "planned": "2026-12-01", "latest": "2026-12-05" }), json!("2026-12-01")),
        (json!({ "latest": "2026-12-05" }), json!("2026-12-05")),
        (Value::Null, Value::Null),
    ] {
        let input = json!({
            "today": TODAY, "nation": "england", "stoma": { "kind": "colostomy" }, "signals": {}, "review": review,
        });
        let answer = decide(&input).unwrap();
        assert_eq!((&answer["band"], &answer["respond_by"]), (&json!("as-planned"), &expected), "{input}");
    }
}

#[test]
fn every_mistake_is_reported() {
    assert_eq!(refused(&json!({})), ["today", "nation", "stoma", "signals"]);
    let input = json!({
        "today": "25/11/2026", "nation": "uk", "closures": ["2026-13-01"], "stoma": { "kind": "bag", "size": 3 },
        "signals": {
            "stoma_colour": "blue", "output_ml_24h": -1, "abdominal_pain": 11, "vomiting": "yes", "score": 16,
            "leaks_of_last_10": 4.5, "supply_ratio": "1.3", "itch": 3,
        },
        "review": {}, "patient": "x",
    });
    let fields = refused(&input);
    assert_eq!(
        fields,
        [
            "today",
            "nation",
            "closures[0]",
            "stoma.kind",
            "stoma.size",
            "signals.stoma_colour",
            "signals.output_ml_24h",
            "signals.vomiting",
            "signals.abdominal_pain",
            "signals.score",
            "signals.leaks_of_last_10",
            "signals.supply_ratio",
            "signals.itch",
            "review.planned",
            "patient",
        ]
    );
    assert_eq!(refused(&json!("none")), [""]);
}
