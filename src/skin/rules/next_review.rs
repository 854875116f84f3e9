//! After an assessment: when to see the patient next, proposed from what was found.
//!
//! The intervals are data with source and standing, mostly local proposals; the nurse decides. A proposal never moves
//! a review later than the one already planned, and it must not book anything.

use chrono::{Days, NaiveDate};

use crate::provenance::{Source, Standing};

use super::bands::Band;

/// What the proposal is made from; leave out what was not asked.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Findings {
    /// The skin's band in the service's band set.
    pub band: Option<Band>,
    /// Points now less points last time.
    pub change: Option<i16>,
    /// Of the last ten plate changes, how many had output under the plate.
    pub leaks_of_last_10: Option<u8>,
    /// Whole weeks since the stoma was formed.
    pub weeks_since_surgery: Option<u16>,
}

/// When a rule applies; all bounds are inclusive.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum When {
    /// The skin is in this band.
    Band(Band),
    /// The score rose by so many points.
    Rise(i16, i16),
    /// So many of the last ten changes leaked.
    Leaks(u8, u8),
    /// So many weeks since surgery.
    Weeks(u16, u16),
    /// Whatever was found.
    Always,
}

/// One interval.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReviewRule {
    /// A stable code.
    pub id: &'static str,
    /// When it applies.
    pub when: When,
    /// Days from the assessment.
    pub days: u16,
    /// Why, in words.
    pub words: &'static str,
    /// Where the interval comes from.
    pub source: Source,
}

const fn local(source: &'static str) -> Source {
    Source::new(source, Standing::Local)
}

/// The shipped rules. The shortest interval of all that apply is proposed.
pub static RULES: [ReviewRule; 12] = [
    ReviewRule {
        id: "severe",
        when: When::Band(Band::Severe),
        days: 7,
        words: "the skin is in the severe band",
        source: local("Local proposal; no interval by band is published"),
    },
    ReviewRule {
        id: "moderate",
        when: When::Band(Band::Moderate),
        days: 14,
        words: "the skin is in the moderate band",
        source: local(
            "Local proposal, after the two-week reassessment of a seal pilot at University Hospital Limerick \
             (Ostomy Wound Management)",
        ),
    },
    ReviewRule {
        id: "mild",
        when: When::Band(Band::Mild),
        days: 28,
        words: "the skin is in the mild band",
        source: local("Local proposal; no interval by band is published"),
    },
    ReviewRule {
        id: "rise-large",
        when: When::Rise(3, i16::MAX),
        days: 7,
        words: "the score has risen by 3 points or more",
        source: local("Local proposal; no smallest meaningful change of the score is published"),
    },
    ReviewRule {
        id: "rise-small",
        when: When::Rise(1, 2),
        days: 28,
        words: "the score has risen by 1 or 2 points, which may be noise between two people",
        source: local(
            "Local proposal, after Jemec et al., Br J Dermatol 2011;164(2):330–5 (kappa 0.54 between nurses)",
        ),
    },
    ReviewRule {
        id: "leaks-many",
        when: When::Leaks(4, u8::MAX),
        days: 7,
        words: "4 or more of the last 10 changes had leaked",
        source: local(
            "Local proposal of days; the limit of 4 in 10, from which quality of life is clearly worse, is from WCET J \
             2020;40(4):23–29",
        ),
    },
    ReviewRule {
        id: "leaks-some",
        when: When::Leaks(1, 3),
        days: 28,
        words: "1 to 3 of the last 10 changes had leaked",
        source: local(
            "Local proposal; a leak brings a review forward in Bristol, N Somerset and S Glos ICB's pathway, 2024",
        ),
    },
    ReviewRule {
        id: "first-weeks",
        when: When::Weeks(0, 1),
        days: 7,
        words: "surgery was less than 2 weeks ago",
        source: local(
            "Local proposal, after the study visits of Salvadalena, J WOCN 2013;40(4):400–6 (by day 7, week 2, 6, 12)",
        ),
    },
    ReviewRule {
        id: "early-weeks",
        when: When::Weeks(2, 5),
        days: 14,
        words: "surgery was 2 to 5 weeks ago, when skin trouble most often begins",
        source: local("Local proposal of days; onset most often day 21–40 in Salvadalena, J WOCN 2013;40(4):400–6"),
    },
    ReviewRule {
        id: "to-three-months",
        when: When::Weeks(6, 12),
        days: 42,
        words: "surgery was 6 to 12 weeks ago and the stoma is still changing size",
        source: local("Local proposal, after the study visits of Salvadalena, J WOCN 2013;40(4):400–6 (week 6 and 12)"),
    },
    ReviewRule {
        id: "first-year",
        when: When::Weeks(13, 51),
        days: 91,
        words: "surgery was less than a year ago",
        source: local("Local proposal, after Dartford and Gravesham NHS Trust's clinics at 3, 6 and 12 months"),
    },
    ReviewRule {
        id: "yearly",
        when: When::Always,
        days: 365,
        words: "everyone with a stoma is seen at least once a year",
        source: Source::new(
            "Bristol, North Somerset and South Gloucestershire ICB, Remedy: Stoma care, checked 2024: every 12 months, \
             all patients",
            Standing::Read,
        ),
    },
];

impl ReviewRule {
    /// True when the findings meet this rule; what was not asked meets none.
    pub fn applies(&self, findings: &Findings) -> bool {
        fn within<T: PartialOrd>(value: Option<T>, from: T, to: T) -> bool {
            value.is_some_and(|value| value >= from && value <= to)
        }
        match self.when {
            When::Band(band) => findings.band == Some(band),
            When::Rise(from, to) => within(findings.change, from, to),
            When::Leaks(from, to) => within(findings.leaks_of_last_10, from, to),
            When::Weeks(from, to) => within(findings.weeks_since_surgery, from, to),
            When::Always => true,
        }
    }
}

/// One reason of a proposal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReviewReason {
    /// The rule's code; `planned` when an earlier planned review stands.
    pub rule: &'static str,
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

/// Proposes the next review from the shipped [`RULES`].
pub fn propose(today: NaiveDate, planned: Option<NaiveDate>, findings: &Findings) -> Proposal {
    propose_by(&RULES, today, planned, findings)
}

/// Proposes the next review from a rule set: the shortest interval that applies, never later than `planned`, the
/// review already planned. A planned date that has passed gives today. Without any rule that applies and without a
/// planned review the proposal is today, so that nobody is left without a date.
pub fn propose_by(rules: &[ReviewRule], today: NaiveDate, planned: Option<NaiveDate>, findings: &Findings) -> Proposal {
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
    ReviewReason { rule: rule.id, days: rule.days, words, source: rule.source.clone() }
}

fn planned_reason(today: NaiveDate, planned: NaiveDate, days: u16) -> ReviewReason {
    let date = planned.format("%d-%b-%Y");
    let words = if planned < today {
        format!("The review planned for {date} has passed: offer the first free slot.")
    } else {
        format!("A review is already planned for {date}, no later than the findings ask for: it stands.")
    };
    ReviewReason { rule: "planned", days, words, source: local("Local rule: a proposal never moves a review later") }
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
