//! Invented cases on which staff practise the score, and what their answers say about agreement.
//!
//! The cases stand in `calibration.toml`. It compares answers; it must not know whose they are.

use std::sync::LazyLock;

use serde::Deserialize;

use super::geometry::{HOURS, Plate, Stoma};
use super::kappa::{Weights, weighted_kappa};
use super::map::{Finding, MapCell};
use super::score::{Area, Assessment, DomainInput, Score, score};
use crate::json_input::FieldErrors;
use crate::provenance::{Source, Standing};

/// Stoma of every case, mm: round, as drawn.
pub const STOMA: Stoma = Stoma { width_mm: 30.0, height_mm: 30.0 };
/// Plate of every case, mm: centred, as drawn.
pub const PLATE: Plate = Plate { diameter_mm: 100.0, offset_x_mm: 0.0, offset_y_mm: 0.0 };

/// Area points and severity of discolouration, erosion and overgrowth.
pub type SixValues = [(u8, u8); 3];

/// One case.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Case {
    /// A stable code.
    pub id: String,
    /// Heading.
    pub title: String,
    /// What is seen, felt and told.
    pub text: String,
    /// What is drawn.
    pub cells: Vec<MapCell>,
    /// The reference.
    pub reference: SixValues,
}

/// The whole set.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cases {
    /// The version.
    pub version: String,
    /// Where cases and reference come from.
    pub source: Source,
    /// In the order of the pages.
    pub cases: Vec<Case>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    version: String,
    source: String,
    standing: Standing,
    case: Vec<FileCase>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileCase {
    id: String,
    title: String,
    text: String,
    marks: Vec<FileMark>,
    reference: FileReference,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileMark {
    finding: String,
    from: u8,
    to: u8,
    rings: Vec<u8>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileReference {
    discolouration: (u8, u8),
    erosion: (u8, u8),
    overgrowth: (u8, u8),
}

impl Cases {
    /// Reads a set from TOML.
    ///
    /// # Errors
    /// The first fault found, in words.
    pub fn from_toml(text: &str) -> Result<Self, String> {
        let file: File = toml::from_str(text).map_err(|fault| fault.to_string())?;
        let cases = file.case.into_iter().map(read_case).collect::<Result<Vec<_>, String>>()?;
        let source = Source { source: file.source.into(), standing: file.standing };
        Ok(Self { version: file.version, source, cases })
    }

    /// The case of a code.
    pub fn find(&self, id: &str) -> Option<&Case> {
        self.cases.iter().find(|case| case.id == id)
    }
}

fn read_case(row: FileCase) -> Result<Case, String> {
    let mut cells = Vec::new();
    for mark in row.marks {
        let finding = Finding::CODES.iter().find(|(code, _)| *code == mark.finding).map(|(_, finding)| *finding);
        let finding = finding.ok_or_else(|| format!("{}: {} is not a finding", row.id, mark.finding))?;
        cells.extend(range(mark.from, mark.to, &mark.rings, finding));
    }
    let reference = [row.reference.discolouration, row.reference.erosion, row.reference.overgrowth];
    score_of(&reference).map_err(|errors| format!("{}: {errors:?}", row.id))?;
    Ok(Case { id: row.id, title: row.title, text: row.text, cells, reference })
}

/// The cells of a range of hours, clockwise and over 12 where it must be; 4 to 7, or 11 to 2.
pub fn range(from: u8, to: u8, rings: &[u8], finding: Finding) -> Vec<MapCell> {
    let steps = (to + HOURS - from) % HOURS;
    (0..=steps)
        .map(|step| (from + step - 1) % HOURS + 1)
        .flat_map(|hour| rings.iter().map(move |ring| MapCell { hour, ring: *ring, finding }))
        .collect()
}

/// The score of six values by the rules.
///
/// # Errors
/// Every rule broken, as [`score`] says.
pub fn score_of(values: &SixValues) -> Result<Score, FieldErrors> {
    let [discolouration, erosion, overgrowth] =
        values.map(|(area, severity)| DomainInput { area: Area::Points(area), severity });
    score(&Assessment { discolouration, erosion, overgrowth })
}

/// How two sets of answers agree.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Agreement {
    /// Cases that both answered.
    pub cases: usize,
    /// Cases with the same total.
    pub same: usize,
    /// Weighted kappa of the totals, linear weights; `None` where it is not defined.
    pub kappa: Option<f64>,
}

/// Compares the totals of two people, or of one person and the reference: pairs of one case each.
pub fn agreement(pairs: &[(u8, u8)]) -> Agreement {
    Agreement {
        cases: pairs.len(),
        same: pairs.iter().filter(|(one, other)| one == other).count(),
        kappa: weighted_kappa(pairs, Weights::Linear),
    }
}

static SHIPPED: LazyLock<Result<Cases, String>> = LazyLock::new(|| Cases::from_toml(include_str!("calibration.toml")));

/// The shipped set.
///
/// # Errors
/// Only if the built-in file itself is wrong, which a test rules out.
pub fn shipped() -> Result<&'static Cases, &'static String> {
    SHIPPED.as_ref()
}
