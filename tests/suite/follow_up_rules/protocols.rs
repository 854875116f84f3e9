//! The protocols shipped, the reading of protocol files, the calendar file and the schema.

use std::collections::BTreeSet;

use roundel::follow_up::rules::bank_holidays::{bank_holidays, read};
use roundel::follow_up::rules::protocol::ShapeKind;
use roundel::follow_up::rules::shipped::{load, shipped_faults};
use roundel::follow_up::rules::*;
use roundel::json_input::FieldErrors;
use roundel::provenance::Standing;
use serde_json::Value;

const PUBLISHED: [&str; 7] = [
    "dartford-gravesham",
    "leeds-community",
    "cambridge-urostomy",
    "east-kent",
    "rnao-2019",
    "ileostomy-phone-48h",
    "bristol-yearly",
];
const LOCAL: [&str; 4] = ["local-ileostomy", "local-colostomy", "local-urostomy", "local-loop-awaiting-reversal"];

#[test]
fn every_shipped_protocol_parses_and_has_its_standing() {
    assert!(shipped_faults().is_empty(), "{:?}", shipped_faults());
    let ids: Vec<&str> = shipped().iter().map(|protocol| protocol.id.as_str()).collect();
    assert_eq!(ids, [PUBLISHED.as_slice(), LOCAL.as_slice()].concat());
    for protocol in shipped() {
        let published = PUBLISHED.contains(&protocol.id.as_str());
        assert_eq!(protocol.standing, if published { Standing::Read } else { Standing::Local }, "{}", protocol.id);
        assert_eq!(protocol.address.is_some(), published, "{}: only a published one has an address", protocol.id);
        for step in &protocol.steps {
            let plain = step.id.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-');
            assert!(plain && step.title.is_some(), "{} {}", protocol.id, step.id);
        }
    }
    assert!(shipped_by_id("no-such-one").is_none());
}

/// `step anchor shape mode repeat` of a shipped protocol.
fn outline(id: &str) -> Vec<String> {
    let steps = &shipped_by_id(id).expect("shipped").steps;
    let line = |step: &Step| {
        let shape = match step.shape {
            Shape::By(offset) => format!("by {offset}"),
            Shape::At(offset) => format!("at {offset}"),
            Shape::Window { from, to } => format!("{from}..{to}"),
        };
        let repeat = step.repeat.map_or(String::new(), |repeat| format!(" every {repeat}"));
        format!("{} {shape} {}{repeat}", step.anchor.code(), step.mode.code())
    };
    steps.iter().map(line).collect()
}

#[test]
fn published_protocols_hold_the_points_of_their_pages() {
    // Each as printed on the page that the file names as its source.
    assert_eq!(
        outline("dartford-gravesham"),
        [
            "discharge by P14D home",
            "discharge by P6W clinic",
            "surgery at P3M clinic",
            "surgery at P6M clinic",
            "surgery at P12M clinic every P12M"
        ]
    );
    assert_eq!(outline("leeds-community"), ["discharge P3D..P5D home"]);
    assert_eq!(outline("cambridge-urostomy"), ["discharge P2D..P3D phone"]);
    assert_eq!(outline("east-kent"), ["surgery at P3M clinic", "surgery at P15M clinic every P12M"]);
    assert_eq!(outline("rnao-2019"), ["discharge by P4W home", "discharge by P4W phone"]);
    assert_eq!(outline("ileostomy-phone-48h"), ["discharge by P2D phone"]);
    assert_eq!(outline("bristol-yearly"), ["last-completed at P12M clinic every P12M"]);
}

#[test]
fn the_local_ileostomy_makes_contact_before_day_eight() {
    // Justiniano and others, Dis Colon Rectum 2018;61: readmission on average on day 8.5 after discharge.
    let protocol = shipped_by_id("local-ileostomy").expect("shipped");
    let early = protocol.steps.iter().filter(|step| match step.shape {
        Shape::Window { to, .. } => step.anchor == Anchor::Discharge && to.unit() == Unit::Days && to.count() < 8,
        _ => false,
    });
    assert!(early.count() >= 1);
    let protocol = shipped_by_id("local-loop-awaiting-reversal").expect("shipped");
    assert!(protocol.steps.iter().any(|step| step.anchor == Anchor::Reversal));
}

#[test]
fn a_protocol_survives_being_kept_as_json() {
    for protocol in shipped() {
        let mut errors = FieldErrors::default();
        let again = Protocol::from_json_kept(&protocol.to_json(), "", &mut errors);
        assert_eq!(again.as_ref(), Some(protocol), "{errors:?}");
    }
}

const RIGHT: &str = r#"id = "one"
title = "One"
version = 1
source = "Somewhere"
standing = "local"

[[steps]]
id = "a"
anchor = "surgery"
shape = "at"
offset = "P3M"
mode = "clinic"

[[steps]]
id = "b"
anchor = "discharge"
shape = "window"
from = "P3D"
to = "P5D"
mode = "home"
when = { kind = "ileostomy", construction = ["end", "loop"] }
"#;

/// What is said of a file in which one line is changed.
fn fault(from: &str, to: &str) -> String {
    assert!(RIGHT.contains(from));
    Protocol::from_toml("one.toml", &RIGHT.replace(from, to)).expect_err("must be refused").to_string()
}

#[test]
fn a_fault_names_file_line_and_field_once() {
    assert!(Protocol::from_toml("one.toml", RIGHT).is_ok());
    let cases = [
        ("to = \"P5D\"", "to = \"P1D\"", "one.toml:19: steps[1].to the window ends (P1D) before it begins (P3D)"),
        (
            "id = \"b\"",
            "id = \"a\"",
            "one.toml:15: steps[1].id another step is already called 'a': give each its own id",
        ),
        (
            "mode = \"clinic\"",
            "mode = \"clinic\"\nrepeat = \"P0M\"",
            "one.toml:13: steps[0].repeat must not be zero: leave it out for a step that happens once",
        ),
        (
            "anchor = \"surgery\"",
            "anchor = \"birth\"",
            "one.toml:9: steps[0].anchor must be one of surgery, discharge, last-completed, reversal",
        ),
        (
            "mode = \"home\"",
            "mode = \"letter\"",
            "one.toml:20: steps[1].mode must be one of clinic, phone, home, ward, video",
        ),
        ("title = \"One\"", "titel = \"One\"\ntitle = \"One\"", "one.toml:2: titel is not a known field"),
        (
            "kind = \"ileostomy\"",
            "kind = \"bag\"",
            "one.toml:21: steps[1].when.kind must be one of colostomy, ileostomy, urostomy",
        ),
        ("standing = \"local\"\n", "", "one.toml:1: standing is missing"),
        ("offset = \"P3M\"\n", "", "one.toml:7: steps[0].offset is missing: the shape at needs it"),
    ];
    for (from, to, expected) in cases {
        assert_eq!(fault(from, to), expected);
    }
    let syntax = fault("version = 1", "version = = 1");
    assert!(syntax.starts_with("one.toml:3: ") && syntax.lines().count() == 1, "{syntax}");
    // Two mistakes, two lines.
    assert_eq!(fault("\"P3", "\"3").lines().count(), 2);
}

#[test]
fn a_broken_shipped_file_is_a_fault_and_the_others_load() {
    let (protocols, faults) = load(&[("right.toml", RIGHT), ("wrong.toml", "id = ")]);
    assert_eq!(protocols.len(), 1);
    assert_eq!(faults.len(), 1);
    assert_eq!(faults[0].file, "wrong.toml");
}

#[test]
fn the_calendar_file_is_read_and_a_broken_one_is_refused() {
    let table = bank_holidays();
    assert_eq!(table.fault, None);
    assert_eq!((table.first_year, table.last_year), (2019, 2028));
    assert_eq!(table.source.standing, Standing::SecondHand);
    assert!(table.loaded.is_some());
    let broken =
        read("bank_holidays.toml", "source = \"x\"\nstanding = \"local\"\n[england]\n2026-13-01 = \"Never\"\n")
            .expect_err("refused");
    assert!(broken.contains("bank_holidays.toml:4: england.2026-13-01 must be a date"), "{broken}");
    assert!(broken.contains("scotland is missing"), "{broken}");
}

fn codes<T>(all: &[(&str, T)]) -> BTreeSet<String> {
    all.iter().map(|(code, _)| (*code).to_owned()).collect()
}

#[test]
fn the_schema_lists_the_codes_of_the_engine() {
    let schema: Value = serde_json::from_str(SCHEMA).expect("JSON");
    let at = |pointer: &str| -> BTreeSet<String> {
        let list = schema.pointer(pointer).and_then(Value::as_array).unwrap_or_else(|| panic!("{pointer}"));
        list.iter().filter_map(Value::as_str).map(str::to_owned).collect()
    };
    assert_eq!(at("/properties/nation/enum"), codes(Nation::ALL));
    assert_eq!(at("/properties/ended/properties/reason/enum"), codes(EndReason::ALL));
    assert_eq!(at("/$defs/kind/enum"), codes(StomaKind::ALL));
    assert_eq!(at("/$defs/construction/enum"), codes(Construction::ALL));
    assert_eq!(at("/$defs/permanence/enum"), codes(Permanence::ALL));
    assert_eq!(at("/$defs/surgery/enum"), codes(SurgeryType::ALL));
    assert_eq!(at("/$defs/step/properties/anchor/enum"), codes(Anchor::ALL));
    assert_eq!(at("/$defs/step/properties/shape/enum"), codes(ShapeKind::ALL));
    assert_eq!(at("/$defs/step/properties/mode/enum"), codes(Mode::ALL));
    let anchors: BTreeSet<String> =
        schema["properties"]["anchors"]["properties"].as_object().expect("anchors").keys().cloned().collect();
    assert_eq!(anchors, codes(Anchor::ALL));
}

#[test]
fn a_shipped_protocol_is_read_back_from_its_text() {
    for protocol in shipped() {
        assert_eq!(&Protocol::from_toml("text", &protocol.to_toml()).unwrap(), protocol);
    }
    let odd = Protocol { note: Some("Tab\t, \"quotes\", \\ and\nlines \u{7f} é".into()), ..shipped()[0].clone() };
    assert_eq!(Protocol::from_toml("text", &odd.to_toml()).unwrap().note, odd.note);
}

#[test]
fn two_versions_are_compared_in_words() {
    use roundel::follow_up::rules::step_words::compare;
    let before = shipped_by_id("local-ileostomy").unwrap();
    assert_eq!(compare(before, before), Vec::<String>::new());
    let mut after = before.clone();
    after.title = "Another".into();
    after.steps[0].mode = Mode::Video;
    after.steps.remove(1);
    after.steps.swap(0, 1);
    let said = compare(before, &after).join("\n");
    for words in [
        "Title: was “Example: ileostomy”, is “Another”.",
        "Step “First call”: now held by video (was by telephone).",
        "Step “First home visit” is left out: it was from 4 days to 7 days after discharge.",
        "another order",
    ] {
        assert!(said.contains(words), "“{words}” is not in: {said}");
    }
}

/// Local rule: nearest pairs first, a booked day stays, each review in one offer.
#[test]
fn visits_of_two_stomas_are_offered_as_one() {
    use roundel::follow_up::rules::together::{Offer, Open, offers};
    use uuid::Uuid;
    let open = |id: u128, stoma: u128, on: &str, booked: bool| Open {
        id: Uuid::from_u128(id),
        stoma: Uuid::from_u128(stoma),
        on: super::day(on),
        booked,
    };
    let offer = |keep: u128, bring: u128, on: &str| Offer {
        keep: Uuid::from_u128(keep),
        bring: Uuid::from_u128(bring),
        on: super::day(on),
    };
    let of = [
        open(1, 1, "2026-03-02", false),
        open(2, 2, "2026-03-09", true),
        open(3, 1, "2026-03-20", false),
        open(4, 2, "2026-04-02", false),
        open(5, 2, "2026-06-01", false),
    ];
    assert_eq!(offers(&of, 14), [offer(2, 1, "2026-03-09"), offer(3, 4, "2026-03-20")]);
    assert_eq!(offers(&of, 12), [offer(2, 1, "2026-03-09")]);
    // Of one stoma, or on one day, or both booked: nothing to offer.
    assert_eq!(offers(&[of[0], of[2]], 30), []);
    assert_eq!(offers(&[of[1], open(9, 1, "2026-03-09", false)], 14), []);
    assert_eq!(offers(&[of[1], open(9, 1, "2026-03-10", true)], 14), []);
}
