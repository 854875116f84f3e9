//! From signals to a decision: the most urgent band of any signal, the date, and every reason.
//!
//! Deterministic: same signals, same thresholds, same day, same answer. It must not hold a limit or read the clock.

use chrono::NaiveDate;

use crate::follow_up::rules::calendar::WorkingDays;
use crate::follow_up::rules::facts::StomaKind;
use crate::provenance::Source;

use super::band::Band;
use super::signals::{Signal, Signals};
use super::thresholds::Thresholds;

/// The dates of the patient's open review; at least one is known.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ReviewDates {
    /// The planned date.
    pub planned: Option<NaiveDate>,
    /// The latest date of its window.
    pub latest: Option<NaiveDate>,
}

/// One signal that counted.
#[derive(Clone, Debug, PartialEq)]
pub struct Reason {
    /// The signal.
    pub signal: Signal,
    /// The band it asks for.
    pub band: Band,
    /// The code of the threshold.
    pub rule: String,
    /// Why, in words.
    pub text: String,
    /// What to do meanwhile, where it says something.
    pub advice: Option<String>,
    /// True when it interrupts an assessment.
    pub red_flag: bool,
    /// Where the limit or trigger comes from.
    pub source: Source,
}

/// What the signals ask for.
#[derive(Clone, Debug, PartialEq)]
pub struct Decision {
    /// The most urgent band of any reason; [`Band::AsPlanned`] without one.
    pub band: Band,
    /// The last day to respond on; `None` when nothing is asked and no review is planned.
    pub respond_by: Option<NaiveDate>,
    /// Every signal that counted, the most urgent first, then in the contract's order.
    pub reasons: Vec<Reason>,
    /// What to do meanwhile, in the order of the reasons, each said once.
    pub advice: Vec<String>,
    /// The version of the thresholds that decided.
    pub thresholds: String,
}

/// Decides how soon a patient should be seen.
///
/// The date is today, today plus 1, 5 or 10 working days, or, as planned, the review's planned date (its latest one
/// where no date is planned). Today need not be a working day: the same day is still today. A date in the past is
/// possible only as planned; report `overdue_days` for it to count.
pub fn decide_urgency(
    thresholds: &Thresholds,
    today: NaiveDate,
    days: &WorkingDays,
    kind: StomaKind,
    signals: &Signals,
    review: Option<ReviewDates>,
) -> Decision {
    let rules = thresholds.decisive(kind, signals);
    let band = rules.first().map_or(Band::AsPlanned, |rule| rule.band);
    let respond_by = match band.working_days() {
        Some(count) => Some(days.add_working_days(today, count)),
        None => review.and_then(|review| review.planned.or(review.latest)),
    };
    let mut advice: Vec<String> = Vec::new();
    for said in rules.iter().filter_map(|rule| rule.advice.as_ref()) {
        if !advice.contains(said) {
            advice.push(said.clone());
        }
    }
    let reasons = rules
        .iter()
        .map(|rule| Reason {
            signal: rule.condition.signal,
            band: rule.band,
            rule: rule.id.clone(),
            text: rule.words(signals),
            advice: rule.advice.clone(),
            red_flag: rule.red_flag,
            source: rule.source.clone(),
        })
        .collect();
    Decision { band, respond_by, reasons, advice, thresholds: thresholds.version.clone() }
}
