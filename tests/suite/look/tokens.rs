//! The colours: every pair in use is worked out from `static/roundel.css` by the formula of WCAG 2.2 and must reach
//! 4.5 to 1 for words (1.4.3) and 3 to 1 for lines, edges and symbols (1.4.11), in the light and in the dark scheme; the
//! ratios that stand as comments beside the tokens must be those worked out here.

use std::collections::{BTreeMap, BTreeSet};

const CSS: &str = include_str!("../../../static/roundel.css");

type Tokens = BTreeMap<String, [u8; 3]>;

/// `#fff` or `#fdfcf8`.
fn colour(text: &str) -> Option<[u8; 3]> {
    let digits = text.trim().strip_prefix('#')?;
    let wide: String =
        if digits.len() == 3 { digits.chars().flat_map(|c| [c, c]).collect() } else { digits.to_owned() };
    let part = |at: usize| u8::from_str_radix(wide.get(at..at + 2)?, 16).ok();
    (wide.len() == 6).then_some([part(0)?, part(2)?, part(4)?])
}

/// Relative luminance (WCAG 2.2, definition of "relative luminance").
fn luminance(rgb: [u8; 3]) -> f64 {
    let linear = rgb.map(|part| {
        let part = f64::from(part) / 255.0;
        if part <= 0.04045 { part / 12.92 } else { ((part + 0.055) / 1.055).powf(2.4) }
    });
    0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
}

/// Contrast ratio (WCAG 2.2, definition of "contrast ratio").
fn contrast(a: [u8; 3], b: [u8; 3]) -> f64 {
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// What stands between the braces that open after `head`.
fn block<'a>(css: &'a str, head: &str) -> &'a str {
    let from = css.find(head).unwrap_or_else(|| panic!("{head} is not in the style sheet"));
    let open = from + css[from..].find('{').expect("a brace");
    let mut level = 0;
    for (at, letter) in css[open..].char_indices() {
        match letter {
            '{' => level += 1,
            '}' if level == 1 => return &css[open + 1..open + at],
            '}' => level -= 1,
            _ => {}
        }
    }
    panic!("{head} is not closed")
}

fn declared(block: &str) -> Tokens {
    let lines = block.split(';').filter_map(|line| line.rsplit_once("--").map(|(_, line)| line));
    lines
        .filter_map(|line| line.split_once(':').and_then(|(name, value)| Some((name.to_owned(), colour(value)?))))
        .collect()
}

/// The tokens of both schemes; what the dark one leaves out is as in the light one.
fn schemes() -> [(&'static str, Tokens); 2] {
    let tokens = without_comments(block(CSS, "@layer tokens {"));
    let light = declared(block(&tokens, ":root"));
    let mut dark = light.clone();
    dark.extend(declared(block(block(&tokens, "prefers-color-scheme: dark"), ":root")));
    [("light", light), ("dark", dark)]
}

fn without_comments(css: &str) -> String {
    css.split("/*")
        .enumerate()
        .map(|(nth, part)| if nth == 0 { part } else { part.split_once("*/").unwrap().1 })
        .collect()
}

/// Words: (colour, ground). Those that one rule sets together are found by themselves below.
const WORDS: [(&str, &str); 27] = [
    ("ink", "paper"),
    ("ink", "wash"),
    ("ink", "field"),
    ("ink", "accent-wash"),
    ("ink", "oxide-wash"),
    ("ink", "ochre-wash"),
    ("ink", "moss-wash"),
    ("ink", "rule"),
    ("ink", "range"),
    ("ink-2", "paper"),
    ("ink-2", "wash"),
    ("ink-2", "field"),
    ("ink-2", "accent-wash"),
    ("ink-2", "range"),
    ("ink-2", "rule"),
    ("accent", "paper"),
    ("accent", "wash"),
    ("accent", "moss-wash"),
    ("accent", "ochre-wash"),
    ("accent", "oxide-wash"),
    ("accent-deep", "paper"),
    ("on-accent", "accent-deep"),
    ("oxide", "paper"),
    ("oxide", "wash"),
    ("ochre", "paper"),
    ("moss", "paper"),
    ("paper", "ink"),
];

/// Lines, edges and symbols: (colour, ground).
const GRAPHICS: [(&str, &str); 23] = [
    ("rule-control", "paper"),
    ("rule-control", "field"),
    ("rule-control", "range"),
    ("accent", "field"),
    ("accent", "range"),
    ("oxide", "field"),
    ("ink", "paper"),
    ("ink", "range"),
    ("c1", "paper"),
    ("c1", "range"),
    ("c2", "paper"),
    ("c2", "range"),
    ("c3", "paper"),
    ("c3", "range"),
    ("c4", "paper"),
    ("c4", "range"),
    ("moss", "range"),
    ("oxide", "range"),
    ("moss", "moss-wash"),
    ("ochre", "ochre-wash"),
    ("oxide", "oxide-wash"),
    ("on-accent", "accent"),
    ("ink", "rule"),
];

/// Pairs of text and ground that one rule of the style sheet sets together, outside print and forced colours.
fn set_together() -> BTreeSet<(String, String)> {
    let css = without_comments(CSS);
    let screen = css.replace(block(&css, "@layer print {\n"), "");
    let mut pairs = BTreeSet::new();
    for rule in screen.split('}').filter_map(|rule| rule.rsplit_once('{').map(|(_, rule)| rule)) {
        let value = |property: &str| {
            let mut all = rule.split(';').filter_map(|line| line.split_once(':'));
            let (_, value) = all.find(|(name, _)| name.trim() == property)?;
            Some(value.trim().strip_prefix("var(--")?.strip_suffix(')')?.to_owned())
        };
        if let Some(pair) = value("color").zip(value("background")) {
            pairs.insert(pair);
        }
    }
    pairs
}

#[test]
fn the_formula_gives_published_ratios() {
    // Black on white and the grey that just passes (WCAG 2.2, understanding 1.4.3: 21:1 and #767676 with 4.54:1); blue and
    // vermillion of the chart's palette on white: 5.19 and 3.87 (relative luminance, worked out by hand).
    for (a, b, ratio) in
        [("#000", "#fff", 21.0), ("#767676", "#fff", 4.54), ("#0072b2", "#fff", 5.19), ("#d55e00", "#fff", 3.87)]
    {
        let worked = contrast(colour(a).unwrap(), colour(b).unwrap());
        assert!((worked - ratio).abs() < 0.006, "{a} on {b}: {worked}");
    }
}

#[test]
fn every_pair_in_use_can_be_read_in_both_schemes() {
    let together = set_together();
    assert!(together.len() > 8, "rules that set a colour on a ground: {together:?}");
    let mut wrong = Vec::new();
    let mut looked_at = 0;
    for (scheme, tokens) in schemes() {
        let words = WORDS.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned())).chain(together.clone());
        let graphics = GRAPHICS.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned()));
        for ((a, b), least) in words.map(|pair| (pair, 4.5)).chain(graphics.map(|pair| (pair, 3.0))) {
            let of = |name: &str| *tokens.get(name).unwrap_or_else(|| panic!("no token --{name}"));
            let ratio = contrast(of(&a), of(&b));
            looked_at += 1;
            if ratio < least {
                wrong.push(format!("{scheme}: {a} on {b} is {ratio:.2}, at least {least}"));
            }
        }
    }
    println!("contrast worked out for {looked_at} pairs");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_colour_is_a_token_and_every_token_is_used() {
    let css = without_comments(CSS);
    let (_, light) = &schemes()[0];
    let tokens = block(&css, "@layer tokens {");
    let print = block(&css, "@layer print {\n");
    let rest = css.replace(tokens, "").replace(print, "");
    for found in rest.split('#').skip(1) {
        let digits: String = found.chars().take_while(char::is_ascii_hexdigit).collect();
        assert!(digits.len() < 3, "#{digits} is no token: name it");
    }
    for name in light.keys() {
        assert!(rest.contains(&format!("var(--{name})")), "--{name} is not used");
    }
}

/// "16.7 on paper, 15.2 on wash / 15.0, 13.6" → grounds with the light and the dark ratio.
fn said(name: &str, comment: &str) -> Vec<(String, [Option<f64>; 2])> {
    let number = |text: &str| text.trim().split(' ').next().and_then(|n| n.trim().parse::<f64>().ok());
    let comment = comment.rsplit(": ").next().unwrap_or(comment);
    let (light, dark) = comment.split_once('/').unwrap_or((comment, ""));
    let mut dark = dark.split(',').map(number);
    let ground = |words: &str| match words.trim() {
        "its wash" => format!("{name}-wash"),
        other => other.to_owned(),
    };
    let pairs = light.split(',').filter_map(|part| part.split_once(" on "));
    pairs.map(|(ratio, words)| (ground(words), [number(ratio), dark.next().flatten()])).collect()
}

#[test]
fn the_ratios_in_the_style_sheet_are_those_worked_out() {
    let [(_, light), (_, dark)] = schemes();
    let mut checked = 0;
    for line in block(CSS, "@layer tokens {").lines() {
        let (Some((name, _)), Some((_, comment))) = (line.trim().split_once(':'), line.split_once("/*")) else {
            continue;
        };
        let Some(name) = name.strip_prefix("--") else { continue };
        for (ground, ratios) in said(name, comment.trim_end_matches("*/").trim()) {
            for (tokens, ratio) in [&light, &dark].into_iter().zip(ratios) {
                let ratio = ratio.unwrap_or_else(|| panic!("--{name} on {ground}: a ratio for each scheme"));
                let worked = contrast(tokens[name], *tokens.get(&ground).unwrap_or_else(|| panic!("--{ground}")));
                assert!((worked - ratio).abs() < 0.0501, "--{name} on {ground}: {ratio} is said, {worked:.2} is true");
                checked += 1;
            }
        }
    }
    assert!(checked > 30, "only {checked} ratios were found");
}
