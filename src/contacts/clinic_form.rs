//! What the clinic form sends, read into facts or into everything that is wrong.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::clinic_words::{ALSO, MODES, SKIN_TONES, known};
use crate::dates_in;
use crate::skin::rules::{MapCell, Score, causes};
use crate::skin::store::{Inputs, StomaFound, Symptoms};

/// What the form sends.
#[derive(Clone, Debug, Default, Deserialize, Serialize)]
#[serde(default)]
#[allow(missing_docs, reason = "one field per question of the form, as typed")]
pub struct ClinicForm {
    pub patient: String,
    /// Id of the contact that this form makes; sending it twice makes one.
    pub once: String,
    /// Id of the assessment that it makes.
    pub assessment: String,
    /// Id of the assessment that it amends.
    pub amends: String,
    pub amend_reason: String,
    pub stoma: String,
    pub mode: String,
    /// Id of the review that this was, or `no`.
    pub review: String,
    pub on: String,
    pub leaks: String,
    /// Hour where the leak runs.
    pub leak_hour: String,
    pub wear: String,
    pub pouch_off: String,
    pub pain: String,
    pub itch: String,
    pub burning: String,
    pub output: String,
    pub consistency: String,
    pub no_output: String,
    pub belly: String,
    pub told: String,
    pub stoma_same: String,
    pub width: String,
    pub height: String,
    pub protrusion: String,
    pub shape: String,
    /// Gap between stoma and opening all round.
    pub gap: String,
    pub plate: String,
    pub plate_left: String,
    pub plate_head: String,
    pub colour: String,
    pub stoma_findings: Vec<String>,
    /// First and last hour where the edge has parted.
    pub parted_from: String,
    pub parted_to: String,
    pub prolapse: String,
    pub bulge: String,
    pub skin_clear: String,
    pub skin_tone: String,
    /// Cells of the map, as `3-1-eroded`: hour, ring, finding; empty for a clear one.
    pub cells: Vec<String>,
    pub range_finding: String,
    pub range_from: String,
    pub range_to: String,
    /// Ring, or `all`.
    pub range_ring: String,
    /// Why an area is judged otherwise than the map gives it.
    pub area_reason: String,
    /// Signs for or against a cause.
    pub signs: Vec<String>,
    pub discolouration_area: String,
    pub discolouration_severity: String,
    pub erosion_area: String,
    pub erosion_severity: String,
    pub overgrowth_area: String,
    pub overgrowth_severity: String,
    pub also: Vec<String>,
    pub cause: String,
    pub plan: String,
    pub next: String,
    pub next_on: String,
    pub next_reason: String,
    /// Answer to the red flags that were shown, and why.
    pub red_flag: String,
    pub red_flag_reason: String,
    /// Id of the newest assessment of the patient when the form was opened, or `none`.
    pub base: String,
    /// What the button asks for besides signing: `mark` a range, show the `causes`.
    pub act: String,
    /// Fingerprint of what was shown for checking.
    pub checked: String,
}

/// When the next review shall be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Next {
    /// As the findings propose.
    Proposed,
    /// As planned.
    Planned,
    /// On this day, for this reason.
    Other(NaiveDate, String),
}

/// A good form.
#[derive(Clone, Debug)]
pub struct Recorded {
    /// When it was.
    pub on: NaiveDate,
    /// What was judged, with what belongs to the map.
    pub inputs: Inputs,
    /// The marked cells.
    pub cells: Vec<MapCell>,
    /// Scored by the rules.
    pub score: Score,
    /// What was told.
    pub symptoms: Symptoms,
    /// What was found.
    pub found: StomaFound,
    /// Cause code.
    pub cause: Option<String>,
    /// Next review; none for an amendment.
    pub next: Option<Next>,
}

/// What is wrong: field and words.
pub type Wrong = Vec<(&'static str, String)>;

/// The last visit's stoma measures, which may be confirmed.
pub type LastFound = Option<StomaFound>;

/// A whole number within a range, or nothing where nothing was typed.
pub(super) fn whole<T: std::str::FromStr + PartialOrd + Copy + std::fmt::Display>(
    typed: &str,
    name: &'static str,
    what: &str,
    range: std::ops::RangeInclusive<T>,
    wrong: &mut Wrong,
) -> Option<T> {
    let typed = typed.trim();
    if typed.is_empty() {
        return None;
    }
    let read = typed.parse().ok().filter(|n| range.contains(n));
    if read.is_none() {
        wrong.push((name, format!("Enter {what} as a whole number from {} to {}", range.start(), range.end())));
    }
    read
}

impl ClinicForm {
    /// Area and severity of the three domains as typed.
    pub fn domains(&self) -> [(&str, &str); 3] {
        [
            (&self.discolouration_area, &self.discolouration_severity),
            (&self.erosion_area, &self.erosion_severity),
            (&self.overgrowth_area, &self.overgrowth_severity),
        ]
    }

    /// True when it amends an earlier assessment.
    pub fn is_amendment(&self) -> bool {
        !self.amends.is_empty()
    }

    /// Reads everything, or says everything that is wrong, in the order of the page.
    pub fn read(&self, last: &LastFound, surgery_on: Option<NaiveDate>, today: NaiveDate) -> Result<Recorded, Wrong> {
        let mut wrong = Wrong::new();
        if !self.is_amendment() && !known(&MODES, &self.mode) {
            wrong.push(("mode", "Choose how the contact took place".to_owned()));
        }
        if !self.is_amendment() && self.review.is_empty() {
            wrong.push(("review", "Say whether this was the planned review".to_owned()));
        }
        let on = match dates_in::read_date(&self.on, today) {
            Ok(on) if on > today => Err("The date must be today or in the past".to_owned()),
            Ok(on) if surgery_on.is_some_and(|s| on < s) => Err("The date lies before the surgery".to_owned()),
            Ok(on) => Ok(on),
            Err(problem) => Err(problem.to_string()),
        };
        let on = on.map_err(|text| wrong.push(("on", text))).ok();
        let symptoms = Symptoms {
            leaks_of_last_10: whole(&self.leaks, "leaks", "the leaks in the last 10 changes", 0..=10, &mut wrong),
            wear_days: whole(&self.wear, "wear", "the wear in days", 0..=30, &mut wrong),
            skin_pain: whole(&self.pain, "pain", "the pain", 0..=10, &mut wrong),
            itch: whole(&self.itch, "itch", "the itch", 0..=10, &mut wrong),
            burning: whole(&self.burning, "burning", "the burning", 0..=10, &mut wrong),
            abdominal_pain: whole(&self.belly, "belly", "the pain of the belly", 0..=10, &mut wrong),
            leak_hour: whole(&self.leak_hour, "leak_hour", "the hour where the leak runs", 1..=12, &mut wrong),
            pouch_off_per_day: whole(&self.pouch_off, "pouch_off", "the times the pouch came off", 0..=50, &mut wrong),
            no_output_hours: whole(&self.no_output, "no_output", "the hours without output", 0..=10_000, &mut wrong),
            output_ml_24h: whole(&self.output, "output", "the output in mL", 0..=20_000, &mut wrong),
            also: self.also.iter().filter(|code| known(&ALSO, code)).cloned().collect(),
        };
        if symptoms.leak_hour.is_some() && symptoms.leaks_of_last_10 == Some(0) {
            wrong.push(("leak_hour", "No leak is entered: clear the hour, or correct the leaks".to_owned()));
        }
        let found = self.read_stoma(last, &mut wrong);
        let skin = self.read_skin(&found, &mut wrong);
        let causes = causes::shipped().ok();
        if !self.cause.is_empty() && causes.is_none_or(|set| set.choices().all(|(code, _)| code != self.cause)) {
            wrong.push(("cause", "Choose one of the causes".to_owned()));
        }
        if !self.skin_tone.is_empty() && !known(&SKIN_TONES, &self.skin_tone) {
            wrong.push(("skin_tone", "Choose one of the tones".to_owned()));
        }
        for (name, text, most) in
            [("told", &self.told, 4_000), ("plan", &self.plan, 4_000), ("area_reason", &self.area_reason, 500)]
        {
            if text.chars().count() > most {
                wrong.push((name, format!("Shorten this to {most} characters")));
            }
        }
        if self.is_amendment() && self.amend_reason.trim().chars().count() < 5 {
            wrong.push(("amend_reason", "Write why the assessment is amended".to_owned()));
        }
        let next = if self.is_amendment() { None } else { self.read_next(today, &mut wrong) };
        // The score only when its inputs are there; its own rules may find more.
        let score = skin.as_ref().and_then(|(inputs, _)| match inputs.judged.score() {
            Ok(score) => Some(score),
            Err(errors) => {
                for error in errors.errors {
                    let field = match error.field.split('.').next() {
                        Some("erosion") => "erosion_area",
                        Some("overgrowth") => "overgrowth_area",
                        _ => "discolouration_area",
                    };
                    wrong.push((field, error.message));
                }
                None
            }
        });
        match (on, skin, score) {
            (Some(on), Some((inputs, cells)), Some(score)) if wrong.is_empty() => Ok(Recorded {
                on,
                inputs,
                cells,
                score,
                symptoms,
                found,
                cause: Some(self.cause.clone()).filter(|c| !c.is_empty()),
                next,
            }),
            _ => Err(wrong),
        }
    }

    fn read_next(&self, today: NaiveDate, wrong: &mut Wrong) -> Option<Next> {
        match self.next.as_str() {
            "proposed" => Some(Next::Proposed),
            "planned" => Some(Next::Planned),
            "other" => {
                let on = match dates_in::read_date(&self.next_on, today) {
                    Ok(on) if on < today => Err("The next review cannot lie in the past".to_owned()),
                    Ok(on) => Ok(on),
                    Err(problem) => Err(problem.to_string()),
                };
                let reason = self.next_reason.trim();
                if reason.chars().count() < 3 {
                    wrong.push(("next_reason", "Write why this day".to_owned()));
                }
                on.map_err(|text| wrong.push(("next_on", text))).ok().map(|on| Next::Other(on, reason.to_owned()))
            }
            _ => {
                wrong.push(("next", "Choose the next review".to_owned()));
                None
            }
        }
    }
}
