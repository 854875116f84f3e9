//! The clock map in words: what is affected where, and what is new or healed since last time.
//!
//! Twelve hours by three rings, as drawn on the page. It describes; it must not measure or score.

use std::collections::BTreeMap;

use super::geometry::HOURS;
use super::map::{Finding, MapCell};

/// Rings of the map on the page.
pub const RINGS: u8 = 3;

/// What a cell is said to be when it is marked with several findings: the worst of them.
pub fn by_cell(cells: &[MapCell]) -> BTreeMap<(u8, u8), Finding> {
    let mut map = BTreeMap::new();
    for cell in cells {
        let worst = map.entry((cell.hour, cell.ring)).or_insert(cell.finding);
        if rank(cell.finding) > rank(*worst) {
            *worst = cell.finding;
        }
    }
    map
}

/// Discoloured, then overgrown, then eroded: the order in which one hides another.
fn rank(finding: Finding) -> u8 {
    match finding {
        Finding::Discoloured => 0,
        Finding::Overgrown => 1,
        Finding::Eroded => 2,
    }
}

/// The worst finding of each affected hour, for the roundel.
pub fn by_hour(cells: &[MapCell]) -> BTreeMap<u8, Finding> {
    let mut map: BTreeMap<u8, Finding> = BTreeMap::new();
    for ((hour, _), finding) in by_cell(cells) {
        let worst = map.entry(hour).or_insert(finding);
        if rank(finding) > rank(*worst) {
            *worst = finding;
        }
    }
    map
}

/// Where a ring lies.
pub fn ring_words(ring: u8) -> &'static str {
    match ring {
        1 => "next to the stoma",
        2 => "in the middle",
        _ => "at the plate's edge",
    }
}

/// A finding in a word.
pub fn finding_words(finding: Finding) -> &'static str {
    finding.code()
}

/// Hours as ranges going clockwise, "4 to 7 and 10 o'clock", "all round"; empty for none.
pub fn hours_words(hours: &[u8]) -> String {
    let has = |hour: u8| hours.iter().any(|h| h % HOURS == hour % HOURS);
    let count = (1..=HOURS).filter(|h| has(*h)).count();
    if count == usize::from(HOURS) {
        return "all round".to_owned();
    }
    // A range begins at an hour whose forerunner is not marked; so a range may run over 12.
    let mut ranges = Vec::new();
    for start in (1..=HOURS).filter(|h| has(*h) && !has(h + HOURS - 1)) {
        let length = (0..HOURS).take_while(|step| has(start + step)).count();
        let end = (start + u8::try_from(length).unwrap_or(1) - 2) % HOURS + 1;
        ranges.push(match length {
            1 => start.to_string(),
            2 => format!("{start} and {end}"),
            _ => format!("{start} to {end}"),
        });
    }
    match ranges.as_slice() {
        [] => String::new(),
        [only] => format!("{only} o'clock"),
        [first @ .., last] => format!("{} and {last} o'clock", first.join(", ")),
    }
}

/// The map in words, worst first: "eroded 4 and 5 o'clock, next to the stoma".
pub fn describe(cells: &[MapCell]) -> Vec<String> {
    let map = by_cell(cells);
    [Finding::Eroded, Finding::Overgrown, Finding::Discoloured]
        .into_iter()
        .flat_map(|finding| {
            let of: Vec<(u8, u8)> = map.iter().filter(|(_, f)| **f == finding).map(|(at, _)| *at).collect();
            places(&of).into_iter().map(move |place| format!("{} {place}", finding_words(finding)))
        })
        .collect()
}

/// Cells as places: rings with the same hours are named together.
fn places(cells: &[(u8, u8)]) -> Vec<String> {
    let hours_of = |ring: u8| -> Vec<u8> { cells.iter().filter(|(_, r)| *r == ring).map(|(h, _)| *h).collect() };
    let mut groups: Vec<(Vec<u8>, Vec<u8>)> = Vec::new();
    for ring in 1..=RINGS {
        let hours = hours_of(ring);
        if hours.is_empty() {
            continue;
        }
        match groups.iter_mut().find(|(known, _)| *known == hours) {
            Some((_, rings)) => rings.push(ring),
            None => groups.push((hours, vec![ring])),
        }
    }
    groups
        .into_iter()
        .map(|(hours, rings)| {
            let place = if rings.len() == usize::from(RINGS) {
                "from the stoma to the plate's edge".to_owned()
            } else {
                rings.into_iter().map(ring_words).collect::<Vec<_>>().join(" and ")
            };
            format!("{}, {place}", hours_words(&hours))
        })
        .collect()
}

/// What has changed from one map to the next.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct MapChange {
    /// Newly affected, or worse than it was, in words.
    pub new: Vec<String>,
    /// Clear now, in words.
    pub healed: Vec<String>,
    /// Cells affected both times.
    pub still: usize,
}

/// Compares two maps cell by cell.
pub fn compare(before: &[MapCell], now: &[MapCell]) -> MapChange {
    let (was, is) = (by_cell(before), by_cell(now));
    let worse = |at: &(u8, u8), finding: &Finding| was.get(at).is_none_or(|old| rank(*old) < rank(*finding));
    let cell = |(hour, ring): (u8, u8), finding: Finding| MapCell { hour, ring, finding };
    let new: Vec<MapCell> = is.iter().filter(|(at, f)| worse(at, f)).map(|(at, f)| cell(*at, *f)).collect();
    let healed: Vec<MapCell> = was.iter().filter(|(at, _)| !is.contains_key(at)).map(|(at, f)| cell(*at, *f)).collect();
    MapChange {
        new: describe(&new),
        healed: describe(&healed),
        still: is.keys().filter(|at| was.contains_key(at)).count(),
    }
}
