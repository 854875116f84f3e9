//! Named sets of severity bands over the 0–15 score, as data with source and standing.
//!
//! Published papers name bands but do not agree on the limits (a score of 7 is severe in set `a`, moderate in set
//! `b`), so a service chooses its set and a page that shows a band shows where its limits come from. Store the score
//! and its parts, never the band alone.

use crate::provenance::{Source, Standing};

/// How bad the skin is, in words.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Band {
    /// Score 0: no complication seen.
    None,
    /// Lowest band above 0.
    Mild,
    /// Middle band.
    Moderate,
    /// Highest band.
    Severe,
}

impl Band {
    /// The code in JSON and in records.
    pub fn code(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Mild => "mild",
            Self::Moderate => "moderate",
            Self::Severe => "severe",
        }
    }

    /// The words on pages and prints.
    pub fn words(self) -> &'static str {
        match self {
            Self::None => "no skin complication seen",
            Self::Mild => "mild",
            Self::Moderate => "moderate",
            Self::Severe => "severe",
        }
    }
}

/// One set of limits. Score 0 is [`Band::None`] in every set.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BandSet {
    /// The code of the set.
    pub id: &'static str,
    /// What the set is, in a few words.
    pub title: &'static str,
    /// Highest score that is mild.
    pub mild_to: u8,
    /// Highest score that is moderate; above it is severe.
    pub moderate_to: u8,
    /// Where the limits come from.
    pub source: Source,
}

impl BandSet {
    /// The band of a score.
    pub fn band(&self, score: u8) -> Band {
        match score {
            0 => Band::None,
            mild if mild <= self.mild_to => Band::Mild,
            moderate if moderate <= self.moderate_to => Band::Moderate,
            _ => Band::Severe,
        }
    }
}

/// The shipped sets, in the order of answers.
pub static SETS: [BandSet; 2] = [
    BandSet {
        id: "a",
        title: "Severe from 7, as in most papers",
        mild_to: 3,
        moderate_to: 6,
        source: Source::new(
            "Martins et al., Br J Nurs 2010;19(15):960–4 (its abstract names three levels); the limits 1–3, 4–6 and \
             from 7 are recalled from later papers",
            Standing::FromMemory,
        ),
    },
    BandSet {
        id: "b",
        title: "Severe above 7, as one evaluation used the words",
        mild_to: 3,
        moderate_to: 7,
        source: Source::new(
            "WOCN Society conference abstract 10663, 2017: means of 1.54 and 3.33 called mild, 5.10 and 7.00 moderate; \
             the limits are worked out from that use",
            Standing::Local,
        ),
    },
];

/// The set with this code.
pub fn set(id: &str) -> Option<&'static BandSet> {
    SETS.iter().find(|set| set.id == id)
}

/// What one set says about a score.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BandVerdict {
    /// The code of the set.
    pub set: &'static str,
    /// Its band.
    pub band: Band,
    /// Where its limits come from.
    pub source: Source,
}

/// What every shipped set says about a score.
pub fn verdicts(score: u8) -> Vec<BandVerdict> {
    SETS.iter().map(|set| BandVerdict { set: set.id, band: set.band(score), source: set.source.clone() }).collect()
}
