//! After an assessment: when to see the patient next, proposed from what was found.
//!
//! The intervals are data with source and standing (`next_review.toml`), mostly local proposals; the nurse decides. A proposal never moves
//! a review later than the one already planned, and it must not book anything.

use std::collections::BTreeSet;
use std::sync::LazyLock;

use chrono::{Days, NaiveDate};
use serde::Deserialize;

use crate::provenance::{Source, Standing};

use super::bands::Band;

/// What the proposal is made from; leave out what was not asked.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Findings<'a> {
    /// The skin's band in the service's band set.
    pub band: Option<Band>,
    /// Points now less points last time.
    pub change: Option<i16>,
    /// Of the last ten plate changes, how many had output under the plate.
    pub leaks_of_last_10: Option<u8>,
    /// Whole weeks since the stoma was formed.
    pub weeks_since_surgery: Option<u16>,
    /// Code of the likely cause that the nurse named.
    pub cause: Option<&'a str>,
    /// Kind of the stoma.
    pub kind: Option<&'a str>,
    /// Output in 24 hours, mL.
    pub output_ml_24h: Option<u32>,
}

/// When a rule applies; all bounds are inclusive.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum When {
    /// The skin is in this band.
    Band(Band),
    /// The score rose by so many points.
    Rise(i16, i16),
    /// So many of the last ten changes leaked.
    Leaks(u8, u8),
    /// So many weeks since surgery.
    Weeks(u16, u16),
    /// One of these causes was named.
    Cause(Vec<String>),
    /// So many mL in 24 hours, of one of these kinds of stoma.
    Output(u32, u32, Vec<String>),
    /// Whatever was found.
    Always,
}

/// One interval.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReviewRule {
    /// A stable code.
    pub id: String,
    /// When it applies.
    pub when: When,
    /// Days from the assessment.
    pub days: u16,
    /// Why, in words.
    pub words: String,
    /// Where the interval comes from.
    pub source: Source,
}

/// A file of rules.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct RulesFile {
    version: String,
    rule: Vec<RuleFile>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct RuleFile {
    id: String,
    band: Option<String>,
    rise: Option<(i16, i16)>,
    leaks: Option<(u8, u8)>,
    weeks: Option<(u16, u16)>,
    cause: Option<Vec<String>>,
    output_ml: Option<(u32, u32)>,
    kinds: Option<Vec<String>>,
    always: Option<bool>,
    days: u16,
    words: String,
    source: String,
    standing: Standing,
}

impl RuleFile {
    fn read(self) -> Result<ReviewRule, String> {
        let at = self.id.clone();
        let mut whens = Vec::new();
        if let Some(code) = &self.band {
            let all = [Band::None, Band::Mild, Band::Moderate, Band::Severe];
            let band = all.into_iter().find(|b| b.code() == code);
            whens.push(When::Band(band.ok_or_else(|| format!("{at}: there is no band {code}"))?));
        }
        whens.extend(self.rise.map(|(from, to)| When::Rise(from, to)));
        whens.extend(self.leaks.map(|(from, to)| When::Leaks(from, to)));
        whens.extend(self.weeks.map(|(from, to)| When::Weeks(from, to)));
        whens.extend(self.cause.map(When::Cause));
        whens.extend(self.output_ml.map(|(from, to)| When::Output(from, to, self.kinds.unwrap_or_default())));
        whens.extend(self.always.filter(|always| *always).map(|_| When::Always));
        if self.days == 0 {
            return Err(format!("{at}: an interval of no days would never end"));
        }
        match (whens.pop(), whens.is_empty()) {
            (Some(when), true) => Ok(ReviewRule {
                id: self.id,
                when,
                days: self.days,
                words: self.words,
                source: Source { source: self.source.into(), standing: self.standing },
            }),
            _ => Err(format!("{at}: must hold by exactly one thing")),
        }
    }
}

/// Rules read from such a file, with their version; the fault names the line or the rule.
pub fn read_rules(text: &str) -> Result<(String, Vec<ReviewRule>), String> {
    let file: RulesFile = toml::from_str(text).map_err(|fault| fault.to_string())?;
    let rules: Vec<ReviewRule> = file.rule.into_iter().map(RuleFile::read).collect::<Result<_, _>>()?;
    let ids: BTreeSet<&str> = rules.iter().map(|rule| rule.id.as_str()).collect();
    if ids.len() != rules.len() {
        return Err("two rules have one id".to_owned());
    }
    if !rules.iter().any(|rule| rule.when == When::Always) {
        return Err("one rule must always hold, so that nobody is left without a date".to_owned());
    }
    Ok((file.version, rules))
}

/// The shipped rules. Empty only if the file cannot be read, which a test rules out; then the review is proposed for
/// today, so that nobody is left without a date.
pub fn rules() -> &'static [ReviewRule] {
    static RULES: LazyLock<Vec<ReviewRule>> =
        LazyLock::new(|| read_rules(SHIPPED).map(|(_, rules)| rules).unwrap_or_default());
    &RULES
}

/// The text of the shipped file.
pub const SHIPPED: &str = include_str!("next_review.toml");

impl ReviewRule {
    /// True when the findings meet this rule; what was not asked meets none.
    pub fn applies(&self, findings: &Findings<'_>) -> bool {
        fn within<T: PartialOrd>(value: Option<T>, from: T, to: T) -> bool {
            value.is_some_and(|value| value >= from && value <= to)
        }
        match &self.when {
            When::Band(band) => findings.band == Some(*band),
            When::Rise(from, to) => within(findings.change, *from, *to),
            When::Leaks(from, to) => within(findings.leaks_of_last_10, *from, *to),
            When::Weeks(from, to) => within(findings.weeks_since_surgery, *from, *to),
            When::Cause(codes) => findings.cause.is_some_and(|cause| codes.iter().any(|code| code == cause)),
            When::Output(from, to, kinds) => {
                findings.kind.is_some_and(|kind| kinds.iter().any(|code| code == kind))
                    && within(findings.output_ml_24h, *from, *to)
            }
            When::Always => true,
        }
    }
}

/// One reason of a proposal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReviewReason {
    /// The rule's code; `planned` when an earlier planned review stands.
    pub rule: String,
    /// Days from today that this reason asks for.
    pub days: u16,
    /// A sentence for the page.
    pub words: String,
    /// Where the interval comes from.
    pub source: Source,
}

/// The proposed next review.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Proposal {
    /// Days from today.
    pub days: u16,
    /// The date that is, not yet moved to a working day (the calendar does that).
    pub on: NaiveDate,
    /// True when the review already planned stands as it is.
    pub keeps_planned: bool,
    /// Every rule that applied, the shortest interval first.
    pub reasons: Vec<ReviewReason>,
}

/// Proposes the next review from the shipped [`rules`].
pub fn propose(today: NaiveDate, planned: Option<NaiveDate>, findings: &Findings<'_>) -> Proposal {
    propose_by(rules(), today, planned, findings)
}

/// Proposes the next review from a rule set: the shortest interval that applies, never later than `planned`, the
/// review already planned. A planned date that has passed gives today. Without any rule that applies and without a
/// planned review the proposal is today, so that nobody is left without a date.
pub fn propose_by(
    rules: &[ReviewRule],
    today: NaiveDate,
    planned: Option<NaiveDate>,
    findings: &Findings<'_>,
) -> Proposal {
    let mut reasons: Vec<ReviewReason> = rules.iter().filter(|rule| rule.applies(findings)).map(reason_of).collect();
    // Stable: rules of one interval stay in the order of the set.
    reasons.sort_by_key(|reason| reason.days);
    let by_rules = reasons.first().map(|reason| reason.days);
    let until_planned = planned.map(|date| u16::try_from((date - today).num_days().max(0)).unwrap_or(u16::MAX));
    let keeps_planned = match (until_planned, by_rules) {
        (Some(until), Some(rule)) => until <= rule,
        (Some(_), None) => true,
        (None, _) => false,
    };
    let days = if keeps_planned { until_planned } else { by_rules }.unwrap_or(0);
    // Far beyond any date in use the planned one is exact and the count of days is capped.
    let mut on = today.checked_add_days(Days::new(u64::from(days))).unwrap_or(today);
    if let Some(date) = planned.filter(|_| keeps_planned) {
        on = date.max(today);
        reasons.insert(0, planned_reason(today, date, days));
    }
    Proposal { days, on, keeps_planned, reasons }
}

fn reason_of(rule: &ReviewRule) -> ReviewReason {
    let words = format!("Within {}: {}.", in_words(rule.days), rule.words);
    ReviewReason { rule: rule.id.clone(), days: rule.days, words, source: rule.source.clone() }
}

fn planned_reason(today: NaiveDate, planned: NaiveDate, days: u16) -> ReviewReason {
    let date = planned.format("%d-%b-%Y");
    let words = if planned < today {
        format!("The review planned for {date} has passed: offer the first free slot.")
    } else {
        format!("A review is already planned for {date}, no later than the findings ask for: it stands.")
    };
    let source = Source::new("Local rule: a proposal never moves a review later", Standing::Local);
    ReviewReason { rule: "planned".to_owned(), days, words, source }
}

fn in_words(days: u16) -> String {
    match days {
        365 => "a year".to_owned(),
        7 => "a week".to_owned(),
        weeks if weeks > 0 && weeks % 7 == 0 => format!("{} weeks", weeks / 7),
        1 => "1 day".to_owned(),
        other => format!("{other} days"),
    }
}
