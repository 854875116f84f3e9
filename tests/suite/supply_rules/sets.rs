//! The quantity sets, against the published figures themselves.

use num_rational::Ratio;
use proptest::prelude::*;
use roundel::supplies::rules::{Band, Limits, parse_set, verdict_in_words};
use serde_json::{Value, json};

use super::{band, decided, line, plan, request, verdict, with};

/// `figure` a period of `days` is in range and shown, one more is `beyond`.
fn boundary(kind: &str, set: &str, item: &Value, figure: u32, days: u32, beyond: &str) {
    let used = |units: u32| with(item.clone(), json!({"pack": 10, "use": {"units": units, "every_days": days}}));
    let at = verdict(kind, set, used(figure));
    assert_eq!((&at["verdict"], &at["high"]), (&json!("in-range"), &json!(figure)), "{set} {item} {kind} at {figure}");
    assert_eq!(band(kind, set, used(figure + 1)), beyond, "{set} {item} {kind} at {figure} and one more");
}

/// Scottish Government review 2015, Appendix 1: expected a year of 52 weeks; alert "more than 25% above".
/// Columns: kind, item, expected, last amount without an alert, first with one (printed: 1,138 and 260).
#[test]
fn scotland_expects_and_alerts() {
    let table = [
        ("colostomy", "one-piece-closed", 910, 1_137, 1_138),
        ("colostomy", "one-piece-drainable", 910, 1_137, 1_138),
        ("ileostomy", "one-piece-drainable", 208, 260, 261),
        ("ileostomy", "one-piece-closed", 208, 260, 261),
        ("urostomy", "one-piece-urostomy", 208, 260, 261),
        ("colostomy", "two-piece-closed-pouch", 910, 1_137, 1_138),
        ("ileostomy", "two-piece-drainable-pouch", 910, 1_137, 1_138),
        ("urostomy", "two-piece-urostomy-pouch", 910, 1_137, 1_138),
    ];
    for (kind, item, expected, last, first) in table {
        boundary(kind, "scotland-2015", &json!({"item": item}), expected, 364, "above-usual");
        assert_eq!(band(kind, "scotland-2015", line(item, last, 364)), "above-usual", "{item} {last}");
        assert_eq!(band(kind, "scotland-2015", line(item, first, 364)), "over", "{item} {first}");
    }
    // 2.5 a day and 4 a week are the expected use itself.
    assert_eq!(band("colostomy", "scotland-2015", line("one-piece-closed", 5, 2)), "in-range");
    assert_eq!(band("ileostomy", "scotland-2015", line("one-piece-drainable", 4, 7)), "in-range");
    // 365 days would make 4 a week into 208.57 and an alert of a calendar year: the table's year is 52 weeks.
    assert_eq!(band("ileostomy", "scotland-2015", line("one-piece-drainable", 5, 7)), "above-usual");
    assert_eq!(band("ileostomy", "scotland-2015", line("flange", 1, 1)), "no-published-limit");
}

/// The same table, colostomy and urostomy together: 21.5 a week, 1,118 a year, alert printed 1,398.
#[test]
fn scotland_counts_a_colostomy_and_a_urostomy_together() {
    let together = |closed: u32, tap: u32| {
        let mut both = request(
            "colostomy",
            &["scotland-2015"],
            json!([
                line("one-piece-closed", closed, 364),
                line("one-piece-urostomy", tap, 364),
                line("night-bag", 1, 7)
            ]),
        );
        both["stoma"]["with_urostomy"] = json!(true);
        let lines = decided(&both)["lines"].clone();
        let code = |index: usize| lines[index]["verdicts"][0]["verdict"].as_str().expect("verdict").to_owned();
        assert_eq!(lines[0]["verdicts"][0]["high"], 1_118);
        assert_eq!(lines[0]["verdicts"][0]["shared_with"], json!([1]));
        assert_eq!(code(2), "no-published-limit");
        assert_eq!(code(0), code(1), "one allowance, one answer");
        code(0)
    };
    assert_eq!(together(910, 208), "in-range");
    assert_eq!(together(910, 209), "above-usual");
    assert_eq!(together(1_137, 260), "above-usual", "1,397");
    assert_eq!(together(1_138, 260), "over", "1,398, as printed");
}

/// Doncaster and Bassetlaw guide, amounts per month: 60 flat closed, 30 flat urostomy, two-piece urostomy 10 pouches
/// and 10 flanges, 5 night bags; every other cell is blank.
#[test]
fn doncaster_gives_five_figures() {
    for (kind, item, figure) in [
        ("colostomy", "one-piece-closed", 60),
        ("urostomy", "one-piece-urostomy", 30),
        ("urostomy", "two-piece-urostomy-pouch", 10),
        ("urostomy", "flange", 10),
        ("urostomy", "night-bag", 5),
    ] {
        boundary(kind, "doncaster", &json!({"item": item}), figure, 30, "over");
    }
    let none = |kind, line| assert_eq!(band(kind, "doncaster", line), "no-published-limit");
    none("colostomy", with(line("one-piece-closed", 9, 1), json!({"convexity": "soft-convex"})));
    none("urostomy", with(line("one-piece-urostomy", 9, 1), json!({"convexity": "convex"})));
    none("ileostomy", line("one-piece-drainable", 9, 1));
    none("colostomy", line("flange", 9, 1));
    none("colostomy", line("two-piece-closed-pouch", 9, 1));
}

/// Australian scheme as given by the Queensland association, maximum per month.
#[test]
fn australia_gives_a_maximum_a_month() {
    let convex = json!({"convexity": "convex"});
    for (kind, item, more, figure) in [
        ("colostomy", "one-piece-closed", json!({}), 90),
        ("colostomy", "one-piece-closed", convex.clone(), 60),
        ("ileostomy", "one-piece-drainable", json!({}), 30),
        ("ileostomy", "one-piece-drainable", convex.clone(), 30),
        ("urostomy", "one-piece-urostomy", convex, 30),
        ("ileostomy", "flange", json!({"wear": "standard"}), 30),
        ("ileostomy", "flange", json!({"wear": "extended"}), 20),
        ("ileostomy", "flange", json!({"wear": "mouldable"}), 20),
    ] {
        boundary(kind, "australia-scheme", &with(json!({"item": item}), more), figure, 30, "over");
    }
    // 40 or 60 by product; a flange of unstated wear 20 or 30: between the two the product decides.
    boundary("urostomy", "australia-scheme", &json!({"item": "one-piece-urostomy"}), 40, 30, "above-usual");
    assert_eq!(band("urostomy", "australia-scheme", line("one-piece-urostomy", 60, 30)), "above-usual");
    assert_eq!(band("urostomy", "australia-scheme", line("one-piece-urostomy", 61, 30)), "over");
    boundary("ileostomy", "australia-scheme", &json!({"item": "flange"}), 20, 30, "above-usual");
    assert_eq!(band("ileostomy", "australia-scheme", line("flange", 31, 30)), "over");
    // Cut off in what was read.
    assert_eq!(band("colostomy", "australia-scheme", line("two-piece-closed-pouch", 99, 1)), "no-published-limit");
}

/// One allowance per purpose. 60 of 90 flat and 20 of 60 convex closed pouches are exactly the whole; 21 are over.
#[test]
fn australia_shares_an_allowance_by_purpose() {
    let shared = |flat: u32, convex: u32, more: Value| {
        let convex = with(line("one-piece-closed", convex, 30), json!({"convexity": "convex"}));
        let lines = json!([line("one-piece-closed", flat, 30), convex, more]);
        let answer = plan(&request("colostomy", &["australia-scheme"], lines));
        answer.lines.iter().map(|line| line.verdicts[0].band).collect::<Vec<_>>()
    };
    let other = || line("night-bag", 1, 1);
    assert_eq!(shared(60, 20, other()), [Band::InRange, Band::InRange, Band::NoPublishedLimit]);
    assert_eq!(shared(60, 21, other()), [Band::Over, Band::Over, Band::NoPublishedLimit]);
    assert_eq!(shared(61, 20, other()), [Band::Over, Band::Over, Band::NoPublishedLimit]);
    // A flange serves another purpose and has its own allowance.
    let flange = || with(line("flange", 30, 30), json!({"wear": "standard"}));
    assert_eq!(shared(60, 20, flange()), [Band::InRange, Band::InRange, Band::InRange]);
    // A drainable pouch serves the same: 60/90 + 20/60 + 1/30 is over.
    assert_eq!(shared(60, 20, line("one-piece-drainable", 1, 30)), [Band::Over, Band::Over, Band::Over]);
}

/// A urostomy pouch has 40 or 60 by product: two lines of 30 are the whole of 60.
#[test]
fn australia_shares_up_to_the_larger_figure() {
    let bands = |one: u32, other: u32| {
        let lines = json!([line("one-piece-urostomy", one, 30), line("one-piece-urostomy", other, 30)]);
        let answer = plan(&request("urostomy", &["australia-scheme"], lines));
        answer.lines.iter().map(|line| line.verdicts[0].band).collect::<Vec<_>>()
    };
    assert_eq!(bands(20, 20), [Band::InRange; 2]);
    assert_eq!(bands(20, 21), [Band::AboveUsual; 2]);
    assert_eq!(bands(30, 30), [Band::AboveUsual; 2]);
    assert_eq!(bands(30, 31), [Band::Over; 2]);
}

/// A sum that cannot be written in 64 bits is never called in range.
#[test]
fn an_allowance_that_cannot_be_added_is_looked_at_by_a_person() {
    let days = [3_643, 3_637, 3_631, 3_623, 3_617, 3_613, 3_607];
    let lines: Vec<Value> = days.iter().map(|days| line("one-piece-closed", 1, *days)).collect();
    let answer = plan(&request("colostomy", &["australia-scheme"], json!(lines)));
    assert!(answer.lines.iter().all(|line| line.verdicts[0].band == Band::Over));
    assert!(verdict_in_words(&answer.lines[0].verdicts[0]).contains("together with line 2, 3"));
}

/// The table that many English guidance documents share (from memory, as its standing says).
/// Columns: kind, item, low, high, days, printed high when it differs.
#[test]
fn the_english_template() {
    let table = [
        ("colostomy", "one-piece-closed", Some(30), 90, 30),
        ("colostomy", "two-piece-closed-pouch", Some(30), 90, 30),
        ("ileostomy", "one-piece-drainable", Some(15), 30, 30),
        ("ileostomy", "two-piece-drainable-pouch", Some(15), 30, 30),
        ("urostomy", "one-piece-urostomy", Some(10), 20, 30),
        ("urostomy", "two-piece-urostomy-pouch", Some(10), 20, 30),
        ("colostomy", "flange", Some(10), 15, 30),
        ("colostomy", "irrigation-kit", None, 1, 365),
        ("colostomy", "irrigation-sleeve", Some(15), 30, 30),
        ("colostomy", "stoma-cap", None, 30, 30),
        ("ileostomy", "belt", None, 3, 365),
        ("ileostomy", "support-garment", None, 3, 365),
        ("ileostomy", "adhesive-remover-spray", Some(1), 3, 30),
        ("ileostomy", "adhesive-remover-wipe", Some(30), 90, 30),
        ("ileostomy", "paste", None, 1, 30),
        ("ileostomy", "powder", None, 1, 30),
        ("ileostomy", "lubricating-deodorant", Some(1), 2, 30),
    ];
    for (kind, item, low, high, days) in table {
        boundary(kind, "england-template", &json!({"item": item}), high, days, "over");
        let at = |units, days| verdict(kind, "england-template", line(item, units, days));
        assert_eq!(at(high, days)["standing"], "from-memory");
        assert_eq!(at(high, days)["low"], json!(low), "{item}");
        if let Some(low) = low {
            assert_eq!(at(low, days)["verdict"], "in-range", "{item}");
            assert_eq!(at(low, days + 1)["verdict"], "under", "{item}");
        } else {
            assert_eq!(at(1, 3_650)["verdict"], "in-range", "{item}: no low, never under");
        }
    }
    for item in ["barrier-film-wipe", "barrier-film-spray", "barrier-cream", "strip-paste", "deodorant", "thickener"] {
        let none = verdict("ileostomy", "england-template", line(item, 9, 1));
        assert_eq!((&none["verdict"], &none["high"]), (&json!("no-published-limit"), &Value::Null), "{item}");
        assert!(none["note"].is_string());
    }
    for item in ["disposal-bag", "dry-wipe"] {
        assert_eq!(band("ileostomy", "england-template", line(item, 9, 1)), "no-published-limit");
    }
    assert_eq!(band("colostomy", "england-template", line("one-piece-drainable", 1, 1)), "no-published-limit");
}

/// The same table prints 4 night bags at one a week and about 4 leg bags at one every 5 to 7 days.
#[test]
fn a_weekly_bag_is_what_the_table_means_by_four() {
    let night = verdict("urostomy", "england-template", line("night-bag", 1, 7));
    assert_eq!((&night["verdict"], &night["high"]), (&json!("in-range"), &json!(4)));
    assert_eq!(band("urostomy", "england-template", line("night-bag", 1, 6)), "over");
    assert_eq!(band("urostomy", "england-template", line("leg-bag", 1, 5)), "in-range");
    assert_eq!(band("urostomy", "england-template", line("leg-bag", 1, 4)), "over");
}

/// The same table: up to 3 packs of extenders; one ring with each change of the plate.
#[test]
fn packs_and_plate_changes_are_counted_as_such() {
    let extenders = |units: u32| with(line("flange-extender", units, 30), json!({"pack": 20}));
    assert_eq!(band("ileostomy", "england-template", extenders(60)), "in-range");
    assert_eq!(band("ileostomy", "england-template", extenders(61)), "over");
    let rings = |rings: Value, others: Vec<Value>| {
        let lines: Vec<Value> = std::iter::once(rings).chain(others).collect();
        decided(&request("ileostomy", &["england-template"], json!(lines)))["lines"][0]["verdicts"][0].clone()
    };
    let pouch = || line("one-piece-drainable", 1, 2);
    let good = rings(line("ring", 1, 2), vec![pouch()]);
    assert_eq!(
        (&good["verdict"], &good["high"], &good["period"]),
        (&json!("in-range"), &json!(1), &json!("plate-change"))
    );
    assert_eq!(good["period_days"], Value::Null);
    assert_eq!(rings(line("ring", 2, 3), vec![pouch()])["verdict"], "over");
    assert_eq!(rings(line("ring", 2, 3), vec![pouch(), line("flange", 1, 4)])["verdict"], "in-range");
    let two_piece = vec![line("two-piece-drainable-pouch", 1, 1)];
    assert_eq!(rings(line("ring", 1, 2), two_piece)["verdict"], "no-published-limit", "no plate is ordered");
}

/// One order, five published answers.
#[test]
fn the_same_order_is_judged_differently_by_different_sets() {
    let sets = ["us-coverage", "australia-scheme", "doncaster", "england-template", "scotland-2015"];
    let answers = |kind: &str, line: Value| -> Vec<String> {
        let answer = decided(&request(kind, &sets, json!([line])));
        let verdicts = answer["lines"][0]["verdicts"].as_array().expect("verdicts").clone();
        verdicts.iter().map(|verdict| verdict["verdict"].as_str().expect("code").to_owned()).collect()
    };
    // Closed, 3 a day: 90 a month, 1,092 in 52 weeks.
    let closed = answers("colostomy", line("one-piece-closed", 3, 1));
    assert_eq!(closed, ["over", "in-range", "over", "in-range", "above-usual"]);
    // Urostomy, one a day: 30 a month, 364 in 52 weeks.
    let urostomy = answers("urostomy", line("one-piece-urostomy", 1, 1));
    assert_eq!(urostomy, ["over", "in-range", "in-range", "over", "over"]);
    // Night bag every 10 days: 3 a month.
    let night = answers("urostomy", line("night-bag", 1, 10));
    assert_eq!(night, ["over", "no-published-limit", "in-range", "in-range", "no-published-limit"]);
}

/// The project's suggested bands (to be signed off by a nurse): below low, up to high, up to ceiling, beyond. The table
/// is written as a set of its own, as a service would, and read back through the same door.
#[test]
fn a_service_can_state_low_high_and_ceiling() {
    let table = [
        ("one-piece-closed", 30, 90, 90),
        ("one-piece-drainable", 15, 30, 30),
        ("one-piece-urostomy", 10, 20, 40),
        ("two-piece-closed-pouch", 30, 90, 90),
        ("flange", 10, 15, 30),
        ("night-bag", 4, 5, 10),
    ];
    let head = "id='own'\ntitle='Own'\nfrom='own'\n[sources.own]\nsource='us'\nyear='2026'\nstanding='local'\n";
    let rows = table.map(|(item, low, high, ceiling)| {
        let figures = format!("low={low}\nhigh={high}\nceiling={ceiling}\nperiod='month'");
        format!("[[rows]]\nwords='{item}'\nitems=['{item}']\n{figures}\nfrom='own'\n")
    });
    let text = format!("{head}{}", rows.concat());
    let set = parse_set(&text).expect("a good set");
    let judged = |item: &str, units: u32| {
        let request = request("ileostomy", &[], json!([line(item, units, 30)]));
        let request = roundel::supplies::rules::read_request(&request).expect("a good request");
        roundel::supplies::rules::decide_supply_with(&request, &[&set]).lines[0].verdicts[0].band
    };
    for (item, low, high, ceiling) in table {
        assert_eq!(judged(item, low - 1), Band::Under);
        assert_eq!(judged(item, low), Band::InRange);
        assert_eq!(judged(item, high), Band::InRange);
        assert_eq!(judged(item, ceiling + 1), Band::Over);
        let between = if ceiling > high { Band::AboveUsual } else { Band::Over };
        assert_eq!(judged(item, high + 1), between);
        assert_eq!(judged(item, ceiling), if ceiling > high { Band::AboveUsual } else { Band::InRange });
    }
    assert_eq!(judged("powder", 9), Band::NoPublishedLimit);
}

#[test]
fn verdicts_read_as_sentences() {
    let words =
        |kind: &str, set: &str, line: Value| verdict(kind, set, line)["text"].as_str().expect("text").to_owned();
    assert_eq!(
        words("ileostomy", "us-coverage", line("one-piece-drainable", 1, 3)),
        "in range: 10 a month, usual up to 20"
    );
    assert_eq!(
        words("ileostomy", "england-template", line("one-piece-drainable", 1, 3)),
        "less than usual: 10 a month, usual 15 to 30"
    );
    assert_eq!(
        words("colostomy", "scotland-2015", line("one-piece-closed", 4, 1)),
        "over: review: 1456 a year, usual up to 910, review beyond 1137.5"
    );
    assert_eq!(words("ileostomy", "doncaster", line("belt", 1, 365)), "no published limit");
}

proptest! {
    /// Verdicts depend on the rate alone, not on pack, stock or period; and more use is never a milder verdict.
    #[test]
    fn verdicts_follow_the_rate(
        item in 0_usize..6, units in 1_u32..=200, more in 0_u32..=50, days in 1_u32..=60, pack in 1_u32..=100,
        period in 1_u16..=366, on_hand in 0_u32..=500,
    ) {
        let items = ["one-piece-closed", "one-piece-drainable", "one-piece-urostomy", "flange", "night-bag", "belt"];
        let sets = ["scotland-2015", "us-coverage", "australia-scheme", "doncaster", "england-template"];
        let judged = |units: u32, pack: u32, period: u16, on_hand: u32| {
            let mut asked = request("colostomy", &sets, json!([with(
                line(items[item], units, days), json!({"pack": pack, "on_hand": on_hand}))]));
            asked["period_days"] = json!(period);
            plan(&asked).lines[0].verdicts.iter().map(|verdict| verdict.band).collect::<Vec<_>>()
        };
        let base = judged(units, pack, period, on_hand);
        prop_assert_eq!(&base, &judged(units, 1, 28, 0));
        for (less, more) in base.iter().zip(judged(units + more, pack, period, on_hand)) {
            prop_assert!(*less <= more, "{:?} then {:?}", less, more);
        }
    }
}

#[test]
fn a_set_that_cannot_be_compared_is_refused() {
    let head = "id='own'\ntitle='Own'\nfrom='own'\n[sources.own]\nsource='us'\nyear='2026'\nstanding='local'\n";
    let row = |row: &str| parse_set(&format!("{head}[[rows]]\nwords='row'\nitems=['belt']\nfrom='own'\n{row}"));
    assert!(row("high=3\nperiod='month'").is_ok());
    for bad in [
        "high=0\nperiod='month'",
        "high=-3\nperiod='month'",
        "high=2.5\nperiod='month'",
        "high='3/0'\nperiod='month'",
        "high=3",
        "period='month'",
        "high=3\nperiod='fortnight'",
        "low=4\nhigh=3\nperiod='month'",
        "high=3\nceiling=2\nperiod='month'",
        "low=3\nceiling=4\nperiod='month'",
        "high=3\nperiod='month'\nmaximum=4",
        "high=3\nperiod='month'\nkinds=['fistula']",
        "high=3\nperiod='month'\ndefault_for=['flange']",
    ] {
        assert!(row(bad).is_err(), "{bad}");
    }
    let error = row("high=3\nperiod='fortnight'").expect_err("refused").to_string();
    assert!(error.contains("own.toml") && error.contains("fortnight"), "{error}");
    let limits = Limits { low: None, high: Some(Ratio::from_integer(3)), ceiling: None };
    assert_eq!(limits.top(), limits.high);
}
