//! From map, measures and answers to the signs that the causes are judged by.
//!
//! Signs are codes of `causes.toml`. What was not looked at or asked makes no sign, neither for nor against.

use std::collections::BTreeSet;

use super::fit;
use super::geometry::HOURS;
use super::map::{Finding, MapCell};
use super::map_words::RINGS;

/// Hours beside the leak's that still count as where it runs (local).
const BESIDE_LEAK: u8 = 1;
/// Hours affected from which it counts as all round (local: one hour may be missed by the eye).
const ALL_ROUND: usize = 11;
/// A plate worn at most so many days is changed every day.
const DAILY: u8 = 1;
/// Output in 24 hours from which it is high, mL. Source: Arenas Villafranca et al., Nutr J 2015 (read).
const HIGH_OUTPUT_ML: u32 = 1_500;

/// What an assessment found.
#[derive(Clone, Copy, Debug, Default)]
pub struct Seen<'a> {
    /// Kind of stoma.
    pub kind: &'a str,
    /// The marked cells.
    pub cells: &'a [MapCell],
    /// Whether the domains discolouration, erosion, overgrowth are affected, as scored.
    pub affected: [bool; 3],
    /// Where the leak runs.
    pub leak_hour: Option<u8>,
    /// Leaks of the last ten changes.
    pub leaks: Option<u8>,
    /// Wear of plate or pouch, days.
    pub wear_days: Option<u8>,
    /// Itch, burning and pain, 0–10.
    pub complaints: [Option<u8>; 3],
    /// Gap between stoma and opening, mm all round.
    pub gap_mm: Option<f64>,
    /// Above the skin, mm.
    pub protrusion_mm: Option<i32>,
    /// In 24 hours, mL.
    pub output_ml_24h: Option<u32>,
    /// Codes that were ticked: symptoms, findings at the stoma, signs.
    pub codes: &'a [String],
}

/// The signs found.
pub fn signs(seen: &Seen<'_>) -> BTreeSet<String> {
    let mut found: BTreeSet<String> = BTreeSet::new();
    let mut add = |holds: bool, sign: &str| {
        if holds {
            found.insert(sign.to_owned());
        }
    };
    place(seen, &mut add);
    for (affected, sign) in seen.affected.into_iter().zip(["discoloured", "eroded", "overgrown"]) {
        add(affected, sign);
    }
    for (value, (sign, none)) in
        seen.complaints.into_iter().zip([("itch", "no-itch"), ("burning", ""), ("pain", "no-pain")])
    {
        add(value.is_some_and(|n| n > 0), sign);
        add(value == Some(0) && !none.is_empty(), none);
    }
    add(seen.leaks.is_some_and(|n| n > 0), "leaks");
    add(seen.leaks == Some(0), "no-leaks");
    add(seen.wear_days.is_some_and(|days| days <= DAILY) && seen.kind != "colostomy", "changed-often");
    if let Some(note) = seen.gap_mm.and_then(fit::opening) {
        add(true, note.id);
    }
    let below = seen.codes.iter().any(|code| code == "retraction" || code == "flush");
    add(below || seen.protrusion_mm.is_some_and(|mm| fit::protrusion(seen.kind, mm).is_some()), "low-stoma");
    add(seen.kind == "urostomy", "urostomy");
    add(seen.kind != "urostomy" && seen.output_ml_24h.is_some_and(|ml| ml >= HIGH_OUTPUT_ML), "loose-output");
    for code in seen.codes {
        let sign = match code.split_once('-') {
            Some(("separation" | "bleeding", _)) => code.split('-').next().unwrap_or(code),
            _ => code.as_str(),
        };
        add(true, sign);
    }
    found
}

/// What the map alone says.
fn place(seen: &Seen<'_>, add: &mut impl FnMut(bool, &str)) {
    let at = |ring: u8| seen.cells.iter().any(|cell| cell.ring == ring);
    add(at(1), "next-to-stoma");
    add(!seen.cells.is_empty() && seen.cells.iter().all(|cell| cell.ring == RINGS), "edge-only");
    let hours: BTreeSet<u8> = seen.cells.iter().map(|cell| cell.hour % HOURS).collect();
    add(hours.len() >= ALL_ROUND && at(RINGS) && at(1), "whole-plate");
    let near = |leak: u8| {
        hours.iter().any(|hour| {
            let apart = (hour + HOURS - leak % HOURS) % HOURS;
            apart <= BESIDE_LEAK || apart >= HOURS - BESIDE_LEAK
        })
    };
    add(seen.leak_hour.is_some_and(near), "along-leak");
    for (finding, sign) in [(Finding::Eroded, "eroded"), (Finding::Overgrown, "overgrown")] {
        add(seen.cells.iter().any(|cell| cell.finding == finding), sign);
    }
}
