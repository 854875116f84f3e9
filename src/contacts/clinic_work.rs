//! What the clinic form rests on, and what signing it will do, worked out by the rules before anything is written.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::clinic_advice::coding;
use super::clinic_form::{ClinicForm, Recorded};
use super::clinic_page::Checked;
use crate::access::store as people;
use crate::db::ids::{AssessmentId, PatientId, ServiceId, StaffId};
use crate::db::{Conn, StoreError};
use crate::display;
use crate::follow_up::calendar;
use crate::follow_up::rules::WorkingDays;
use crate::follow_up::store::{self as reviews, Review};
use crate::patients::identifiers::Identifier;
use crate::patients::store::{self as patients, Patient};
use crate::skin::rules::{Findings, MapCell, Proposal, Scorers, bands, describe_change, propose};
use crate::skin::store::{self as skin, AssessmentRow, StomaFound};
use crate::stomas::store::{self as stomas, Stoma};
use crate::urgency::{Urgency, urgency_of_findings};
use crate::web::{AppError, Signed};

/// How far ahead a planned review may lie to count as the one that takes place today, in days (local).
const EARLY_DAYS: i64 = 42;

/// What the form rests on.
pub(super) struct Facts {
    pub(super) patient: Patient,
    pub(super) identifiers: Vec<Identifier>,
    pub(super) stomas: Vec<Stoma>,
    pub(super) reviews: Vec<Review>,
    pub(super) assessments: Vec<AssessmentRow>,
    pub(super) maps: BTreeMap<AssessmentId, Vec<MapCell>>,
    pub(super) staff: Vec<(StaffId, String)>,
    pub(super) days: WorkingDays,
}

/// Loads it.
pub(super) fn load(conn: &mut Conn, service: ServiceId, id: PatientId) -> Result<Facts, StoreError> {
    Ok(Facts {
        patient: patients::find(conn, service, id)?,
        identifiers: patients::identifiers_of(conn, service, id)?,
        stomas: stomas::of_patient(conn, service, id)?.into_iter().filter(|s| s.reversed_on.is_none()).collect(),
        reviews: reviews::of_patient(conn, service, id)?,
        assessments: skin::of_patient(conn, service, id, false)?,
        maps: skin::maps_of(conn, service, id)?,
        days: calendar::of_service(conn, service)?,
        staff: people::everybody(conn, service)?.into_iter().map(|s| (s.id, s.display_name)).collect(),
    })
}

impl Facts {
    /// The stoma that the form is about: the one named, or the only one.
    pub(super) fn stoma(&self, named: &str) -> Option<&Stoma> {
        match self.stomas.as_slice() {
            [only] => Some(only),
            several => several.iter().find(|s| s.id.to_string() == named),
        }
    }

    pub(super) fn open(&self, stoma: Option<&Stoma>) -> Vec<&Review> {
        let of =
            |r: &&Review| r.is_open() && (self.stomas.len() == 1 || stoma.is_none_or(|s| Some(s.id) == r.stoma_id));
        let mut open: Vec<&Review> = self.reviews.iter().filter(of).collect();
        open.sort_by_key(|r| (r.due_on(), r.id));
        open
    }

    /// The review that this contact may be: due by now, or booked, or not far ahead.
    pub(super) fn review(&self, stoma: Option<&Stoma>, today: NaiveDate) -> Option<&Review> {
        let first = self.open(stoma).into_iter().next()?;
        ((first.due_on() - today).num_days() <= EARLY_DAYS).then_some(first)
    }

    /// Assessments of a stoma before the one being amended, newest first.
    pub(super) fn before(&self, stoma: Option<&Stoma>, amends: &str) -> Vec<&AssessmentRow> {
        let of = |a: &&AssessmentRow| stoma.is_some_and(|s| s.id == a.stoma_id) && a.id.to_string() != amends;
        self.assessments.iter().filter(of).collect()
    }

    /// The marked cells of an assessment.
    pub(super) fn cells(&self, of: AssessmentId) -> &[MapCell] {
        self.maps.get(&of).map_or(&[], Vec::as_slice)
    }

    /// The newest assessment of the patient as a form carries it: what it was opened upon.
    pub(super) fn base(&self) -> String {
        let newest = self.assessments.iter().max_by_key(|a| (a.signed_at, a.id));
        newest.map_or_else(|| "none".to_owned(), |a| a.id.to_string())
    }

    /// The name of somebody in the service.
    pub(super) fn name(&self, id: StaffId) -> String {
        self.staff.iter().find(|(known, _)| *known == id).map_or_else(|| "somebody".to_owned(), |(_, n)| n.clone())
    }
}

/// What signing will do, worked out by the rules.
pub(super) struct Worked {
    pub(super) recorded: Recorded,
    pub(super) stoma: Stoma,
    pub(super) review: Option<Review>,
    pub(super) proposal: Proposal,
    pub(super) proposed_on: NaiveDate,
    pub(super) urgency: Urgency,
    pub(super) previous: Option<(u8, bool)>,
    /// How the stoma changed since last time.
    pub(super) stoma_change: Vec<String>,
}

/// Works it out.
pub(super) fn work(
    facts: &Facts,
    form: &ClinicForm,
    recorded: Recorded,
    signed: &Signed,
    today: NaiveDate,
) -> Result<Worked, AppError> {
    let stoma = facts.stoma(&form.stoma).ok_or(AppError::NotFound)?.clone();
    let review = match form.review.as_str() {
        "no" | "" => None,
        id => {
            let found = facts.open(Some(&stoma)).into_iter().find(|r| r.id.to_string() == id).cloned();
            Some(found.ok_or_else(|| {
                AppError::Conflict(
                    "The planned review was closed meanwhile. Open the form again and choose anew.".into(),
                )
            })?)
        }
    };
    let before = facts.before(Some(&stoma), &form.amends);
    let previous = before.first().map(|a| (u8::try_from(a.score).unwrap_or(0), a.signed_by == signed.staff_id));
    let score = recorded.score.score;
    let set = bands::set(&signed.service.band_set);
    let following = facts.open(Some(&stoma)).into_iter().find(|r| review.as_ref().is_none_or(|this| this.id != r.id));
    let findings = Findings {
        band: set.map(|s| s.band(score)),
        change: previous.map(|(p, _)| i16::from(score) - i16::from(p)),
        leaks_of_last_10: recorded.symptoms.leaks_of_last_10,
        weeks_since_surgery: stoma.surgery_on.and_then(|on| u16::try_from((recorded.on - on).num_weeks()).ok()),
        cause: recorded.cause.as_deref(),
        kind: Some(&stoma.kind),
        output_ml_24h: recorded.symptoms.output_ml_24h,
    };
    let proposal = propose(today, following.map(Review::due_on), &findings);
    let days = &facts.days;
    // "Within two weeks" means not later: the working day before, unless that has passed.
    let proposed_on = Some(days.previous_on_or_before(proposal.on))
        .filter(|on| *on >= today)
        .unwrap_or_else(|| days.next_on_or_after(proposal.on.max(today)));
    let urgency = urgency_of_findings(
        &stoma.kind,
        days,
        today,
        &recorded.found,
        &recorded.symptoms,
        (score, previous.map(|(p, _)| p)),
    )?;
    let last: Option<StomaFound> = before.first().map(|a| a.findings.read()).transpose()?;
    let stoma_change = last.map_or_else(Vec::new, |last| stoma_change(&last, &recorded.found));
    Ok(Worked { recorded, stoma, review, proposal, proposed_on, urgency, previous, stoma_change })
}

/// What is shown before signing.
pub(super) fn checked(worked: &Worked) -> Result<Checked, StoreError> {
    let score = worked.recorded.score.score;
    let change = worked
        .previous
        .map(|(before, same)| describe_change(before, score, if same { Scorers::Same } else { Scorers::Different }));
    let verdicts = worked.recorded.score.bands.iter();
    Ok(Checked {
        held: display::weekday_date(worked.recorded.on),
        score: format!("{score} of 15"),
        bands: verdicts
            .map(|v| format!("Set {}: {} ({}, {})", v.set, v.band.words(), v.source.source, v.source.standing.words()))
            .collect(),
        change: change.into_iter().flat_map(|c| std::iter::once(c.words).chain(c.caution)).collect(),
        reasons: worked.urgency.reasons.clone(),
        advice: worked.urgency.advice.clone(),
        proposal: std::iter::once(format!("Proposed: {}.", display::weekday_date(worked.proposed_on)))
            .chain(
                worked
                    .proposal
                    .reasons
                    .iter()
                    .map(|r| format!("{} ({}, {})", r.words, r.source.source, r.source.standing.words())),
            )
            .collect(),
        red_flags: worked.urgency.red_flags.iter().map(|f| (f.words.clone(), f.advice.clone())).collect(),
        stoma_change: worked.stoma_change.clone(),
        codes: coding(&worked.stoma.kind, worked.recorded.cause.as_deref(), &worked.recorded.found.findings)?,
    })
}

/// How the measures changed since last time, in words; what was not measured both times is left out.
fn stoma_change(last: &StomaFound, now: &StomaFound) -> Vec<String> {
    let measures = [
        ("Width", last.width_mm, now.width_mm),
        ("Height", last.height_mm, now.height_mm),
        ("Protrusion", last.protrusion_mm, now.protrusion_mm),
        ("Slid out by", last.prolapse_mm, now.prolapse_mm),
        ("Bulge", last.bulge_mm, now.bulge_mm),
    ];
    let mut words: Vec<String> = measures
        .into_iter()
        .filter_map(|(what, last, now)| Some((what, last?, now?)))
        .filter(|(_, last, now)| last != now)
        .map(|(what, last, now)| format!("{what} {now} mm, was {last} mm."))
        .collect();
    if let (Some(last), Some(now)) = (&last.colour, &now.colour)
        && last != now
    {
        words.push(format!("Colour {now}, was {last}."));
    }
    words
}
