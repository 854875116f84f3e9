//! The data files: all of them readable, complete, without makers, and in step with the schema.

use std::collections::BTreeSet;

use roundel::supplies::rules::{
    Convexity, Coupling, ItemCategory, Line, PatientFit, Period, SCHEMA, SetId, StomaFinding, StomaFit, StomaKind,
    SupplyRequest, Use, Wear, catalogue, decide_supply, load_catalogue, load_rule_texts, parse_set, shipped_set,
};
use serde_json::Value;

/// The item codes of the contract.
const ITEMS: [&str; 31] = [
    "one-piece-closed",
    "one-piece-drainable",
    "one-piece-urostomy",
    "two-piece-closed-pouch",
    "two-piece-drainable-pouch",
    "two-piece-urostomy-pouch",
    "flange",
    "night-bag",
    "leg-bag",
    "adhesive-remover-spray",
    "adhesive-remover-wipe",
    "barrier-film-wipe",
    "barrier-film-spray",
    "barrier-cream",
    "paste",
    "strip-paste",
    "ring",
    "powder",
    "deodorant",
    "lubricating-deodorant",
    "thickener",
    "belt",
    "support-garment",
    "flange-extender",
    "convex-insert",
    "irrigation-kit",
    "irrigation-sleeve",
    "stoma-plug",
    "stoma-cap",
    "disposal-bag",
    "dry-wipe",
];

#[test]
fn items_are_those_of_the_contract() {
    let codes: Vec<&str> = ItemCategory::ALL.iter().map(|item| item.code()).collect();
    assert_eq!(codes, ITEMS);
    for item in ItemCategory::ALL {
        assert_eq!(ItemCategory::from_code(item.code()), Some(*item));
        assert!(!item.words().is_empty() && !item.purpose().words().is_empty());
        assert!(!(item.is_accessory() && item.pouch().is_some()));
    }
    assert!(ItemCategory::from_code("pouch").is_none());
}

#[test]
fn shipped_sets_are_read_whole() {
    let ids: Vec<&str> = SetId::CHOICES.iter().map(|(code, _)| *code).collect();
    assert_eq!(ids, ["scotland-2015", "us-coverage", "australia-scheme", "doncaster", "england-template"]);
    for (code, id) in SetId::CHOICES {
        let set = parse_set(id.text()).unwrap_or_else(|error| panic!("{error}"));
        assert_eq!(set.id, *code);
        assert!(shipped_set(*id).is_some());
        for row in &set.rows {
            assert!(!row.source.source.is_empty() && !row.year.is_empty(), "{code}: {}", row.words);
            assert!(row.code.is_some() || !row.items.is_empty(), "{code}: a row nothing leads to: {}", row.words);
        }
    }
}

#[test]
fn texts_and_catalogue_are_read_whole() {
    let texts = load_rule_texts().unwrap_or_else(|error| panic!("{error}"));
    let codes: BTreeSet<&str> = texts.iter().map(|text| text.rule.as_str()).collect();
    assert_eq!(codes.len(), texts.len(), "no rule twice");
    assert!(texts.iter().all(|text| text.text.ends_with('.') && !text.source.source.is_empty()));
    let items = load_catalogue().unwrap_or_else(|error| panic!("{error}"));
    assert!(items.len() >= 45);
    assert_eq!(items.len(), catalogue().len());
    let covered: BTreeSet<ItemCategory> = items.iter().map(|item| item.category).collect();
    assert_eq!(covered.len(), ItemCategory::ALL.len(), "every kind of item has an example");
    for item in &items {
        assert!(item.name.starts_with(char::is_uppercase) && !item.unit.is_empty(), "{}", item.code);
        assert_eq!(item.coupling.is_some(), item.coupling_mm.is_some() && item.category != ItemCategory::ConvexInsert);
        assert_eq!(item.convexity.is_some(), item.category.has_plate(), "{}", item.code);
    }
    assert!(
        items.iter().any(|item| item.latex == Some(true)) && items.iter().any(|item| item.animal_derived == Some(true))
    );
}

/// Pack sizes the Doncaster guide prints: closed 30, urostomy 30, two-piece urostomy pouch 10, base plates 5, night
/// bags 5. US page: pouches 10.
#[test]
fn catalogue_packs_with_a_published_source() {
    let published: Vec<_> = catalogue().iter().filter(|item| item.source.source.contains("Doncaster")).collect();
    for item in &published {
        let pack = match item.category {
            ItemCategory::OnePieceClosed | ItemCategory::OnePieceUrostomy => 30,
            ItemCategory::TwoPieceUrostomyPouch => 10,
            ItemCategory::Flange | ItemCategory::NightBag => 5,
            other => panic!("the guide prints no pack for {}", other.code()),
        };
        assert_eq!(item.pack.get(), pack, "{}", item.code);
    }
    assert!(published.len() >= 8);
    for item in catalogue().iter().filter(|item| item.source.source.starts_with("US patient")) {
        assert_eq!((item.pack.get(), item.category.pouch().is_some()), (10, true), "{}", item.code);
    }
}

/// The catalogue as one order goes through the engine: its couplings and flags are of the engine's own words.
#[test]
fn every_catalogue_item_can_be_ordered() {
    for item in catalogue() {
        let mut line = Line::new(item.category, item.pack, Use::new(1, 2).expect("use"));
        (line.coupling, line.coupling_mm, line.convexity) = (item.coupling, item.coupling_mm, item.convexity);
        (line.content_g, line.content_ml, line.latex) = (item.content_g, item.content_ml, item.latex);
        let plan = decide_supply(&SupplyRequest {
            period_days: Period::new(28).expect("period"),
            stoma: StomaFit::new(StomaKind::Colostomy),
            patient: PatientFit::default(),
            lines: vec![line],
            sets: SetId::CHOICES.iter().map(|(_, id)| *id).collect(),
        });
        assert_eq!(plan.lines[0].units, 14);
        assert_eq!(plan.lines[0].verdicts.len(), 5);
    }
}

fn known<T>(choices: &[(&'static str, T)]) -> Vec<&'static str> {
    choices.iter().map(|(code, _)| *code).collect()
}

#[test]
fn the_schema_lists_what_the_engine_takes() {
    let schema: Value = serde_json::from_str(SCHEMA).expect("the schema is JSON");
    let codes = |pointer: &str| -> Vec<String> {
        let list = schema.pointer(pointer).and_then(Value::as_array).unwrap_or_else(|| panic!("{pointer}"));
        list.iter().filter_map(Value::as_str).map(str::to_owned).collect()
    };
    let line = "/properties/lines/items/properties";
    assert_eq!(codes(&format!("{line}/item/enum")), ITEMS);
    assert_eq!(codes(&format!("{line}/coupling/enum")), known(Coupling::CHOICES));
    assert_eq!(codes(&format!("{line}/convexity/enum")), known(Convexity::CHOICES));
    assert_eq!(codes(&format!("{line}/wear/enum")), known(Wear::CHOICES));
    assert_eq!(codes("/properties/sets/items/enum"), known(SetId::CHOICES));
    assert_eq!(codes("/properties/stoma/properties/kind/enum"), known(StomaKind::CHOICES));
    assert_eq!(codes("/properties/stoma/properties/findings/items/enum"), known(StomaFinding::CHOICES));
    assert_eq!(schema["properties"]["period_days"]["maximum"], Period::MAX_DAYS);
    let uses = schema.pointer(&format!("{line}/use/properties")).expect("use");
    assert_eq!(
        (&uses["units"]["maximum"], &uses["every_days"]["maximum"]),
        (&Value::from(Use::MAX_UNITS), &Value::from(Use::MAX_DAYS))
    );
}

/// Each field and bound of the schema is one the reader keeps: its least and most are accepted, one beyond is refused.
#[test]
fn the_schema_and_the_reader_agree_on_every_bound() {
    let schema: Value = serde_json::from_str(SCHEMA).expect("the schema is JSON");
    let mut tried = 0;
    let places = [
        ("/properties/stoma/properties", "/stoma"),
        ("/properties/lines/items/properties", "/lines/0"),
        ("/properties/lines/items/properties/use/properties", "/lines/0/use"),
    ];
    for (from, to) in places {
        for (field, rule) in schema.pointer(from).and_then(Value::as_object).expect("properties") {
            let (Some(least), Some(most)) = (rule["minimum"].as_i64(), rule["maximum"].as_i64()) else { continue };
            for (value, good) in [(least, true), (most, true), (least - 1, false), (most + 1, false)] {
                let mut input = super::request("ileostomy", &[], serde_json::json!([super::line("flange", 1, 3)]));
                input.pointer_mut(to).expect("place")[field] = value.into();
                assert_eq!(roundel::supplies::rules::decide(&input).is_ok(), good, "{field} {value}");
            }
            tried += 1;
        }
    }
    assert_eq!(tried, 12);
}
