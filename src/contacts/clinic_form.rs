//! What the clinic form sends, read into facts or into everything that is wrong.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::dates_in;
use crate::skin::rules::Score;
use crate::skin::store::{DomainJudged, Judged, StomaFound, Symptoms};

/// Codes and words of what may be found at the stoma. The codes are those of the urgency and supply rules.
pub const STOMA_FINDINGS: [(&str, &str); 10] = [
    ("separation-partial", "Edge parted from the skin over some hours"),
    ("separation-full", "Edge parted from the skin all round"),
    ("retraction", "Lies below the skin"),
    ("flush", "Level with the skin"),
    ("prolapse-reducible", "Slid out, goes back"),
    ("prolapse-irreducible", "Slid out, does not go back"),
    ("hernia", "Bulge beside it"),
    ("bleeding-stops-with-pressure", "Bleeds, pressure stops it"),
    ("bleeding-does-not-stop", "Bleeds, pressure does not stop it"),
    ("varices", "Widened veins around it"),
];

/// Codes and words of what the patient may tell or the nurse see besides.
pub const ALSO: [(&str, &str); 11] = [
    ("itch", "Itch"),
    ("burning", "Burning"),
    ("broken-skin", "Skin broken or weeping"),
    ("ulceration", "Ulcer in the skin"),
    ("rapid-painful-ulcer", "Very painful ulcer that grows fast"),
    ("spreading-redness", "Hot skin, redness or darkening that spreads"),
    ("fever", "Fever or shivering"),
    ("dehydration", "Thirst, dizziness, little dark urine"),
    ("vomiting", "Vomiting"),
    ("loose-output", "Output looser than usual"),
    ("not-coping", "Says it is too much"),
];

/// Codes and words of the likely cause; the usual groups of the trade (common practice). The nurse decides.
pub const CAUSES: [(&str, &str); 9] = [
    ("output-on-skin", "Output on the skin (irritant)"),
    ("stripping", "Adhesive stripping or tearing"),
    ("allergy", "Contact allergy"),
    ("yeast", "Yeast"),
    ("hair-roots", "Inflamed hair roots"),
    ("pressure", "Pressure of the appliance"),
    ("moisture-overgrowth", "Overgrowth from lasting moisture"),
    ("other", "Another cause, named in the plan"),
    ("not-clear", "Not clear yet"),
];

/// Stoma colours, code and word.
pub const COLOURS: [(&str, &str); 5] =
    [("pink", "Pink"), ("red", "Red"), ("pale", "Pale"), ("dusky", "Dusky, blue or grey"), ("black", "Black or brown")];

/// Modes, code and word.
pub const MODES: [(&str, &str); 5] =
    [("clinic", "Clinic"), ("phone", "Telephone"), ("home", "Home"), ("ward", "Ward"), ("video", "Video")];

/// Area of a domain by points.
pub const AREAS: [(&str, &str); 4] =
    [("0", "None"), ("1", "Under a quarter"), ("2", "A quarter to a half"), ("3", "Over a half")];

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
    pub wear: String,
    pub pain: String,
    pub output: String,
    pub told: String,
    pub stoma_same: String,
    pub width: String,
    pub height: String,
    pub protrusion: String,
    pub colour: String,
    pub stoma_findings: Vec<String>,
    pub skin_clear: String,
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
    /// What was judged.
    pub judged: Judged,
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

fn whole<T: std::str::FromStr + PartialOrd + Copy + std::fmt::Display>(
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
            output_ml_24h: whole(&self.output, "output", "the output in mL", 0..=20_000, &mut wrong),
            also: self.also.iter().filter(|code| known(&ALSO, code)).cloned().collect(),
        };
        let found = self.read_stoma(last, &mut wrong);
        let judged = self.read_skin(&mut wrong);
        if !self.cause.is_empty() && !known(&CAUSES, &self.cause) {
            wrong.push(("cause", "Choose one of the causes".to_owned()));
        }
        for (name, text, most) in [("told", &self.told, 4_000), ("plan", &self.plan, 4_000)] {
            if text.chars().count() > most {
                wrong.push((name, format!("Shorten this to {most} characters")));
            }
        }
        if self.is_amendment() && self.amend_reason.trim().chars().count() < 5 {
            wrong.push(("amend_reason", "Write why the assessment is amended".to_owned()));
        }
        let next = if self.is_amendment() { None } else { self.read_next(today, &mut wrong) };
        // The score only when its inputs are there; its own rules may find more.
        let score = judged.and_then(|judged| match judged.score() {
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
        match (on, judged, score) {
            (Some(on), Some(judged), Some(score)) if wrong.is_empty() => Ok(Recorded {
                on,
                judged,
                score,
                symptoms,
                found,
                cause: Some(self.cause.clone()).filter(|c| !c.is_empty()),
                next,
            }),
            _ => Err(wrong),
        }
    }

    fn read_stoma(&self, last: &LastFound, wrong: &mut Wrong) -> StomaFound {
        let mut found = StomaFound {
            width_mm: whole(&self.width, "width", "the width in mm", 1..=300, wrong),
            height_mm: whole(&self.height, "height", "the height in mm", 1..=300, wrong),
            protrusion_mm: whole(&self.protrusion, "protrusion", "the protrusion in mm", -50..=300, wrong),
            colour: None,
            findings: self.stoma_findings.iter().filter(|code| known(&STOMA_FINDINGS, code)).cloned().collect(),
        };
        let measured = found.width_mm.is_some() || found.height_mm.is_some() || found.protrusion_mm.is_some();
        match (self.stoma_same.as_str(), last) {
            ("yes", Some(_)) if measured => {
                wrong.push(("stoma_same", "Size is entered below: choose “Measured now”, or clear it".to_owned()));
            }
            ("yes", Some(last)) => {
                found.width_mm = last.width_mm;
                found.height_mm = last.height_mm;
                found.protrusion_mm = last.protrusion_mm;
            }
            ("no", _) | ("", None) => {}
            _ => wrong.push(("stoma_same", "Say whether the size is as last time".to_owned())),
        }
        if known(&COLOURS, &self.colour) {
            found.colour = Some(self.colour.clone());
        } else {
            wrong.push(("colour", "Choose the colour of the stoma".to_owned()));
        }
        for (one, other, words) in [
            ("separation-partial", "separation-full", "Choose one of the two separations"),
            ("prolapse-reducible", "prolapse-irreducible", "Choose one of the two prolapses"),
            ("bleeding-stops-with-pressure", "bleeding-does-not-stop", "Choose one of the two bleedings"),
        ] {
            let has = |code: &str| found.findings.iter().any(|f| f == code);
            if has(one) && has(other) {
                wrong.push(("stoma_findings", words.to_owned()));
            }
        }
        found
    }

    fn read_skin(&self, wrong: &mut Wrong) -> Option<Judged> {
        let parts = [
            ("discolouration_area", "discolouration", &self.discolouration_area, &self.discolouration_severity),
            ("erosion_area", "erosion", &self.erosion_area, &self.erosion_severity),
            ("overgrowth_area", "overgrowth", &self.overgrowth_area, &self.overgrowth_severity),
        ];
        match self.skin_clear.as_str() {
            "yes" => {
                let touched = parts.iter().any(|(.., area, severity)| {
                    !matches!(area.as_str(), "" | "0") || !matches!(severity.as_str(), "" | "0")
                });
                if touched {
                    wrong.push(("skin_clear", "A domain is scored below: choose “Not clear”, or clear it".to_owned()));
                    return None;
                }
                Some(Judged::default())
            }
            "no" => {
                let mut judged = [DomainJudged::default(); 3];
                let mut whole = true;
                for (slot, (field, word, area, severity)) in judged.iter_mut().zip(parts) {
                    let area_points: Option<u8> = area.parse().ok().filter(|a| *a <= 3);
                    let severity: Option<u8> = match (severity.as_str(), area_points) {
                        ("", Some(0)) => Some(0), // nothing affected has no severity to choose
                        (text, _) => text.parse().ok().filter(|s| *s <= 2),
                    };
                    if let (Some(area_points), Some(severity)) = (area_points, severity) {
                        *slot = DomainJudged { area_points, severity };
                    } else {
                        wrong.push((field, format!("Choose area and severity of {word}, “None” included")));
                        whole = false;
                    }
                }
                let [discolouration, erosion, overgrowth] = judged;
                whole.then_some(Judged { discolouration, erosion, overgrowth })
            }
            _ => {
                wrong.push(("skin_clear", "Say whether the skin is clear all round".to_owned()));
                None
            }
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

/// True when the list has the code.
pub fn known(list: &[(&str, &str)], code: &str) -> bool {
    list.iter().any(|(c, _)| *c == code)
}

/// The words of a code, or the code.
pub fn words<'a>(list: &'a [(&'a str, &'a str)], code: &'a str) -> &'a str {
    list.iter().find(|(c, _)| *c == code).map_or(code, |(_, words)| words)
}
