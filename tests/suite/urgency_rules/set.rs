//! The thresholds as data, the schema, and what must hold for any signals.

use std::collections::{BTreeMap, BTreeSet};

use proptest::prelude::*;
use roundel::follow_up::rules::{Nation, StomaKind, WorkingDays};
use roundel::urgency::rules::signals::Answer;
use roundel::urgency::rules::*;
use serde_json::{Map, Value, json};

use super::{COLO, ILEO, TODAY, URO, ask, day};

#[test]
fn the_shipped_thresholds_hold_together() {
    let thresholds = shipped().unwrap();
    assert_eq!(thresholds.bands.standing.code(), "local");
    let mut counted = BTreeMap::new();
    for rule in &thresholds.rules {
        *counted.entry(rule.condition.signal).or_insert(0) += 1;
        assert!(rule.source.source.len() > 10, "{}", rule.id);
        for word in rule.advice.iter().chain([&rule.text]) {
            // No dose and no drug by name; careful words.
            assert!(![" mg", "loperamide", "codeine", "diagnos"].iter().any(|bad| word.contains(bad)), "{word}");
        }
        assert!(!rule.text.contains("policy"), "{}", rule.id);
    }
    // Days since discharge counts with others only.
    let silent: Vec<_> = Signal::ALL.iter().filter(|signal| !counted.contains_key(signal)).collect();
    assert_eq!(silent, [&Signal::DaysSinceDischarge]);
    assert!(thresholds.rules.iter().any(|rule| rule.with.iter().any(|c| c.signal == Signal::DaysSinceDischarge)));
}

#[test]
fn a_wrong_threshold_is_refused_on_loading() {
    let rule = |lines: &str| {
        format!(
            "version = \"x\"\n[bands]\nsource = \"here\"\nstanding = \"local\"\n[[rule]]\nid = \"one\"\n\
             source = \"there\"\nstanding = \"read\"\n{lines}\n"
        )
    };
    let right = "signal = \"score\"\nat_least = 7\nband = \"five-working-days\"\ntext = \"{value}.\"";
    let set = Thresholds::from_toml(&rule(right)).unwrap();
    assert_eq!((set.version.as_str(), set.rules.len()), ("x", 1));
    let advice = "advice = \"Ring; follow your local escalation policy\"";
    for (lines, words) in [
        (right.replace("score", "skore"), "not a signal"),
        (right.replace("at_least = 7", "is = \"seven\""), "at_least"),
        (right.replace("at_least = 7", ""), "at_least"),
        (right.replace("at_least = 7", "minimum = 7"), "unknown field"),
        (right.replace("five-working-days", "soon"), "not a band"),
        (right.replace("five-working-days", "same-day"), "needs advice"),
        (format!("{}\nadvice = \"Ring.\"", right.replace("five-working-days", "same-day")), "must end with"),
        (right.replace("{value}", "{leaks_of_last_10}"), "neither value nor a signal"),
        (right.replace("{value}.", " "), "empty"),
        (format!("{right}\nkinds = [\"jejunostomy\"]"), "not a kind"),
        (right.replace("\"score\"\nat_least = 7", "\"stoma_colour\"\nis = \"blue\""), "pink, red, pale"),
        (right.replace("\"score\"\nat_least = 7", "\"fever\"\nat_least = 38"), "true or false"),
        (format!("{right}\n[[rule]]\nid = \"one\"\nsource = \"x\"\nstanding = \"read\"\n{right}"), "twice"),
    ] {
        let error = Thresholds::from_toml(&rule(&lines)).unwrap_err().to_string();
        assert!(error.contains(words), "{error} for {lines}");
    }
    let same_day = format!("{}\n{advice}", right.replace("five-working-days", "same-day"));
    assert!(Thresholds::from_toml(&rule(&same_day)).is_ok());
    assert!(matches!(Thresholds::from_toml("version = 1"), Err(ThresholdsError::Form(_))));
}

#[test]
fn a_service_decides_by_its_own_thresholds() {
    let own = Thresholds::from_toml(
        "version = \"own\"\n[bands]\nsource = \"us\"\nstanding = \"local\"\n[[rule]]\nid = \"early\"\n\
         signal = \"score\"\nat_least = 2\nband = \"ten-working-days\"\ntext = \"Score {value}.\"\nsource = \"us\"\n\
         standing = \"local\"\n",
    )
    .unwrap();
    let days = WorkingDays::new(Nation::England, &[]);
    let signals = Signals { score: Some(2), output_ml_24h: Some(2500.0), ..Signals::default() };
    let decision = decide_urgency(&own, day(TODAY), &days, StomaKind::Ileostomy, &signals, None);
    assert_eq!((decision.band, decision.respond_by), (Band::TenWorkingDays, Some(day("2026-12-09"))));
    assert_eq!(decision.reasons.len(), 1);
    assert_eq!((decision.reasons[0].text.as_str(), decision.thresholds.as_str()), ("Score 2.", "own"));
}

#[test]
fn bands_are_ordered_and_named() {
    assert!(Band::ALL.is_sorted() && Band::SameDay < Band::AsPlanned);
    assert_eq!(
        Band::ALL.map(Band::code),
        ["same-day", "one-working-day", "five-working-days", "ten-working-days", "as-planned"]
    );
    assert_eq!(Band::ALL.map(Band::working_days), [Some(0), Some(1), Some(5), Some(10), None]);
    for band in Band::ALL {
        assert_eq!(Band::from_code(band.code()), Some(band));
        assert!(!band.words().is_empty());
    }
    assert_eq!(Band::from_code("soon"), None);
}

#[test]
fn days_since_discharge_turn_the_band_on_the_day() {
    // First contact: telephone within 48 h and 72 h (WOCN 2016, 2019), readmission on day 8.5 on average (Justiniano
    // 2018) and counted to day 30; others day 3–5 (Leeds) and 2 weeks (Dartford). Coping: first 4 weeks (RNAO 2019).
    let first_contact = json!({ "first_contact_made": false });
    let not_coping = json!({ "not_coping": true });
    for (kind, signals, days, band) in [
        (ILEO, &first_contact, 2, "as-planned"),
        (ILEO, &first_contact, 3, "one-working-day"),
        (ILEO, &first_contact, 7, "one-working-day"),
        (ILEO, &first_contact, 8, "same-day"),
        (ILEO, &first_contact, 30, "same-day"),
        (ILEO, &first_contact, 31, "one-working-day"),
        (COLO, &first_contact, 5, "as-planned"),
        (COLO, &first_contact, 6, "five-working-days"),
        (URO, &first_contact, 13, "five-working-days"),
        (URO, &first_contact, 14, "one-working-day"),
        (COLO, &not_coping, 28, "one-working-day"),
        (COLO, &not_coping, 29, "five-working-days"),
    ] {
        let mut signals = signals.clone();
        signals["days_since_discharge"] = json!(days);
        assert_eq!(ask(kind, signals.clone())["band"], band, "{kind} {signals}");
    }
}

#[test]
fn the_schema_names_every_signal_as_it_is_read() {
    let schema: Value = serde_json::from_str(SCHEMA).unwrap();
    let properties = schema["properties"]["signals"]["properties"].as_object().unwrap();
    assert_eq!(properties.len(), Signal::ALL.len());
    for signal in Signal::ALL {
        let property = &properties[signal.code()];
        match signal.answer() {
            Answer::Word(words) => assert_eq!(property["enum"], json!(words), "{signal:?}"),
            Answer::Flag => assert_eq!(property["type"], "boolean", "{signal:?}"),
            Answer::Whole(most) => {
                assert_eq!((&property["type"], &property["maximum"]), (&json!("integer"), &json!(most)), "{signal:?}");
            }
            Answer::Number(most) => {
                assert_eq!(property["type"], "number", "{signal:?}");
                assert_eq!(property["maximum"].as_f64(), Some(most), "{signal:?}");
            }
        }
        assert!(["enum", "type"].iter().any(|key| property.get(key).is_some()));
    }
    let nations: Vec<_> = Nation::ALL.iter().map(|(code, _)| *code).collect();
    assert_eq!(schema["properties"]["nation"]["enum"], json!(nations));
    let kinds: Vec<_> = StomaKind::ALL.iter().map(|(code, _)| *code).collect();
    assert_eq!(schema["properties"]["stoma"]["properties"]["kind"]["enum"], json!(kinds));
}

/// Any value that a signal takes.
fn any_answer(signal: Signal) -> BoxedStrategy<Value> {
    match signal.answer() {
        Answer::Word(words) => prop::sample::select(words).prop_map(Value::from).boxed(),
        Answer::Flag => any::<bool>().prop_map(Value::from).boxed(),
        Answer::Whole(most) => (0..=most.min(60)).prop_map(Value::from).boxed(),
        Answer::Number(most) => (0.0..=most.min(3000.0)).prop_map(Value::from).boxed(),
    }
}

fn any_signals() -> impl Strategy<Value = Map<String, Value>> {
    let each: Vec<_> = Signal::ALL.iter().map(|signal| prop::option::of(any_answer(*signal))).collect();
    each.prop_map(|values| {
        let named = Signal::ALL.iter().zip(values);
        named.filter_map(|(signal, value)| value.map(|value| (signal.code().to_owned(), value))).collect()
    })
}

proptest! {
    #[test]
    fn the_band_is_the_most_urgent_of_its_reasons_and_the_order_is_kept(
        signals in any_signals(),
        kind in prop::sample::select(vec![ILEO, COLO, URO]),
    ) {
        let answer = ask(kind, signals.clone().into());
        prop_assert_eq!(&answer, &ask(kind, signals.clone().into()));
        let order = |code: &Value| Signal::ALL.iter().position(|signal| code == signal.code()).unwrap();
        let band = |code: &Value| Band::from_code(code.as_str().unwrap()).unwrap();
        let reasons = answer["reasons"].as_array().unwrap();
        let keys: Vec<_> = reasons.iter().map(|r| (band(&r["band"]), order(&r["signal"]))).collect();
        // Strictly rising: sorted, and no signal twice within a band.
        prop_assert!(keys.windows(2).all(|pair| pair[0] < pair[1]), "{keys:?}");
        prop_assert_eq!(keys.iter().map(|key| key.1).collect::<BTreeSet<_>>().len(), keys.len());
        prop_assert!(reasons.iter().all(|reason| signals.contains_key(reason["signal"].as_str().unwrap())));
        prop_assert_eq!(band(&answer["band"]), keys.first().map_or(Band::AsPlanned, |key| key.0));
        let urgent = keys.iter().filter(|key| key.0 <= Band::OneWorkingDay).count();
        let advice = answer["advice"].as_array().unwrap();
        prop_assert!(advice.len() <= urgent && (urgent == 0) == advice.is_empty());
        prop_assert!(advice.iter().all(|said| said.as_str().unwrap().ends_with("follow your local escalation policy")));
    }

    #[test]
    fn a_further_signal_never_makes_it_less_urgent(
        signals in any_signals(),
        left_out in prop::sample::select(Signal::ALL.to_vec()),
        kind in prop::sample::select(vec![ILEO, COLO, URO]),
    ) {
        let band = |signals: Map<String, Value>| {
            Band::from_code(ask(kind, signals.into())["band"].as_str().unwrap()).unwrap()
        };
        let mut fewer = signals.clone();
        fewer.remove(left_out.code());
        prop_assert!(band(signals) <= band(fewer));
    }
}
