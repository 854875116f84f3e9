//! `roundel rules`: the contract's examples come out as printed there; wrong input is refused with every mistake.

use serde_json::{Value, json};

use super::{Ended, ended, ended_with_input, roundel};

/// Requests of the contract, word for word.
const EXAMPLES: [(&str, &str); 5] = [
    (
        "skin",
        r#"{"discolouration":{"area_percent":40,"severity":2},"erosion":{"area_percent":10,"severity":2},"overgrowth":{"area_percent":0,"severity":0}}"#,
    ),
    (
        "skin-map",
        r#"{"stoma":{"width_mm":30,"height_mm":30},"plate":{"diameter_mm":100,"offset_x_mm":0,"offset_y_mm":0},"rings":3,
 "cells":[{"hour":3,"ring":1,"finding":"discoloured"},{"hour":4,"ring":1,"finding":"eroded"}]}"#,
    ),
    (
        "follow-up",
        r#"{"nation":"england","closures":["2026-12-29"],"until":"2028-12-31",
 "stoma":{"kind":"ileostomy","construction":"end","permanence":"permanent","surgery":"planned"},
 "anchors":{"surgery":"2026-01-15","discharge":"2026-01-22"},
 "protocol":{"id":"example","title":"Example","version":1,"steps":[
  {"id":"community","anchor":"discharge","shape":"by","offset":"P14D","mode":"home"},
  {"id":"home","anchor":"discharge","shape":"window","from":"P3D","to":"P5D","mode":"home"},
  {"id":"three-months","anchor":"surgery","shape":"at","offset":"P3M","mode":"clinic"},
  {"id":"yearly","anchor":"surgery","shape":"at","offset":"P12M","repeat":"P12M","mode":"clinic","when":{"kind":["ileostomy"]}}]}}"#,
    ),
    (
        "supply",
        r#"{"period_days":28,"stoma":{"kind":"ileostomy"},"sets":["scotland-2015","us-coverage"],
 "lines":[{"item":"one-piece-drainable","pack":10,"use":{"units":1,"every_days":3},"on_hand":0}]}"#,
    ),
    (
        "urgency",
        r#"{"today":"2026-11-25","nation":"england","stoma":{"kind":"ileostomy"},
 "signals":{"stoma_colour":"dusky","output_ml_24h":2100,"leaks_of_last_10":5,"score":8,"previous_score":3,"overdue_days":12},
 "review":{"planned":"2026-11-20","latest":"2026-11-24"}}"#,
    ),
];

fn example(engine: &str) -> Value {
    let found = EXAMPLES.iter().find(|(name, _)| *name == engine).expect("an engine");
    serde_json::from_str(found.1).expect("JSON")
}

fn rules(engine: &str, input: &str) -> Ended {
    ended_with_input(&mut roundel(&["rules", engine]), input)
}

/// What an engine answers to good input.
fn answer(engine: &str, input: &Value) -> Value {
    let ended = rules(engine, &input.to_string()).expect(0);
    assert_eq!(ended.err, "", "{engine}");
    serde_json::from_str(&ended.out).unwrap_or_else(|error| panic!("{engine}: {error}: {}", ended.out))
}

/// What an engine finds wrong: fields and messages.
fn wrong(engine: &str, input: &str) -> Vec<(String, String)> {
    let ended = rules(engine, input).refused("errors");
    let said: Value = serde_json::from_str(&ended.err).unwrap_or_else(|error| panic!("{error}: {}", ended.err));
    assert_eq!(said.as_object().map(|o| o.keys().collect::<Vec<_>>()), Some(vec![&"errors".to_owned()]));
    let errors = said["errors"].as_array().expect("a list");
    let text = |of: &Value| of.as_str().expect("a text").to_owned();
    let found: Vec<_> = errors.iter().map(|error| (text(&error["field"]), text(&error["message"]))).collect();
    assert!(!found.is_empty() && found.iter().all(|(_, message)| !message.is_empty()), "{found:?}");
    found
}

/// Every field of `printed` is in `said` with the same value; `said` may have more fields, but no more elements of a list.
fn holds(said: &Value, printed: &Value, at: &str) {
    match (said, printed) {
        (Value::Object(said), Value::Object(printed)) => {
            for (name, value) in printed {
                let at = format!("{at}.{name}");
                holds(said.get(name).unwrap_or_else(|| panic!("{at} is missing")), value, &at);
            }
        }
        (Value::Array(said), Value::Array(printed)) => {
            assert_eq!(said.len(), printed.len(), "{at}: {said:?}");
            said.iter().zip(printed).enumerate().for_each(|(i, (s, p))| holds(s, p, &format!("{at}[{i}]")));
        }
        _ => assert_eq!(said, printed, "{at}"),
    }
}

/// Each of these objects names where it comes from and how sure that is.
fn sourced(list: &Value) {
    let list = list.as_array().expect("a list");
    assert!(!list.is_empty());
    for one in list {
        for name in ["source", "standing"] {
            assert!(one[name].as_str().is_some_and(|text| !text.is_empty()), "{name} of {one}");
        }
    }
}

#[test]
fn skin_as_printed() {
    let said = answer("skin", &example("skin"));
    let printed = json!({"score": 7, "domains": {
        "discolouration": {"area_points": 2, "severity": 2, "points": 4},
        "erosion": {"area_points": 1, "severity": 2, "points": 3},
        "overgrowth": {"area_points": 0, "severity": 0, "points": 0}},
        "bands": [{"set": "a", "band": "severe"}, {"set": "b", "band": "moderate"}]});
    holds(&said, &printed, "");
    sourced(&said["bands"]);
}

#[test]
fn skin_map_as_printed() {
    let said = answer("skin-map", &example("skin-map"));
    assert_eq!(said["skin_mm2"], json!(7147.1));
    // By hand: ring 1 of three ends at 15 + 35/3 mm; a cell is a twelfth of that ring; the skin is 50² − 15² (times π).
    let ring_end = 15.0_f64 + 35.0 / 3.0;
    let cell = 100.0 * (ring_end.powi(2) - 15.0_f64.powi(2)) / (50.0_f64.powi(2) - 15.0_f64.powi(2)) / 12.0;
    // The eroded cell counts as discoloured as well.
    for (domain, share) in [("discolouration", 2.0 * cell), ("erosion", cell), ("overgrowth", 0.0)] {
        let found = said["area_percent"][domain].as_f64().expect("a number");
        assert!((found - share).abs() < 0.01, "{domain}: {found} is not {share}");
    }
}

#[test]
fn follow_up_as_printed() {
    let said = answer("follow-up", &example("follow-up"));
    let printed = json!({"step": "community", "occurrence": 1, "nominal": "2026-02-05", "earliest": null,
        "latest": "2026-02-05", "planned": "2026-02-05", "mode": "home", "outside_window": false});
    let reviews = said["reviews"].as_array().expect("reviews");
    let community = reviews.iter().find(|review| review["step"] == "community").expect("the step");
    holds(community, &printed, "community");
    assert!(reviews.iter().all(|review| review["reasons"].as_array().is_some_and(|r| !r.is_empty())));
    assert_eq!(said["waiting"], json!([]));
    // Without the discharge both steps of it wait.
    let mut input = example("follow-up");
    input["anchors"] = json!({"surgery": "2026-01-15"});
    let said = answer("follow-up", &input);
    let waits = json!([{"step": "community", "for": "discharge"}, {"step": "home", "for": "discharge"}]);
    holds(&said["waiting"], &waits, "waiting");
}

#[test]
fn supply_as_printed() {
    let said = answer("supply", &example("supply"));
    let line = &said["lines"][0];
    let printed = json!({"item": "one-piece-drainable", "units": 10, "packs": 1, "supplied": 10, "surplus": 0, "days_supply": 30});
    holds(line, &printed, "line");
    let verdicts = line["verdicts"].as_array().expect("verdicts");
    assert_eq!(verdicts.len(), 2, "one verdict for each set asked for");
    let coverage = verdicts.iter().find(|verdict| verdict["set"] == "us-coverage").expect("the set");
    let printed = json!({"verdict": "in-range", "low": null, "high": 20, "period": "month", "standing": "read"});
    holds(coverage, &printed, "us-coverage");
    sourced(&line["verdicts"]);
    // A finding has the fields of the contract.
    let mut input = example("supply");
    input["lines"][0]["latex"] = json!(true);
    input["patient"] = json!({"allergies": ["latex"]});
    let found = answer("supply", &input)["findings"][0].clone();
    holds(&found, &json!({"level": "refuse", "lines": [0]}), "finding");
    for name in ["rule", "text", "source"] {
        assert!(found[name].as_str().is_some_and(|text| !text.is_empty()), "{name} of {found}");
    }
}

#[test]
fn urgency_as_printed() {
    let said = answer("urgency", &example("urgency"));
    holds(&said, &json!({"band": "same-day", "respond_by": "2026-11-25"}), "");
    let reasons = said["reasons"].as_array().expect("reasons");
    holds(&reasons[0], &json!({"signal": "stoma_colour", "band": "same-day"}), "reasons[0]");
    sourced(&said["reasons"]);
    // Every signal of the example counts and is named.
    let mut signals: Vec<&str> = reasons.iter().filter_map(|reason| reason["signal"].as_str()).collect();
    signals.sort_unstable();
    let expected = ["leaks_of_last_10", "output_ml_24h", "overdue_days", "previous_score", "score", "stoma_colour"];
    assert_eq!(signals, expected);
    let advice = said["advice"].as_array().expect("advice");
    assert!(!advice.is_empty());
    for words in advice {
        assert!(words.as_str().is_some_and(|text| text.ends_with("follow your local escalation policy")), "{words}");
    }
}

#[test]
fn every_mistake_is_reported_at_once() {
    let cases: [(&str, &str, &[&str]); 6] = [
        (
            "skin",
            r#"{"discolouration":{"area_percent":140,"severity":3},"erosion":{"area_percent":"x","severity":2},"overgrowth":{"area_percent":0,"severity":1}}"#,
            &["discolouration.area_percent", "discolouration.severity", "erosion.area_percent", "overgrowth.severity"],
        ),
        ("skin", "{}", &["discolouration", "erosion", "overgrowth"]),
        (
            "skin-map",
            r#"{"stoma":{"width_mm":130,"height_mm":-1},"plate":{"diameter_mm":100},"rings":0,"cells":[{"hour":13,"ring":1,"finding":"blue"}]}"#,
            &["cells[0].finding", "cells[0].hour", "rings", "stoma.height_mm"],
        ),
        (
            "follow-up",
            r#"{"nation":"france","closures":["2026-02-30"],"until":"soon","stoma":{"kind":"x"},"anchors":{"surgery":"2026-01-15","discharge":"2026-01-02"},"protocol":"none"}"#,
            &["anchors.discharge", "closures[0]", "nation", "protocol", "stoma.kind", "until"],
        ),
        (
            "supply",
            r#"{"period_days":0,"stoma":{"kind":"x"},"sets":["moon"],"lines":[{"item":"bag","pack":0,"use":{"units":0,"every_days":0},"on_hand":-1}]}"#,
            &[
                "lines[0].item",
                "lines[0].on_hand",
                "lines[0].pack",
                "lines[0].use.every_days",
                "lines[0].use.units",
                "period_days",
                "sets[0]",
                "stoma.kind",
            ],
        ),
        (
            "urgency",
            r#"{"today":"2026-11-31","nation":"x","stoma":{"kind":"ileostomy"},"signals":{"stoma_colour":"green","output_ml_24h":-1,"leaks_of_last_10":11}}"#,
            &["nation", "signals.leaks_of_last_10", "signals.output_ml_24h", "signals.stoma_colour", "today"],
        ),
    ];
    for (engine, input, fields) in cases {
        let found = wrong(engine, input);
        let mut named: Vec<&str> = found.iter().map(|(field, _)| field.as_str()).collect();
        named.sort_unstable();
        assert_eq!(named, fields, "{engine}: {found:?}");
    }
}

#[test]
fn an_unknown_field_is_refused_wherever_it_stands() {
    for (engine, _) in EXAMPLES {
        let mut input = example(engine);
        input["colour"] = json!("red");
        let found = wrong(engine, &input.to_string());
        assert_eq!(found.len(), 1, "{engine}: {found:?}");
        assert_eq!(found[0].0, "colour", "{engine}");
    }
    for (engine, inside, named) in [
        ("skin", "erosion", "erosion.colour"),
        ("skin-map", "plate", "plate.colour"),
        ("follow-up", "protocol", "protocol.colour"),
        ("supply", "stoma", "stoma.colour"),
        ("urgency", "signals", "signals.colour"),
    ] {
        let mut input = example(engine);
        input[inside]["colour"] = json!("red");
        let found = wrong(engine, &input.to_string());
        assert_eq!(found.iter().map(|(field, _)| field.as_str()).collect::<Vec<_>>(), [named], "{engine}");
    }
}

#[test]
fn what_is_no_json_object_is_refused_in_the_same_form() {
    for (engine, _) in EXAMPLES {
        for input in ["", "score 7", "[]", "7", "null", "{\"today\":", "{} {}"] {
            let found = wrong(engine, input);
            assert_eq!((found.len(), found[0].0.as_str()), (1, ""), "{engine}: {input}: {found:?}");
            assert!(found[0].1.contains("JSON"), "{engine}: {input}: {found:?}");
        }
    }
}

#[test]
fn the_schema_says_what_an_engine_takes() {
    for (engine, _) in EXAMPLES {
        let ended = ended(&mut roundel(&["rules", engine, "--schema"])).expect(0);
        let schema: Value = serde_json::from_str(&ended.out).unwrap_or_else(|error| panic!("{engine}: {error}"));
        assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema", "{engine}");
        assert_eq!((&schema["type"], &schema["additionalProperties"]), (&json!("object"), &json!(false)), "{engine}");
        let known = schema["properties"].as_object().expect("properties");
        for name in example(engine).as_object().expect("an object").keys() {
            assert!(known.contains_key(name), "{engine}: {name}");
        }
        // What the schema calls required is missed by the engine, and nothing else is.
        let required: Vec<&str> =
            schema["required"].as_array().expect("a list").iter().filter_map(Value::as_str).collect();
        let found = wrong(engine, "{}");
        let mut missed: Vec<&str> = found.iter().map(|(field, _)| field.as_str()).collect();
        let mut required = required;
        missed.sort_unstable();
        required.sort_unstable();
        assert_eq!(missed, required, "{engine}");
    }
}

/// Which of two values was meant cannot be known, so neither may be taken.
#[test]
fn a_field_given_twice_is_refused() {
    let twice = r#"{"discolouration":{"area_percent":0,"severity":0},"discolouration":{"area_percent":40,"severity":2},"erosion":{"area_percent":0,"severity":0},"overgrowth":{"area_percent":0,"severity":0}}"#;
    let found = wrong("skin", twice);
    assert!(found.iter().any(|(_, message)| message.contains("twice") || message.contains("duplicate")), "{found:?}");
}
