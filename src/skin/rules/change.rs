//! How the score has changed since last time, in words, with the caution that small changes deserve.
//!
//! It compares two scores; it must not say why they differ.

use crate::provenance::{Source, Standing};

/// Whether the same person scored both times.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scorers {
    /// The same person.
    Same,
    /// Two people, or not known.
    Different,
}

/// A change up to this many points between two people may be noise. Local: worked out from the agreement in
/// [`caution_source`], for which no smallest meaningful difference has been published.
pub const NOISE_POINTS: u8 = 2;

/// The agreement on which the caution rests: κ = 0.54 between nurses, 0.84 for one nurse twice.
pub fn caution_source() -> Source {
    Source::new("Jemec et al., Br J Dermatol 2011;164(2):330–5: kappa 0.54 between nurses", Standing::Read)
}

/// A change in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// Points now less points then: above 0 is worse.
    pub points: i16,
    /// One sentence for pages and prints.
    pub words: String,
    /// A second sentence when the change may be noise between two people.
    pub caution: Option<String>,
}

/// Compares a score with the last one. Both are 0–15.
pub fn describe_change(previous: u8, now: u8, scorers: Scorers) -> Change {
    let points = i16::from(now) - i16::from(previous);
    let size = now.abs_diff(previous);
    let unit = if size == 1 { "point" } else { "points" };
    let words = match points {
        0 => format!("The score is {now}, the same as last time."),
        1.. => format!("The score has risen by {size} {unit}, from {previous} to {now}: worse."),
        _ => format!("The score has fallen by {size} {unit}, from {previous} to {now}: better."),
    };
    let noise = scorers == Scorers::Different && (1..=NOISE_POINTS).contains(&size);
    let caution = noise.then(|| {
        "A change of 1 or 2 points between two different people may be noise: agreement between nurses on this score \
         is only moderate. Compare the parts and the maps."
            .to_owned()
    });
    Change { points, words, caution }
}
