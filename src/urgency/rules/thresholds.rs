//! Which value leads to which band: the thresholds as typed, versioned data.
//!
//! The shipped set stands in `thresholds.toml`; a service may keep its own in the same form. Here is what a rule is
//! and when it holds; reading and checking the form is `thresholds_file`'s. No limit may stand in code.

use std::sync::LazyLock;

use thiserror::Error;

use crate::follow_up::rules::facts::StomaKind;
use crate::provenance::Source;

use super::band::Band;
use super::signals::{Measure, Signal, Signals};
use super::thresholds_file;

/// What a value must be for a condition to hold.
#[derive(Clone, Debug, PartialEq)]
pub enum Test {
    /// This word.
    Word(String),
    /// True, or false.
    Flag(bool),
    /// A number within all the bounds that are given.
    Number {
        /// This or more.
        at_least: Option<f64>,
        /// More than this.
        above: Option<f64>,
        /// This or less.
        at_most: Option<f64>,
        /// Less than this.
        below: Option<f64>,
    },
}

impl Test {
    /// True when the measured value meets it.
    pub fn holds(&self, measure: Measure) -> bool {
        match (self, measure) {
            (Self::Word(wanted), Measure::Word(word)) => wanted == word,
            (Self::Flag(wanted), Measure::Flag(flag)) => *wanted == flag,
            (Self::Number { at_least, above, at_most, below }, Measure::Number(value)) => {
                at_least.is_none_or(|limit| value >= limit)
                    && above.is_none_or(|limit| value > limit)
                    && at_most.is_none_or(|limit| value <= limit)
                    && below.is_none_or(|limit| value < limit)
            }
            _ => false,
        }
    }
}

/// A signal with the test that it must meet.
#[derive(Clone, Debug, PartialEq)]
pub struct Condition {
    /// Whose value.
    pub signal: Signal,
    /// What it must be.
    pub test: Test,
}

impl Condition {
    /// True when the signal was reported and meets the test.
    pub fn holds(&self, signals: &Signals) -> bool {
        signals.measure(self.signal).is_some_and(|measure| self.test.holds(measure))
    }
}

/// One threshold.
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    /// A stable code.
    pub id: String,
    /// The signal that counts, and its limit.
    pub condition: Condition,
    /// What must hold as well.
    pub with: Vec<Condition>,
    /// Only for these kinds of stoma; all when empty.
    pub kinds: Vec<StomaKind>,
    /// Where it leads.
    pub band: Band,
    /// Why, in words, with `{value}` and `{other_signal}` to be filled in.
    pub text: String,
    /// What to do meanwhile by the usual teaching; always there for the two most urgent bands.
    pub advice: Option<String>,
    /// True when it interrupts an assessment: it must be answered before signing.
    pub red_flag: bool,
    /// Where the limit or trigger comes from (the band is local).
    pub source: Source,
}

impl Rule {
    /// True when it applies to this kind of stoma and all its conditions hold.
    pub fn holds(&self, kind: StomaKind, signals: &Signals) -> bool {
        (self.kinds.is_empty() || self.kinds.contains(&kind))
            && self.condition.holds(signals)
            && self.with.iter().all(|condition| condition.holds(signals))
    }

    /// The text with the values filled in.
    pub fn words(&self, signals: &Signals) -> String {
        let fill = |text: String, name: &str, signal: Signal| match signals.measure(signal) {
            Some(measure) => text.replace(&format!("{{{name}}}"), &in_words(measure)),
            None => text,
        };
        let text = fill(self.text.clone(), "value", self.condition.signal);
        self.with.iter().fold(text, |text, condition| fill(text, condition.signal.code(), condition.signal))
    }
}

/// A whole number as it is, any other with up to two decimals.
fn in_words(measure: Measure) -> String {
    match measure {
        Measure::Word(word) => word.to_owned(),
        Measure::Flag(true) => "yes".to_owned(),
        Measure::Flag(false) => "no".to_owned(),
        // A third decimal may decide (1.251 is more than 1.25), so it is kept rather than rounded away.
        Measure::Number(value) => {
            let text = format!("{value:.3}");
            text.trim_end_matches('0').trim_end_matches('.').to_owned()
        }
    }
}

/// A whole set.
#[derive(Clone, Debug, PartialEq)]
pub struct Thresholds {
    /// The version, kept with every decision.
    pub version: String,
    /// Where the bands come from.
    pub bands: Source,
    /// The rules in the set's order.
    pub rules: Vec<Rule>,
}

/// Why a set was refused.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum ThresholdsError {
    /// Not TOML, or with missing or unknown keys.
    #[error("the thresholds cannot be read: {0}")]
    Form(String),
    /// A rule that makes no sense.
    #[error("threshold {rule}: {message}")]
    Rule {
        /// The rule's code.
        rule: String,
        /// What is wrong and what to write instead.
        message: String,
    },
}

impl Thresholds {
    /// Reads a set from TOML.
    ///
    /// # Errors
    /// [`ThresholdsError`] with the first fault found.
    pub fn from_toml(text: &str) -> Result<Self, ThresholdsError> {
        thresholds_file::read(text)
    }

    /// For each signal that counts its most urgent rule (the first of two alike), the most urgent first, then in the
    /// contract's order of signals.
    pub fn decisive(&self, kind: StomaKind, signals: &Signals) -> Vec<&Rule> {
        let mut found: Vec<&Rule> = self.rules.iter().filter(|rule| rule.holds(kind, signals)).collect();
        // Stable sorts: two alike stay in the set's order, so that the first of each signal is the one that decides.
        found.sort_by_key(|rule| (rule.condition.signal, rule.band));
        found.dedup_by_key(|rule| rule.condition.signal);
        found.sort_by_key(|rule| rule.band);
        found
    }
}

static SHIPPED: LazyLock<Result<Thresholds, ThresholdsError>> =
    LazyLock::new(|| Thresholds::from_toml(include_str!("thresholds.toml")));

/// The shipped set.
///
/// # Errors
/// Only if the built-in file itself is wrong, which a test rules out.
pub fn shipped() -> Result<&'static Thresholds, &'static ThresholdsError> {
    SHIPPED.as_ref()
}
