//! Signing: one transaction makes contact, assessment with its map, answers to red flags, the review's end and the next
//! review.

use chrono::NaiveDate;

use super::clinic_form::{ClinicForm, Next};
use super::clinic_work::Worked;
use super::store::{self as contacts, Contact};
use crate::access::store::say;
use crate::audit::{Event, append};
use crate::db::ids::{AssessmentId, ContactId, RedFlagId};
use crate::db::{Doc, Stamp, StoreError, Tx};
use crate::display;
use crate::follow_up::store::{self as reviews, Review};
use crate::skin::rules::{self, Proposal, bands};
use crate::skin::store::{self as skin, AssessmentRow, RedFlagRow, StomaFound};
use crate::stomas::store::{self as stomas, Stoma};

fn filled(text: &str) -> Option<String> {
    Some(text.trim().to_owned()).filter(|t| !t.is_empty())
}

/// Writes contact, assessment, map, answers to red flags, the review's end and the next review.
pub(super) fn write(
    tx: &mut Tx<'_>,
    form: &ClinicForm,
    worked: Worked,
    ids: (ContactId, AssessmentId),
    band_set: &str,
    name: &str,
) -> Result<(), StoreError> {
    let Worked { recorded, stoma, review, proposal, proposed_on, urgency, .. } = worked;
    let (staff, now) = (tx.staff()?, tx.now());
    let (contact_id, assessment_id) = ids;
    let patient_id = stoma.patient_id;
    let amends: Option<AssessmentId> = form.amends.parse().ok();
    if amends.is_none() {
        contacts::add(
            tx,
            &Contact {
                id: contact_id,
                service_id: stoma.service_id,
                patient_id,
                stoma_id: Some(stoma.id),
                review_id: review.as_ref().map(|r| r.id),
                mode: form.mode.clone(),
                outcome: "fulfilled".to_owned(),
                held_on: recorded.on,
                note: filled(&form.told),
                made_by: staff,
                created_at: now,
            },
        )?;
        if let Some(review) = review {
            let done = Review {
                status: "fulfilled".to_owned(),
                closed_on: Some(recorded.on),
                closed_reason: None,
                off_plan: None,
                ..review
            };
            reviews::replace(tx, done)?;
        }
    }
    let score = &recorded.score;
    let band = bands::set(band_set).map_or("", |set| set.band(score.score).words());
    let row = AssessmentRow {
        id: assessment_id,
        service_id: stoma.service_id,
        patient_id,
        stoma_id: stoma.id,
        contact_id: amends.is_none().then_some(contact_id),
        assessed_on: recorded.on,
        inputs: Doc::of(&recorded.inputs)?,
        score: i32::from(score.score),
        discolouration: i32::from(score.domains.discolouration.points),
        erosion: i32::from(score.domains.erosion.points),
        overgrowth: i32::from(score.domains.overgrowth.points),
        band_set: band_set.to_owned(),
        band: band.to_owned(),
        rule_version: rules::RULE_VERSION.to_owned(),
        symptoms: Doc::of(&recorded.symptoms)?,
        findings: Doc::of(&recorded.found)?,
        cause: recorded.cause,
        plan: filled(&form.plan),
        status: "signed".to_owned(),
        amends_id: amends,
        amend_reason: filled(&form.amend_reason).filter(|_| amends.is_some()),
        signed_by: staff,
        signed_at: now,
    };
    skin::sign(tx, &row)?;
    skin::keep_map(tx, &row, &recorded.cells)?;
    for flag in &urgency.red_flags {
        let answer = RedFlagRow {
            id: RedFlagId::new(),
            service_id: stoma.service_id,
            patient_id,
            assessment_id,
            rule: flag.rule.clone(),
            thresholds: urgency.thresholds.clone(),
            answer: form.red_flag.clone(),
            reason: filled(&form.red_flag_reason),
            answered_by: staff,
            answered_at: now,
        };
        skin::keep_red_flag(tx, &answer)?;
    }
    keep_measures(tx, &stoma, &recorded.found)?;
    let said = plan_next(tx, &stoma, recorded.next.as_ref(), &proposal, proposed_on, now)?;
    let on = display::weekday_date(row.assessed_on);
    let what = match amends {
        Some(_) => format!("The amendment of {on} is signed"),
        None => format!("The contact of {on} is saved and signed"),
    };
    say(tx, &format!("{what} for {name}. {said}"))?;
    let event = if amends.is_some() { Event::update("skin.assessment") } else { Event::create("skin.assessment") };
    let event = event.about(patient_id).with("assessment", assessment_id).with("alerts", urgency.reasons.len());
    let flags = urgency.red_flags.len();
    append(tx, if flags == 0 { event } else { event.with("red_flags", flags).with("answer", &form.red_flag) })?;
    Ok(())
}

/// The stoma's own facts follow what was measured, with the version before kept.
fn keep_measures(tx: &mut Tx<'_>, stoma: &Stoma, found: &StomaFound) -> Result<(), StoreError> {
    let service = tx.service()?;
    let held = stomas::find(tx.conn(), service, stoma.id)?;
    let next = Stoma {
        width_mm: found.width_mm.or(held.width_mm),
        height_mm: found.height_mm.or(held.height_mm),
        protrusion_mm: found.protrusion_mm.or(held.protrusion_mm),
        ..held.clone()
    };
    let same =
        (next.width_mm, next.height_mm, next.protrusion_mm) == (held.width_mm, held.height_mm, held.protrusion_mm);
    if same { Ok(()) } else { stomas::replace(tx, next, Some("measured at an assessment")) }
}

/// Plans the next review as the nurse chose; says what was planned.
fn plan_next(
    tx: &mut Tx<'_>,
    stoma: &Stoma,
    next: Option<&Next>,
    proposal: &Proposal,
    proposed_on: NaiveDate,
    now: Stamp,
) -> Result<String, StoreError> {
    let (on, reasons) = match next {
        Some(Next::Other(on, reason)) => (*on, vec![format!("chosen by the nurse: {reason}")]),
        Some(Next::Proposed) if !proposal.keeps_planned => {
            (proposed_on, proposal.reasons.iter().map(|r| r.words.clone()).collect())
        }
        Some(_) => return Ok("The next review stands as planned.".to_owned()),
        None => return Ok(String::new()),
    };
    let review = reviews::by_hand(stoma, "Review after assessment", "clinic", on, &reasons, now)?;
    reviews::add(tx, &review)?;
    Ok(format!("Next review {}.", display::weekday_date(on)))
}
