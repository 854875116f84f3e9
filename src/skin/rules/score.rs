//! The 0–15 score from three domains, each an area (0–3 points) and a severity (0–2).
//!
//! Whatever breaks a rule is refused with the field's path and what to do; nothing is repaired. Bands are looked up in
//! [`super::bands`]; this file must hold no band limit.

use crate::json_input::FieldErrors;

use super::bands::{self, BandVerdict};

/// Below this share of the skin under the adhesive the area counts 1 point (percent).
/// Source: three-domain score sheet of a Canadian regional health directory (read): under 25 % = 1, 25–50 % = 2.
pub const PERCENT_TWO_POINTS: f64 = 25.0;
/// Above this share the area counts 3 points (percent). Source: the same sheet (read): over 50 % = 3.
pub const PERCENT_THREE_POINTS: f64 = 50.0;
/// Most points an area can have. Source: the same sheet (read).
pub const MOST_AREA_POINTS: u8 = 3;
/// Highest severity. Source: the same sheet (read).
pub const MOST_SEVERITY: u8 = 2;

/// What is looked at, in the order of forms and answers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Domain {
    /// Colour that differs from the patient's own skin elsewhere; its area includes the other two.
    Discolouration,
    /// Skin lost at the surface or deeper.
    Erosion,
    /// Tissue raised above the skin.
    Overgrowth,
}

impl Domain {
    /// All three, in the order of forms and answers.
    pub const ALL: [Self; 3] = [Self::Discolouration, Self::Erosion, Self::Overgrowth];

    /// The name in JSON and in field paths.
    pub fn code(self) -> &'static str {
        match self {
            Self::Discolouration => "discolouration",
            Self::Erosion => "erosion",
            Self::Overgrowth => "overgrowth",
        }
    }
}

/// How much of the skin under the adhesive is affected.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Area {
    /// Percent of the skin the adhesive covers, 0–100.
    Percent(f64),
    /// Area points as scored, 0–3.
    Points(u8),
}

impl Area {
    /// Area points: 0 → 0; above 0 and below 25 % → 1; 25 to 50 % inclusive → 2; above 50 % → 3.
    pub fn points(self) -> u8 {
        match self {
            Self::Points(points) => points,
            Self::Percent(percent) if percent > PERCENT_THREE_POINTS => MOST_AREA_POINTS,
            Self::Percent(percent) if percent >= PERCENT_TWO_POINTS => 2,
            Self::Percent(percent) if percent > 0.0 => 1,
            Self::Percent(_) => 0,
        }
    }

    /// The field a form or a request gives this area in.
    pub fn field(self) -> &'static str {
        match self {
            Self::Percent(_) => "area_percent",
            Self::Points(_) => "area_points",
        }
    }

    /// True when this area is larger than `other`: in percent where both are, else in points.
    fn exceeds(self, other: Self) -> bool {
        match (self, other) {
            (Self::Percent(mine), Self::Percent(theirs)) => mine > theirs,
            _ => self.points() > other.points(),
        }
    }
}

/// One domain as assessed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DomainInput {
    /// Share affected.
    pub area: Area,
    /// 0 unaffected, 1 or 2: the worst seen anywhere in the domain.
    pub severity: u8,
}

/// The three domains as assessed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Assessment {
    /// Discoloured skin, the eroded and overgrown included.
    pub discolouration: DomainInput,
    /// Eroded skin.
    pub erosion: DomainInput,
    /// Overgrown tissue.
    pub overgrowth: DomainInput,
}

/// One domain as scored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DomainScore {
    /// 0–3.
    pub area_points: u8,
    /// 0–2.
    pub severity: u8,
    /// Area points and severity added: 0 or 2–5.
    pub points: u8,
}

/// The three domains as scored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Domains {
    /// Discoloured skin.
    pub discolouration: DomainScore,
    /// Eroded skin.
    pub erosion: DomainScore,
    /// Overgrown tissue.
    pub overgrowth: DomainScore,
}

impl Domains {
    /// The score of one domain.
    pub fn of(&self, domain: Domain) -> DomainScore {
        match domain {
            Domain::Discolouration => self.discolouration,
            Domain::Erosion => self.erosion,
            Domain::Overgrowth => self.overgrowth,
        }
    }
}

/// The score with what it was made of. Keep the six sub-scores with the total, never a band alone.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Score {
    /// 0 or 2–15; a total of 1 cannot occur.
    pub score: u8,
    /// What it was made of.
    pub domains: Domains,
    /// The band in each shipped set, in the order of [`bands::SETS`].
    pub bands: Vec<BandVerdict>,
}

/// One domain as far as it could be read: what is missing was reported by the reader.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct DomainRead {
    /// Share affected.
    pub(super) area: Option<Area>,
    /// Severity.
    pub(super) severity: Option<u8>,
}

/// Scores an assessment.
///
/// # Errors
/// Every rule broken, with the field's path, as `erosion.area_percent`: an area outside 0–100 % or 0–3 points; a
/// severity above 2; a severity without an area or an area without a severity; more eroded or overgrown than
/// discoloured skin.
pub fn score(assessment: &Assessment) -> Result<Score, FieldErrors> {
    let mut errors = FieldErrors::default();
    let given = [assessment.discolouration, assessment.erosion, assessment.overgrowth];
    let read = given.map(|input| DomainRead { area: Some(input.area), severity: Some(input.severity) });
    let read = keep_in_range(read, &mut errors);
    let scored = score_read(read, &mut errors);
    errors.into_result(scored)
}

/// Reports values out of range and drops them, so that the rules between fields are checked on the rest.
fn keep_in_range(mut read: [DomainRead; 3], errors: &mut FieldErrors) -> [DomainRead; 3] {
    for (domain, input) in Domain::ALL.into_iter().zip(&mut read) {
        let path = domain.code();
        match input.area {
            Some(Area::Percent(percent)) if !(0.0..=100.0).contains(&percent) => {
                errors.add(format!("{path}.area_percent"), "must be a number from 0 to 100");
                input.area = None;
            }
            Some(Area::Points(points)) if points > MOST_AREA_POINTS => {
                errors.add(format!("{path}.area_points"), "must be a whole number from 0 to 3");
                input.area = None;
            }
            _ => {}
        }
        if input.severity.is_some_and(|severity| severity > MOST_SEVERITY) {
            errors.add(format!("{path}.severity"), "must be a whole number from 0 to 2");
            input.severity = None;
        }
    }
    read
}

/// Checks the rules between fields on what was read and scores when all of it was.
pub(super) fn score_read(read: [DomainRead; 3], errors: &mut FieldErrors) -> Option<Score> {
    for (domain, input) in Domain::ALL.into_iter().zip(&read) {
        check_severity(domain, input, errors);
    }
    if let Some(discoloured) = read[0].area {
        for (domain, input) in Domain::ALL.into_iter().zip(&read).skip(1) {
            if let Some(area) = input.area.filter(|area| area.exceeds(discoloured)) {
                errors.add(
                    format!("{}.{}", domain.code(), area.field()),
                    "must not exceed the discoloured area, which includes it: enlarge that one or correct this one",
                );
            }
        }
    }
    let [discolouration, erosion, overgrowth] = read.map(domain_score);
    let domains = Domains { discolouration: discolouration?, erosion: erosion?, overgrowth: overgrowth? };
    let score = domains.discolouration.points + domains.erosion.points + domains.overgrowth.points;
    Some(Score { score, domains, bands: bands::verdicts(score) })
}

/// Severity 0 if and only if the area is 0. Decided here: the published rule forces severity 0 where there is no area;
/// that an affected area has at least severity 1 is recalled, and a score of 1 is therefore impossible.
fn check_severity(domain: Domain, input: &DomainRead, errors: &mut FieldErrors) {
    let (Some(area), Some(severity)) = (input.area, input.severity) else { return };
    let field = || format!("{}.severity", domain.code());
    match (area.points(), severity) {
        (0, 1..) => errors.add(field(), "must be 0 where the area is 0: correct the area or the severity"),
        (1.., 0) => errors.add(field(), "must be 1 or 2 where an area is affected: correct the area or the severity"),
        _ => {}
    }
}

fn domain_score(input: DomainRead) -> Option<DomainScore> {
    let (area_points, severity) = (input.area?.points(), input.severity?);
    Some(DomainScore { area_points, severity, points: area_points.saturating_add(severity) })
}
