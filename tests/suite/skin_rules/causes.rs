//! Causes, codes, fit, map in words, agreement: the data against its sources and against other libraries.

use std::collections::BTreeSet;
use std::io::Write;
use std::process::{Command, Stdio};

use proptest::prelude::*;
use roundel::skin::rules::calibration::{self, Cases};
use roundel::skin::rules::causes::{self, Causes};
use roundel::skin::rules::kappa::{Weights, in_words, weighted_kappa};
use roundel::skin::rules::map_words::{compare, describe, hours_words};
use roundel::skin::rules::signs::{Seen, signs};
use roundel::skin::rules::*;
use serde_json::{Value, json};

fn suggested(found: &[&str]) -> Vec<String> {
    let found: BTreeSet<String> = found.iter().map(ToString::to_string).collect();
    causes::shipped().unwrap().suggest(&found).into_iter().map(|s| s.cause.id.clone()).collect()
}

/// Starts an oracle of `tests/outside` and answers the JSON lines it prints for what it is given.
fn ask(script: &str, input: &str) -> Vec<Value> {
    let python = std::env::var("ROUNDEL_TEST_PYTHON")
        .expect("ROUNDEL_TEST_PYTHON is not set: run tests/run, it makes the Python environment");
    let path = format!("{}/tests/outside/{script}", env!("CARGO_MANIFEST_DIR"));
    let mut child = Command::new(&python)
        .arg(path)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the oracle must start");
    child.stdin.take().unwrap().write_all(input.as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "{script} failed");
    String::from_utf8(output.stdout).unwrap().lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

#[test]
fn every_cause_has_signs_step_escalation_and_source() {
    let set = causes::shipped().unwrap();
    // Rows of the table that the data was made from: thirteen.
    assert_eq!(set.causes.len(), 13);
    for cause in &set.causes {
        for text in [&cause.title, &cause.first_step, &cause.escalate] {
            assert!(text.chars().count() > 3, "{}", cause.id);
        }
        assert!(!cause.source.source.is_empty() && !cause.step_source.source.is_empty());
        // No doses in the product.
        for text in [&cause.first_step, &cause.escalate] {
            assert!(!text.contains(" mg") && !text.contains("dose"), "{}", cause.id);
        }
    }
    assert!(set.asked().count() >= 15);
    assert_eq!(set.words("yeast"), "Yeast");
    assert_eq!(set.words("not-clear"), "Not clear yet");
}

#[test]
fn signs_lead_to_the_causes_that_teaching_names() {
    // After the recognising signs in: Colwell 2011 (moisture), LeBlanc 2019 (adhesive), Berry 2019 (allergy, yeast, hair
    // roots, infection), Northern Care Alliance leaflet (painful ulcer), Ostomy Files 2006 (overgrowth).
    assert_eq!(suggested(&["next-to-stoma", "leaks", "eroded", "burning"])[0], "output-on-skin");
    assert_eq!(suggested(&["torn-on-removal", "edge-only", "eroded"]), ["stripping"]);
    assert_eq!(suggested(&["product-outline", "new-product", "itch", "whole-plate"])[0], "allergy");
    assert_eq!(suggested(&["satellites", "itch", "antibiotics"])[0], "yeast");
    assert_eq!(suggested(&["at-hairs", "shaving"])[0], "hair-roots");
    assert_eq!(suggested(&["warty", "opening-wide", "urostomy"])[0], "moisture-overgrowth");
    assert_eq!(suggested(&["soft-beads", "bleeding"])[0], "granuloma");
    // What somebody else must see stands first, however much speaks for the rest.
    let mixed = suggested(&["next-to-stoma", "leaks", "eroded", "burning", "rapid-painful-ulcer"]);
    assert_eq!(mixed[0], "painful-ulcer");
    assert!(mixed.contains(&"output-on-skin".to_owned()));
    // Nothing found suggests nothing; a sign against is shown and not hidden.
    assert!(suggested(&[]).is_empty());
    assert!(suggested(&["eroded", "pain"]).is_empty(), "signs without a place suggest nothing");
    let found: BTreeSet<String> = ["leaks", "satellites"].map(str::to_owned).into();
    let set = causes::shipped().unwrap();
    let output = set.suggest(&found).into_iter().find(|s| s.cause.id == "output-on-skin").unwrap();
    assert_eq!((output.speaks_for.len(), output.speaks_against.len()), (1, 1));
}

proptest! {
    #[test]
    fn the_same_signs_give_the_same_causes(picked in prop::collection::vec(0..45_usize, 0..12)) {
        let set = causes::shipped().unwrap();
        let found: BTreeSet<String> =
            picked.iter().filter_map(|n| set.signs.get(*n)).map(|sign| sign.id.clone()).collect();
        let first = set.suggest(&found);
        prop_assert_eq!(&first, &set.suggest(&found));
        for one in &first {
            prop_assert!(one.cause.needs.iter().any(|need| found.contains(need)));
            prop_assert!(!one.speaks_for.is_empty());
        }
        // Every cause that one of the signs makes possible is in the list: none is hidden.
        let possible = set.causes.iter().filter(|c| c.needs.iter().any(|n| found.contains(n))).count();
        prop_assert_eq!(first.len(), possible);
    }
}

#[test]
fn causes_that_cannot_be_read_are_refused() {
    let head = "version='1'\nfirst_for_all='x'\nfirst_for_all_source='x'\nfirst_for_all_standing='local'\n\
                answer=[]\n[[sign]]\nid='a'\nwords='a'\n";
    let row = |needs: &str, of: &str| {
        format!(
            "{head}[[cause]]\nid='c'\ntitle='c'\nneeds={needs}\nfor={of}\nagainst=[]\nfirst_step='s'\nescalate='e'\n\
             source='s'\nstanding='local'\n"
        )
    };
    assert!(Causes::from_toml(&row("['a']", "['a']")).is_ok());
    for (needs, of, why) in
        [("['a']", "[]", "must speak for it"), ("['b']", "['b']", "not a sign"), ("[]", "['a']", "no sign")]
    {
        let error = Causes::from_toml(&row(needs, of)).unwrap_err().to_string();
        assert!(error.contains(why), "{error}");
    }
    assert!(Causes::from_toml("version = 1").is_err());
}

#[test]
fn signs_follow_from_map_and_measures() {
    let cell = |hour, ring, finding| MapCell { hour, ring, finding };
    let of = |seen: Seen<'_>| signs(&seen);
    let inner = [cell(6, 1, Finding::Eroded)];
    let found = of(Seen { kind: "ileostomy", cells: &inner, leak_hour: Some(7), leaks: Some(5), ..Seen::default() });
    for sign in ["next-to-stoma", "along-leak", "eroded", "leaks"] {
        assert!(found.contains(sign), "{sign}: {found:?}");
    }
    assert!(!found.contains("edge-only") && !found.contains("whole-plate"));
    // The clock is closed: 12 lies beside 1 and 11.
    let top = [cell(12, 3, Finding::Discoloured)];
    for (leak, near) in [(1, true), (11, true), (12, true), (2, false), (6, false)] {
        let found = of(Seen { cells: &top, leak_hour: Some(leak), ..Seen::default() });
        assert_eq!(found.contains("along-leak"), near, "{leak}");
        assert!(found.contains("edge-only"));
    }
    // What was not asked makes no sign; a nought does.
    assert!(of(Seen::default()).is_empty());
    assert!(of(Seen { complaints: [Some(0), None, Some(0)], ..Seen::default() }).contains("no-itch"));
    let codes = ["separation-partial".to_owned(), "bleeding-stops-with-pressure".to_owned(), "flush".to_owned()];
    let found = of(Seen { codes: &codes, ..Seen::default() });
    assert!(["separation", "bleeding", "low-stoma"].iter().all(|sign| found.contains(*sign)), "{found:?}");
}

#[test]
fn the_opening_warns_outside_one_to_three_millimetres() {
    for (gap, id) in [
        (0.0, Some("opening-tight")),
        (0.9, Some("opening-tight")),
        (1.0, None),
        // Methodist Health System 2020: 1/16 to 1/8 inch clear all round is right.
        (1.6, None),
        (3.0, None),
        (3.2, Some("opening-wide")),
        (8.0, Some("opening-wide")),
    ] {
        assert_eq!(fit::opening(gap).map(|note| note.id), id, "{gap}");
    }
    // Persson et al. 2010: ileostomy below 20 mm, colostomy below 5 mm. Cottam et al. 2007: below 10 mm.
    for (kind, mm, low) in [
        ("ileostomy", 19, true),
        ("ileostomy", 20, false),
        ("colostomy", 4, true),
        ("colostomy", 5, false),
        ("urostomy", 9, true),
        ("urostomy", 10, false),
    ] {
        assert_eq!(fit::protrusion(kind, mm).is_some(), low, "{kind} {mm}");
    }
}

#[test]
fn codes_exist_are_billable_and_carry_their_titles() {
    let table = codes::shipped().unwrap();
    let all = table.all();
    assert!(all.len() > 25);
    let input: String = all.iter().map(|c| format!("{}\n", c.code)).collect();
    for (code, answer) in all.iter().zip(ask("codes_oracle.py", &input)) {
        assert_eq!((&answer["code"], &answer["exists"]), (&json!(code.code), &json!(true)));
        assert_eq!(answer["leaf"], true, "{} is a category", code.code);
        assert_eq!(answer["title"], json!(code.title), "{}", code.code);
    }
    // Codes that look right and are none.
    for answer in ask("codes_oracle.py", "L24.B4\nK94.04\nN99.54\nZ93.7\nZ43.10\nl24.b3\n") {
        assert_eq!(answer["exists"], false, "{answer}");
    }
}

#[test]
fn excludes1_is_what_the_classification_says() {
    let table = codes::shipped().unwrap();
    let codes = ["Z93.2", "Z93.3", "Z43.2", "Z43.3", "K94.02", "K94.12", "N99.521", "L24.B3", "L88", "Z93.6"];
    let input: String = codes.iter().map(|code| format!("{code}\n")).collect();
    let answers = ask("codes_oracle.py", &input);
    let notes = |at: usize| -> Vec<String> {
        answers[at]["excludes1"].as_array().unwrap().iter().map(|n| n.as_str().unwrap().to_owned()).collect()
    };
    // A note names ranges, "(J95.0-, K94.-, N99.5-)"; a code falls under it when it begins so.
    let named = |note: &str, code: &str| {
        note.split(|c: char| !(c.is_ascii_alphanumeric() || ".-".contains(c)))
            .filter(|part| part.ends_with('-'))
            .any(|part| code.starts_with(part.trim_end_matches('-').trim_end_matches('.')))
    };
    for (i, one) in codes.iter().enumerate() {
        for (k, other) in codes.iter().enumerate().filter(|(k, _)| *k != i) {
            let said = notes(i).iter().any(|n| named(n, other)) || notes(k).iter().any(|n| named(n, one));
            assert_eq!(table.exclude(one, other), said, "{one} and {other}");
        }
    }
    let found = table.of("ileostomy", Some("infection"), &[]);
    assert!(found.iter().any(|c| c.code == "K94.12") && found.iter().all(|c| c.code != "K94.02"));
    let with_status: Vec<_> = found.into_iter().chain(table.status("ileostomy")).collect();
    assert_eq!(table.conflicts(&with_status).len(), 1, "Z93.2 with K94.12");
    // The usual pair may stand together.
    let usual: Vec<_> =
        table.of("ileostomy", Some("output-on-skin"), &[]).into_iter().chain(table.status("ileostomy")).collect();
    assert_eq!(usual.iter().map(|c| c.code.as_str()).collect::<Vec<_>>(), ["L24.B3", "Z93.2"]);
    assert!(table.conflicts(&usual).is_empty());
}

#[test]
fn hours_and_maps_are_said_as_one_says_them() {
    for (hours, words) in [
        (vec![], ""),
        (vec![3], "3 o'clock"),
        (vec![3, 4], "3 and 4 o'clock"),
        (vec![4, 5, 6, 7], "4 to 7 o'clock"),
        (vec![11, 12, 1, 2], "11 to 2 o'clock"),
        (vec![12], "12 o'clock"),
        (vec![1, 2, 3, 6, 9, 10], "1 to 3, 6 and 9 and 10 o'clock"),
        ((1..=12).collect(), "all round"),
    ] {
        assert_eq!(hours_words(&hours), words, "{hours:?}");
    }
    let red = calibration::range(4, 7, &[1, 2], Finding::Discoloured);
    let raw = calibration::range(5, 6, &[1], Finding::Eroded);
    let both: Vec<MapCell> = red.iter().chain(&raw).copied().collect();
    assert_eq!(
        describe(&both),
        [
            "eroded 5 and 6 o'clock, next to the stoma",
            "discoloured 4 and 7 o'clock, next to the stoma",
            "discoloured 4 to 7 o'clock, in the middle",
        ]
    );
    let change = compare(&red, &both);
    assert_eq!(change.new, ["eroded 5 and 6 o'clock, next to the stoma"]);
    assert!(change.healed.is_empty());
    let back = compare(&both, &calibration::range(4, 7, &[2], Finding::Discoloured));
    assert_eq!(back.still, 4);
    assert!(back.new.is_empty() && back.healed.len() == 2, "{back:?}");
}

#[test]
fn ranges_run_clockwise_over_twelve() {
    let hours = |from, to| -> Vec<u8> {
        calibration::range(from, to, &[1], Finding::Discoloured).iter().map(|c| c.hour).collect()
    };
    assert_eq!(hours(4, 7), [4, 5, 6, 7]);
    assert_eq!(hours(11, 2), [11, 12, 1, 2]);
    assert_eq!(hours(12, 12), [12]);
    assert_eq!(hours(1, 12).len(), 12);
}

#[test]
fn the_reference_of_each_case_follows_from_its_drawing() {
    let cases = calibration::shipped().unwrap();
    assert!(cases.cases.len() >= 8);
    for case in &cases.cases {
        let map = SkinMap { stoma: calibration::STOMA, plate: calibration::PLATE, rings: 3, cells: case.cells.clone() };
        let shares = shares(&map).unwrap();
        for (domain, (area, _)) in Domain::ALL.into_iter().zip(case.reference) {
            assert_eq!(shares.area(domain).points(), area, "{} {domain:?} {shares:?}", case.id);
        }
    }
    assert!(Cases::from_toml("version = '1'").is_err());
}

#[test]
fn kappa_agrees_with_scikit_learn() {
    // Cohen, Psychol Bull 1968; worked out again by sklearn.metrics.cohen_kappa_score.
    let mut seed = 20_261_125_u64;
    let mut next = |below: u64| {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        u8::try_from((seed >> 33) % below).unwrap()
    };
    let mut tables = Vec::new();
    for count in 2..200 {
        let spread = 2 + u64::from(next(14));
        let pairs: Vec<(u8, u8)> = (0..count % 40 + 2)
            .map(|_| {
                let one = next(spread + 1);
                let other = if next(3) == 0 { next(spread + 1) } else { one };
                (one, other)
            })
            .collect();
        tables.push(pairs);
    }
    let input: String = tables.iter().map(|pairs| format!("{}\n", json!(pairs))).collect();
    let answers = ask("kappa_oracle.py", &input);
    assert_eq!(answers.len(), tables.len());
    let mut defined = 0;
    for (pairs, answer) in tables.iter().zip(answers) {
        for (weights, name) in [(Weights::Linear, "linear"), (Weights::Quadratic, "quadratic")] {
            match (weighted_kappa(pairs, weights), answer[name].as_f64()) {
                (Some(ours), Some(theirs)) => {
                    defined += 1;
                    assert!((ours - theirs).abs() < 1e-9, "{name} {ours} {theirs} {pairs:?}");
                }
                (None, None) => {}
                (ours, theirs) => panic!("{name}: {ours:?} and {theirs:?} for {pairs:?}"),
            }
        }
    }
    assert!(defined > 350, "{defined}");
    assert_eq!(weighted_kappa(&[], Weights::Linear), None);
    assert_eq!(weighted_kappa(&[(3, 3), (3, 3)], Weights::Linear), None);
    assert_eq!(weighted_kappa(&[(3, 3), (7, 7)], Weights::Linear), Some(1.0));
    // Jemec et al. 2011 call 0.54 between nurses moderate.
    assert_eq!(in_words(0.54), "moderate");
}
