//! The US coverage table, row by row: CMS Local Coverage Determination L33828, usual maximum (quantities read in two
//! independent copies of the table, which agree).

use roundel::supplies::rules::{Band, Counts, SetId, SetPeriod, decide_supply, read_request, shipped_set};
use serde_json::{Value, json};

use super::{band, decided, line, request, verdict, with};

/// Code, maximum, months.
const TABLE: &[(&str, u32, u32)] = &[
    ("A4357", 2, 1),
    ("A4362", 20, 1),
    ("A4364", 4, 1),
    ("A4367", 1, 1),
    ("A4369", 2, 1),
    ("A4377", 10, 1),
    ("A4381", 10, 1),
    ("A4402", 4, 1),
    ("A4404", 10, 1),
    ("A4405", 4, 1),
    ("A4406", 4, 1),
    ("A4414", 20, 1),
    ("A4415", 20, 1),
    ("A4416", 60, 1),
    ("A4417", 60, 1),
    ("A4418", 60, 1),
    ("A4419", 60, 1),
    ("A4420", 60, 1),
    ("A4423", 60, 1),
    ("A4424", 20, 1),
    ("A4425", 20, 1),
    ("A4426", 20, 1),
    ("A4427", 20, 1),
    ("A4429", 20, 1),
    ("A4431", 20, 1),
    ("A4432", 20, 1),
    ("A4433", 20, 1),
    ("A4434", 20, 1),
    ("A4436", 1, 1),
    ("A4437", 1, 1),
    ("A4397", 4, 1),
    ("A4450", 40, 1),
    ("A4452", 40, 1),
    ("A5051", 60, 1),
    ("A5052", 60, 1),
    ("A5053", 60, 1),
    ("A5054", 60, 1),
    ("A5055", 31, 1),
    ("A5056", 40, 1),
    ("A5057", 40, 1),
    ("A5061", 20, 1),
    ("A5062", 20, 1),
    ("A5063", 20, 1),
    ("A5071", 20, 1),
    ("A5072", 20, 1),
    ("A5073", 20, 1),
    ("A5081", 31, 1),
    ("A5082", 1, 1),
    ("A5083", 150, 1),
    ("A5093", 10, 1),
    ("A5121", 20, 1),
    ("A5122", 20, 1),
    ("A5126", 20, 1),
    ("A5131", 1, 1),
    ("A6216", 60, 1),
    ("A4361", 3, 6),
    ("A4371", 10, 6),
    ("A4398", 2, 6),
    ("A4399", 2, 6),
    ("A4455", 16, 6),
    ("A5102", 2, 6),
    ("A5120", 150, 6),
];

/// Codes of the stoma group for which the table gives no maximum.
const NO_MAXIMUM: &[&str] = &[
    "A4363", "A4366", "A4368", "A4372", "A4373", "A4375", "A4376", "A4378", "A4379", "A4380", "A4382", "A4383",
    "A4384", "A4385", "A4387", "A4388", "A4389", "A4390", "A4391", "A4392", "A4393", "A4394", "A4395", "A4396",
    "A4400", "A4407", "A4408", "A4409", "A4410", "A4411", "A4412", "A4413", "A4421", "A4422", "A4428", "A4430",
    "A4435", "A4456",
];

/// What one of a code is, where it is not the piece (HCPCS Level II 2020).
const UNITS: &[(&str, Counts)] = &[
    ("A4364", Counts::FluidOunce),
    ("A4369", Counts::FluidOunce),
    ("A4402", Counts::FluidOunce),
    ("A4405", Counts::Ounce),
    ("A4406", Counts::Ounce),
    ("A4371", Counts::Ounce),
    ("A4455", Counts::FluidOunce),
    ("A4436", Counts::MonthAllowance),
    ("A4437", Counts::MonthAllowance),
    ("A4450", Counts::SquareInches),
    ("A4452", Counts::SquareInches),
    ("A5131", Counts::SixteenFluidOunces),
];

#[test]
fn every_row_of_the_coverage_table() {
    let set = shipped_set(SetId::UsCoverage).expect("the set");
    for (code, figure, months) in TABLE {
        let row = set.row_by_code(code).unwrap_or_else(|| panic!("{code} is missing"));
        assert_eq!(row.printed.high, Some(i64::from(*figure).into()), "{code}");
        assert_eq!((row.printed.low, row.printed.ceiling, row.exact), (None, None, row.printed), "{code}");
        assert_eq!(row.period, Some(if *months == 6 { SetPeriod::SixMonths } else { SetPeriod::Month }), "{code}");
        let unit = UNITS.iter().find(|(known, _)| known == code).map_or(Counts::Unit, |(_, unit)| *unit);
        assert_eq!(row.counts, unit, "{code}");
        // Through the door of the command: a named code is counted in its own unit, whatever the item.
        let named = |units: u32| with(line("dry-wipe", units, 30 * months), json!({"hcpcs": code}));
        let at = verdict("ileostomy", "us-coverage", named(*figure));
        assert_eq!((&at["verdict"], &at["high"], &at["code"]), (&json!("in-range"), &json!(figure), &json!(code)));
        assert_eq!(at["period"], if *months == 6 { "six-months" } else { "month" });
        assert_eq!(band("ileostomy", "us-coverage", named(figure + 1)), "over", "{code}");
    }
    let in_file = set.rows.iter().filter(|row| row.code.is_some() && row.period.is_some()).count();
    assert_eq!(in_file, TABLE.len(), "no row that the table does not have");
}

#[test]
fn a_code_without_a_maximum_never_has_one() {
    for code in NO_MAXIMUM {
        let found = verdict("ileostomy", "us-coverage", with(line("dry-wipe", 10_000, 1), json!({"hcpcs": code})));
        assert_eq!((&found["verdict"], &found["code"]), (&json!("no-published-limit"), &json!(code)));
        for figure in ["low", "high", "ceiling", "period", "period_days"] {
            assert_eq!(found[figure], Value::Null, "{code} {figure}");
        }
    }
    let set = shipped_set(SetId::UsCoverage).expect("the set");
    let in_file = set.rows.iter().filter(|row| row.code.is_some() && row.period.is_none()).count();
    assert_eq!(in_file, NO_MAXIMUM.len());
}

/// What a line without a code is taken for: the row of the standard-wear flat item.
#[test]
fn an_item_without_a_code_is_taken_for_the_plain_one() {
    for (item, code, figure, months) in [
        ("one-piece-closed", "A5051", 60, 1),
        ("one-piece-drainable", "A5061", 20, 1),
        ("one-piece-urostomy", "A5071", 20, 1),
        ("two-piece-closed-pouch", "A5054", 60, 1),
        ("two-piece-drainable-pouch", "A5063", 20, 1),
        ("two-piece-urostomy-pouch", "A5073", 20, 1),
        ("flange", "A4414", 20, 1),
        ("night-bag", "A4357", 2, 1),
        ("barrier-film-wipe", "A5120", 150, 6),
        ("ring", "A4404", 10, 1),
        ("belt", "A4367", 1, 1),
        ("convex-insert", "A5093", 10, 1),
        ("stoma-plug", "A5081", 31, 1),
        ("stoma-cap", "A5055", 31, 1),
    ] {
        let at = verdict("colostomy", "us-coverage", line(item, figure, 30 * months));
        assert_eq!(
            (&at["verdict"], &at["code"], &at["high"]),
            (&json!("in-range"), &json!(code), &json!(figure)),
            "{item}"
        );
        assert_eq!(band("colostomy", "us-coverage", line(item, figure + 1, 30 * months)), "over", "{item}");
    }
    for (item, code) in [
        ("deodorant", Some("A4394")),
        ("support-garment", Some("A4396")),
        ("irrigation-kit", Some("A4400")),
        ("thickener", Some("A4422")),
        ("adhesive-remover-wipe", Some("A4456")),
        ("leg-bag", None),
        ("irrigation-sleeve", None),
        ("strip-paste", None),
        ("barrier-cream", None),
        ("disposal-bag", None),
    ] {
        let none = verdict("colostomy", "us-coverage", line(item, 99, 1));
        assert_eq!((&none["verdict"], &none["code"]), (&json!("no-published-limit"), &json!(code)), "{item}");
    }
}

/// Convex pouches have their own rows (closed A4417, drainable A5057, urostomy A4429); extended wear allows 40 drainable
/// (A5056); no convex or extended-wear flange has a maximum.
#[test]
fn shape_and_wear_choose_the_row() {
    let code = |item: &str, more: Value| {
        let found = verdict("ileostomy", "us-coverage", with(line(item, 1, 1), more));
        (found["code"].clone(), found["high"].clone())
    };
    let convex = || json!({"convexity": "light-convex"});
    assert_eq!(code("one-piece-closed", convex()), (json!("A4417"), json!(60)));
    assert_eq!(code("one-piece-drainable", convex()), (json!("A5057"), json!(40)));
    assert_eq!(code("one-piece-urostomy", convex()), (json!("A4429"), json!(20)));
    assert_eq!(code("one-piece-drainable", json!({"wear": "extended"})), (json!("A5056"), json!(40)));
    assert_eq!(code("one-piece-drainable", json!({"convexity": "flat"})), (json!("A5061"), json!(20)));
    assert_eq!(code("flange", convex()), (Value::Null, Value::Null));
    assert_eq!(code("flange", json!({"wear": "extended"})), (Value::Null, Value::Null));
    // A named code wins over the item.
    assert_eq!(code("one-piece-drainable", json!({"hcpcs": "A5056"})), (json!("A5056"), json!(40)));
    assert_eq!(code("one-piece-drainable", json!({"hcpcs": "A5051"})), (json!("A5051"), json!(60)));
}

/// Paste 4 oz a month: one tube of 60 g is 2.12 oz, two are over. Powder 10 oz in six months: 11 bottles of 25 g within,
/// 12 over. Remover 16 fl oz in six months: 9 cans of 50 mL within, 10 over.
#[test]
fn ounces_are_counted_over_the_whole_period() {
    let answer = |item: &str, units: u32, days: u32, more: Value| {
        band("ileostomy", "us-coverage", with(line(item, units, days), more))
    };
    let tube = || json!({"content_g": 60});
    assert_eq!(answer("paste", 1, 30, tube()), "in-range");
    assert_eq!(answer("paste", 2, 30, tube()), "over");
    assert_eq!(answer("powder", 11, 180, json!({"content_g": 25})), "in-range");
    assert_eq!(answer("powder", 12, 180, json!({"content_g": 25})), "over");
    assert_eq!(answer("adhesive-remover-spray", 9, 180, json!({"content_ml": 50})), "in-range");
    assert_eq!(answer("adhesive-remover-spray", 10, 180, json!({"content_ml": 50})), "over");
    // With the code and the content, units are converted; with the code alone they are ounces.
    assert_eq!(answer("paste", 2, 30, json!({"content_g": 60, "hcpcs": "A4406"})), "over");
    assert_eq!(answer("paste", 4, 30, json!({"hcpcs": "A4406"})), "in-range");
    assert_eq!(answer("paste", 5, 30, json!({"hcpcs": "A4406"})), "over");
    // Without either nothing can be compared, and the verdict says what is missing.
    let blind = verdict("ileostomy", "us-coverage", line("powder", 1, 30));
    assert_eq!(blind["verdict"], "no-published-limit");
    assert!(blind["note"].as_str().is_some_and(|note| note.contains("content_g")), "{blind}");
    // The wrong measure is no measure.
    let blind = verdict("ileostomy", "us-coverage", with(line("powder", 1, 30), json!({"content_ml": 25})));
    assert_eq!(blind["verdict"], "no-published-limit");
}

/// The typed door has no input check: a code that counts ounces and a content in millilitres compare with nothing.
#[test]
fn a_named_code_with_the_wrong_measure_is_not_compared() {
    let asked = request("ileostomy", &["us-coverage"], json!([with(line("paste", 1, 30), json!({"hcpcs": "A4405"}))]));
    let mut asked = read_request(&asked).expect("a good request");
    assert_eq!(decide_supply(&asked).lines[0].verdicts[0].band, Band::InRange);
    asked.lines[0].content_ml = Some(60);
    assert_eq!(decide_supply(&asked).lines[0].verdicts[0].band, Band::NoPublishedLimit);
}

#[test]
fn a_code_of_another_item_is_pointed_out() {
    let rules = |item: &str, code: &str| {
        let answer =
            decided(&request("ileostomy", &["us-coverage"], json!([with(line(item, 1, 3), json!({"hcpcs": code}))])));
        answer["findings"].as_array().expect("findings").iter().any(|found| found["rule"] == "code-of-another-item")
    };
    assert!(rules("one-piece-drainable", "A5051"));
    assert!(!rules("one-piece-drainable", "A4424"));
    assert!(!rules("strip-paste", "A4405"));
    assert!(!rules("dry-wipe", "A6216"), "a code that stands for no item of ours contradicts none");
}
