//! The signals that a record holds, kept with the week's row without what depends on the day.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::rules::{
    Band, Bleeding, Decision, Prolapse, Reason, ReviewDates, Separation, Signals, StomaColour, decide_urgency, shipped,
};
use crate::db::StoreError;
use crate::follow_up::rules::{Nation, StomaKind, WorkingDays};
use crate::skin::store::{StomaFound, Symptoms};

/// Signals known from the record.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Known {
    /// When the last assessment was.
    pub assessed_on: Option<NaiveDate>,
    /// Colour code.
    pub stoma_colour: Option<String>,
    /// mL.
    pub output_ml_24h: Option<u32>,
    /// Of ten.
    pub leaks_of_last_10: Option<u8>,
    /// 0 to 10.
    pub skin_pain: Option<u8>,
    /// Pain of the belly, 0 to 10.
    #[serde(default)]
    pub abdominal_pain: Option<u8>,
    /// Hours without output.
    #[serde(default)]
    pub no_output_hours: Option<u32>,
    /// Times a day.
    #[serde(default)]
    pub pouch_off_per_day: Option<u8>,
    /// Hours of the clock affected at the last assessment, with the worst finding of each: for the roundel.
    #[serde(default)]
    pub marked: Vec<(u8, String)>,
    /// Codes of findings and symptoms.
    #[serde(default)]
    pub codes: Vec<String>,
    /// Last score.
    pub score: Option<u32>,
    /// The one before.
    pub previous_score: Option<u32>,
    /// Reviews missed one after the other.
    pub missed_in_a_row: Option<u32>,
    /// Discharged on.
    pub discharge_on: Option<NaiveDate>,
    /// A contact was made since.
    pub first_contact_made: Option<bool>,
}

/// Days after discharge for which "no contact yet" counts; older records came here from elsewhere (local).
const FRESH_DAYS: u32 = 90;

impl Known {
    /// What one assessment tells.
    pub fn of_assessment(found: &StomaFound, symptoms: &Symptoms, score: u32, previous: Option<u32>) -> Self {
        Self {
            stoma_colour: found.colour.clone(),
            output_ml_24h: symptoms.output_ml_24h,
            leaks_of_last_10: symptoms.leaks_of_last_10,
            skin_pain: symptoms.skin_pain,
            abdominal_pain: symptoms.abdominal_pain,
            no_output_hours: symptoms.no_output_hours,
            pouch_off_per_day: symptoms.pouch_off_per_day,
            codes: found.findings.iter().chain(&symptoms.also).cloned().collect(),
            score: Some(score),
            previous_score: previous,
            ..Self::default()
        }
    }

    /// The signals of the engine; `today` and the review's last day give what depends on the day.
    pub fn signals(&self, today: Option<NaiveDate>, latest: Option<NaiveDate>) -> Signals {
        let has = |code: &str| self.codes.iter().any(|c| c == code).then_some(true);
        let word = |prefix: &str| self.codes.iter().find_map(|c| c.strip_prefix(prefix));
        let days = |from: Option<NaiveDate>| {
            from.zip(today).and_then(|(from, today)| u32::try_from((today - from).num_days()).ok())
        };
        let fresh = days(self.discharge_on).filter(|d| *d <= FRESH_DAYS && self.first_contact_made == Some(false));
        Signals {
            stoma_colour: self.stoma_colour.as_deref().and_then(|c| find(StomaColour::CODES, c)),
            output_ml_24h: self.output_ml_24h.map(f64::from),
            no_output_hours: self.no_output_hours.map(f64::from),
            vomiting: has("vomiting"),
            abdominal_pain: self.abdominal_pain.map(u32::from),
            bleeding: word("bleeding-").and_then(|c| find(Bleeding::CODES, c)),
            fever: has("fever"),
            spreading_redness: has("spreading-redness"),
            separation: word("separation-").and_then(|c| find(Separation::CODES, c)),
            prolapse: word("prolapse-").and_then(|c| find(Prolapse::CODES, c)),
            hernia: has("hernia"),
            rapid_painful_ulcer: has("rapid-painful-ulcer"),
            dehydration_signs: has("dehydration"),
            score: self.score,
            previous_score: self.previous_score,
            skin_pain: self.skin_pain.map(u32::from),
            leaks_of_last_10: self.leaks_of_last_10.map(u32::from),
            pouch_off_per_day: self.pouch_off_per_day.map(f64::from),
            overdue_days: days(latest).filter(|d| *d > 0),
            missed_in_a_row: self.missed_in_a_row.filter(|n| *n > 0),
            days_since_discharge: fresh,
            first_contact_made: fresh.and(self.first_contact_made),
            not_coping: has("not-coping"),
            ..Signals::default()
        }
    }

    /// What the signals ask for on a day.
    pub fn decide(
        &self,
        kind: &str,
        days: &WorkingDays,
        today: NaiveDate,
        review: Option<ReviewDates>,
    ) -> Result<Decision, StoreError> {
        let kind = StomaKind::from_code(kind).unwrap_or(StomaKind::Ileostomy);
        let thresholds = shipped().map_err(|e| StoreError::Backend(e.to_string()))?;
        let signals = self.signals(Some(today), review.and_then(|r| r.latest));
        Ok(decide_urgency(thresholds, today, days, kind, &signals, review))
    }

    /// True when the signals ask for more than the plan whatever the day.
    pub fn is_urgent(&self, kind: &str) -> Result<bool, StoreError> {
        let thresholds = shipped().map_err(|e| StoreError::Backend(e.to_string()))?;
        let Some(kind) = StomaKind::from_code(kind) else { return Ok(false) };
        let signals = self.signals(None, None);
        // The band rests on the signals alone; day and calendar only give the date to respond by.
        let decision = decide_urgency(
            thresholds,
            NaiveDate::default(),
            &WorkingDays::new(Nation::England, &[]),
            kind,
            &signals,
            None,
        );
        Ok(decision.band < Band::AsPlanned)
    }
}

fn find<T: Copy>(codes: &[(&str, T)], code: &str) -> Option<T> {
    codes.iter().find(|(c, _)| *c == code).map(|(_, value)| *value)
}

/// A red flag: what it is and what to do by the usual teaching.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RedFlag {
    /// Code of the threshold.
    pub rule: String,
    /// What was found, with source and standing.
    pub words: String,
    /// What to do; ends with the local escalation policy.
    pub advice: String,
}

/// What findings ask for, in words.
#[derive(Clone, Debug, Default)]
pub struct Urgency {
    /// What interrupts: to be answered before signing.
    pub red_flags: Vec<RedFlag>,
    /// Version of the thresholds that decided.
    pub thresholds: String,
    /// Every signal that counted, with band and source.
    pub reasons: Vec<String>,
    /// What to do meanwhile.
    pub advice: Vec<String>,
}

/// What one assessment asks for, before it is signed.
pub fn urgency_of_findings(
    kind: &str,
    days: &WorkingDays,
    today: NaiveDate,
    found: &StomaFound,
    symptoms: &Symptoms,
    scores: (u8, Option<u8>),
) -> Result<Urgency, StoreError> {
    let known = Known::of_assessment(found, symptoms, u32::from(scores.0), scores.1.map(u32::from));
    let decision = known.decide(kind, days, today, None)?;
    let source = |r: &Reason| format!("{}, {}", r.source.source, r.source.standing.words());
    let red_flags = decision.reasons.iter().filter(|r| r.red_flag).map(|r| RedFlag {
        rule: r.rule.clone(),
        words: format!("{} ({})", r.text, source(r)),
        advice: r.advice.clone().unwrap_or_default(),
    });
    Ok(Urgency {
        red_flags: red_flags.collect(),
        thresholds: decision.thresholds.clone(),
        reasons: decision.reasons.iter().map(|r| format!("{}: {} ({})", r.band.words(), r.text, source(r))).collect(),
        advice: decision.advice,
    })
}
