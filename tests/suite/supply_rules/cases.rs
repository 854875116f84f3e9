//! Orders for the findings: for each rule one that calls it, and one beside it that does not.

use serde_json::{Value, json};

use super::{line, with};

/// An order: stoma, patient and lines; a kind of its own for each test.
pub fn order(stoma: Value, patient: Value, lines: &[Value]) -> Value {
    let stoma = with(json!({"kind": "colostomy"}), stoma);
    json!({"period_days": 28, "stoma": stoma, "patient": patient, "lines": lines})
}

pub fn one_piece() -> Value {
    line("one-piece-closed", 1, 1)
}

pub fn two_piece(more: Value) -> Value {
    with(line("two-piece-closed-pouch", 1, 1), more)
}

pub fn flange(more: Value) -> Value {
    with(line("flange", 1, 3), more)
}

pub fn opening(mm: f64) -> Vec<Value> {
    vec![with(one_piece(), json!({"aperture_mm": mm}))]
}

pub fn convex() -> Value {
    with(one_piece(), json!({"convexity": "soft-convex"}))
}

/// A rule; its level; the lines it names; an order that calls it; an order next to it that does not.
pub type Case = (&'static str, &'static str, &'static [u64], Value, Value);

fn system_cases() -> Vec<Case> {
    let none = || json!({});
    let joined = |a: Value, b: Value| order(json!({}), json!({}), &[two_piece(a), flange(b)]);
    let full = || json!({"coupling_mm": 50, "coupling": "locking"});
    vec![
        (
            "one-piece-with-flange",
            "refuse",
            &[1],
            order(none(), none(), &[one_piece(), flange(none())]),
            order(none(), none(), &[one_piece(), flange(none()), two_piece(none())]),
        ),
        (
            "coupling-size-mismatch",
            "refuse",
            &[0, 1],
            joined(json!({"coupling_mm": 50}), json!({"coupling_mm": 60})),
            joined(json!({"coupling_mm": 50}), json!({"coupling_mm": 50.0})),
        ),
        (
            "coupling-type-mismatch",
            "refuse",
            &[0, 1],
            joined(full(), json!({"coupling_mm": 50, "coupling": "adhesive"})),
            joined(full(), full()),
        ),
        ("two-piece-without-flange", "warn", &[0], order(none(), none(), &[two_piece(none())]), joined(none(), none())),
        ("flange-without-pouch", "warn", &[0], order(none(), none(), &[flange(none())]), joined(none(), none())),
        ("coupling-not-stated", "note", &[1], joined(full(), json!({"coupling_mm": 50})), joined(full(), full())),
        (
            "connector-match",
            "note",
            &[1],
            order(json!({"kind": "urostomy"}), none(), &[line("one-piece-urostomy", 1, 2), line("night-bag", 1, 7)]),
            order(json!({"kind": "urostomy"}), none(), &[line("one-piece-urostomy", 1, 2)]),
        ),
        (
            "two-piece-handling",
            "note",
            &[0],
            order(none(), json!({"difficulties": ["sight"]}), &[two_piece(none())]),
            order(none(), json!({"difficulties": ["sight"]}), &[one_piece()]),
        ),
    ]
}

fn fit_cases() -> Vec<Case> {
    let none = || json!({});
    let round = |mm: u32| json!({"width_mm": mm, "height_mm": mm});
    let new =
        |weeks: u32, more: Value| order(json!({"weeks_since_surgery": weeks}), json!({}), &[with(one_piece(), more)]);
    let recorded = |finding: &str, lines: &[Value]| order(json!({"findings": [finding]}), json!({}), lines);
    let flat = || with(one_piece(), json!({"convexity": "flat"}));
    vec![
        // Smaller than the stoma; equal is tight, not smaller.
        (
            "opening-smaller",
            "refuse",
            &[0],
            order(round(30), none(), &opening(29.9)),
            order(round(30), none(), &opening(30.0)),
        ),
        // Less than 1 mm all round is less than 2 mm larger.
        (
            "opening-tight",
            "warn",
            &[0],
            order(round(30), none(), &opening(31.9)),
            order(round(30), none(), &opening(32.0)),
        ),
        // More than 3 mm all round is more than 6 mm larger.
        (
            "opening-wide",
            "warn",
            &[0],
            order(round(30), none(), &opening(36.1)),
            order(round(30), none(), &opening(36.0)),
        ),
        (
            "opening-reaches-coupling",
            "warn",
            &[1],
            order(none(), none(), &[two_piece(none()), flange(json!({"aperture_mm": 50, "coupling_mm": 50}))]),
            order(none(), none(), &[two_piece(none()), flange(json!({"aperture_mm": 49, "coupling_mm": 50}))]),
        ),
        (
            "stoma-size-unusual",
            "warn",
            &[],
            order(round(19), none(), &[one_piece()]),
            order(round(20), none(), &[one_piece()]),
        ),
        (
            "wear-over-seven-days",
            "warn",
            &[0],
            order(none(), none(), &[line("one-piece-closed", 1, 8)]),
            order(none(), none(), &[line("one-piece-closed", 1, 7)]),
        ),
        ("precut-too-early", "warn", &[0], new(5, json!({"precut": true})), new(6, json!({"precut": true}))),
        ("first-weeks", "note", &[0], new(5, json!({"precut": false})), new(6, json!({"precut": false}))),
        ("convexity-caution", "warn", &[0], recorded("hernia", &[convex()]), recorded("hernia", &[flat()])),
        (
            "convexity-rapid-ulcer",
            "warn",
            &[0],
            recorded("rapid-painful-ulcer", &[convex()]),
            recorded("ulceration", &[convex()]),
        ),
        (
            "convexity-first-months",
            "note",
            &[0],
            new(25, json!({"convexity": "convex"})),
            new(26, json!({"convexity": "convex"})),
        ),
        (
            "convexity-deep",
            "note",
            &[0],
            new(60, json!({"convexity": "deep-convex"})),
            new(60, json!({"convexity": "light-convex"})),
        ),
        (
            "flat-on-low-stoma",
            "note",
            &[0],
            order(json!({"protrusion_mm": 0}), none(), &[flat()]),
            order(json!({"protrusion_mm": 0}), none(), &[flat(), line("convex-insert", 1, 3)]),
        ),
        (
            "belt-caution",
            "warn",
            &[0],
            recorded("varices", &[line("belt", 1, 120)]),
            recorded("hernia", &[line("belt", 1, 120)]),
        ),
    ]
}

fn stoma_cases() -> Vec<Case> {
    let on = |kind: &str, item: &str| order(json!({"kind": kind}), json!({}), &[line(item, 1, 1)]);
    let irrigation =
        |findings: Value| order(json!({"findings": findings}), json!({}), &[line("irrigation-kit", 1, 365)]);
    vec![
        ("closed-on-urostomy", "refuse", &[0], on("urostomy", "one-piece-closed"), on("colostomy", "one-piece-closed")),
        (
            "drainable-on-urostomy",
            "warn",
            &[0],
            on("urostomy", "one-piece-drainable"),
            on("colostomy", "one-piece-drainable"),
        ),
        (
            "closed-on-ileostomy",
            "warn",
            &[0],
            on("ileostomy", "two-piece-closed-pouch"),
            on("colostomy", "two-piece-closed-pouch"),
        ),
        (
            "tap-on-colostomy",
            "warn",
            &[0],
            on("colostomy", "one-piece-urostomy"),
            order(json!({"with_urostomy": true}), json!({}), &[line("one-piece-urostomy", 1, 1)]),
        ),
        ("tap-on-ileostomy", "note", &[0], on("ileostomy", "one-piece-urostomy"), on("urostomy", "one-piece-urostomy")),
        (
            "irrigation-not-colostomy",
            "refuse",
            &[0],
            on("ileostomy", "irrigation-kit"),
            on("colostomy", "irrigation-kit"),
        ),
        ("plug-not-colostomy", "refuse", &[0], on("urostomy", "stoma-plug"), on("colostomy", "stoma-plug")),
        ("thickener-on-urostomy", "refuse", &[0], on("urostomy", "thickener"), on("ileostomy", "thickener")),
        ("cap-not-colostomy", "warn", &[0], on("ileostomy", "stoma-cap"), on("colostomy", "stoma-cap")),
        ("irrigation-caution", "warn", &[0], irrigation(json!(["prolapse"])), irrigation(json!(["flush"]))),
        (
            "irrigation-colostomy",
            "note",
            &[0],
            on("colostomy", "irrigation-sleeve"),
            on("ileostomy", "irrigation-sleeve"),
        ),
        ("drainage-bag-bowel-stoma", "note", &[0], on("ileostomy", "night-bag"), on("urostomy", "night-bag")),
        (
            "thickener-look-for-cause",
            "note",
            &[0],
            on("ileostomy", "thickener"),
            order(json!({"kind": "ileostomy", "findings": ["loose-output"]}), json!({}), &[line("thickener", 1, 1)]),
        ),
    ]
}

fn skin_cases() -> Vec<Case> {
    let broken = |items: &[&str]| {
        let lines: Vec<Value> = items.iter().map(|item| line(item, 1, 30)).collect();
        order(json!({"findings": ["broken-skin"]}), json!({}), &lines)
    };
    let whole = |items: &[&str]| {
        let lines: Vec<Value> = items.iter().map(|item| line(item, 1, 30)).collect();
        order(json!({}), json!({}), &lines)
    };
    vec![
        ("paste-on-broken-skin", "warn", &[0], broken(&["paste"]), broken(&["strip-paste"])),
        ("cream-under-adhesive", "warn", &[0], whole(&["barrier-cream"]), whole(&["barrier-film-wipe"])),
        ("film-on-broken-skin", "note", &[0], broken(&["barrier-film-spray"]), whole(&["barrier-film-spray"])),
        ("powder-on-broken-skin", "note", &[0], broken(&["powder"]), whole(&["powder"])),
        ("powder-on-whole-skin", "note", &[0], whole(&["powder"]), broken(&["powder"])),
        (
            "film-spray-and-wipe",
            "warn",
            &[0, 1],
            whole(&["barrier-film-spray", "barrier-film-wipe"]),
            whole(&["barrier-film-spray", "adhesive-remover-wipe"]),
        ),
        (
            "remover-spray-and-wipe",
            "note",
            &[0, 2],
            whole(&["adhesive-remover-spray", "ring", "adhesive-remover-wipe"]),
            whole(&["adhesive-remover-wipe"]),
        ),
        ("plug-and-cap", "note", &[0, 1], whole(&["stoma-plug", "stoma-cap"]), whole(&["stoma-cap"])),
    ]
}

fn avoid_cases() -> Vec<Case> {
    let of = |patient: Value, item: &str, more: Value| order(json!({}), patient, &[with(line(item, 1, 7), more)]);
    let latex = |yes: bool| json!({"latex": yes});
    let animal = |yes: bool| json!({"animal_derived": yes});
    let avoids = |what: &str| json!({"avoids": [what]});
    let allergic = |to: &str| json!({"allergies": [to]});
    vec![
        (
            "latex-allergy",
            "refuse",
            &[0],
            of(allergic("Latex"), "leg-bag", latex(true)),
            of(allergic("Latex"), "leg-bag", latex(false)),
        ),
        (
            "neonate-aerosol",
            "refuse",
            &[0],
            of(json!({"neonate": true}), "adhesive-remover-spray", json!({})),
            of(json!({"neonate": true}), "adhesive-remover-wipe", json!({})),
        ),
        (
            "latex-avoided",
            "warn",
            &[0],
            of(avoids("latex"), "belt", latex(true)),
            of(allergic("latex"), "belt", latex(true)),
        ),
        (
            "animal-derived-avoided",
            "warn",
            &[0],
            of(avoids("porcine"), "powder", animal(true)),
            of(avoids("porcine"), "powder", animal(false)),
        ),
        (
            "alcohol-in-paste",
            "warn",
            &[0],
            of(avoids("alcohol"), "paste", json!({})),
            of(avoids("alcohol"), "strip-paste", json!({})),
        ),
        (
            "latex-not-stated",
            "note",
            &[0],
            of(allergic("latex"), "belt", json!({})),
            of(allergic("latex"), "belt", latex(false)),
        ),
        (
            "animal-derived-not-stated",
            "note",
            &[0],
            of(allergic("gelatine"), "ring", json!({})),
            of(allergic("gelatine"), "belt", json!({})),
        ),
        (
            "alcohol-in-film",
            "note",
            &[0],
            of(allergic("alcohol wipes"), "barrier-film-wipe", json!({})),
            of(json!({}), "barrier-film-wipe", json!({})),
        ),
        (
            "allergy-to-adhesive",
            "note",
            &[0],
            of(allergic("sticking plaster"), "flange", json!({})),
            of(allergic("sticking plaster"), "belt", json!({})),
        ),
        (
            "allergy-not-checked",
            "note",
            &[0],
            of(allergic("nickel"), "belt", json!({})),
            of(allergic("latex"), "belt", json!({})),
        ),
    ]
}

fn amount_cases() -> Vec<Case> {
    let period = |days: u32| with(order(json!({}), json!({}), &[one_piece()]), json!({"period_days": days}));
    let stock = |on_hand: u32| order(json!({}), json!({}), &[with(one_piece(), json!({"on_hand": on_hand}))]);
    let cans = |cans: u32| {
        order(json!({}), json!({}), &[line("one-piece-closed", 5, 2), line("adhesive-remover-spray", cans, 28)])
    };
    let pouches = |drainable: u32| {
        let lines = [line("one-piece-drainable", drainable, 364), line("one-piece-drainable", 130, 364)];
        with(order(json!({"kind": "ileostomy"}), json!({}), &lines), json!({"sets": ["scotland-2015"]}))
    };
    let code = |code: &str| {
        with(
            order(json!({}), json!({}), &[with(one_piece(), json!({"hcpcs": code}))]),
            json!({"sets": ["us-coverage"]}),
        )
    };
    let reason =
        |item: &str, reason: &str| order(json!({}), json!({}), &[with(line(item, 1, 7), json!({"reason": reason}))]);
    vec![
        ("period-over-two-months", "warn", &[], period(63), period(62)),
        // 70 pouches are 3 boxes of 30 begun: up to 6 cans.
        ("remover-for-pouches", "warn", &[1], cans(7), cans(6)),
        // The alert is beyond 260 a year: 131 and 130 are beyond it together, each alone is not.
        ("pouches-together-over", "warn", &[0, 1], pouches(131), pouches(130)),
        ("code-of-another-item", "warn", &[0], code("A5061"), code("A4416")),
        ("period-over-a-month", "note", &[], period(32), period(31)),
        ("stock-over-two-months", "note", &[0], stock(63), stock(62)),
        ("garment-measured", "note", &[0], reason("support-garment", "hernia"), reason("belt", "hernia")),
        ("given-free", "note", &[0], reason("dry-wipe", "x"), reason("barrier-film-wipe", "x")),
        ("accessory-without-reason", "note", &[0], reason("ring", " "), reason("ring", "crease at 3 o'clock")),
    ]
}

/// All of them.
pub fn all() -> Vec<Case> {
    [system_cases(), fit_cases(), stoma_cases(), skin_cases(), avoid_cases(), amount_cases()]
        .into_iter()
        .flatten()
        .collect()
}
