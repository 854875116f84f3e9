//! The clinic form: opening it, checking what it finds, signing it. One transaction makes contact, assessment,
//! the review's end and the next review.

use actix_web::http::StatusCode;
use actix_web::web;
use chrono::NaiveDate;
use serde::Deserialize;
use sha2::{Digest, Sha256};

use super::clinic_form::{ClinicForm, Next, Recorded, Wrong};
use super::clinic_page::{Checked, Context, build};
use super::store::{self as contacts, Contact};
use crate::access::store::say;
use crate::audit::{Event, append, view};
use crate::db::ids::{AssessmentId, ContactId, PatientId};
use crate::db::{Conn, Doc, Stamp, StoreError, Tx};
use crate::display;
use crate::follow_up::calendar;
use crate::follow_up::rules::WorkingDays;
use crate::follow_up::store::{self as reviews, Review};
use crate::patients::banner::banner;
use crate::patients::identifiers::Identifier;
use crate::patients::store::{self as patients, Patient};
use crate::skin::rules::{self, Findings, Proposal, Scorers, bands, describe_change, propose};
use crate::skin::store::{self as skin, AssessmentRow, StomaFound};
use crate::stomas::store::{self as stomas, Stoma};
use crate::urgency::{Urgency, urgency_of_findings};
use crate::web::{Answer, AppError, PathOf, Posted, QueryOf, Signed, State, page, see_other};

/// How far ahead a planned review may lie to count as the one that takes place today, in days (local).
const EARLY_DAYS: i64 = 42;

/// How the form is opened.
#[derive(Deserialize)]
pub struct Opening {
    /// The assessment to amend.
    amend: Option<AssessmentId>,
}

struct Facts {
    patient: Patient,
    identifiers: Vec<Identifier>,
    stomas: Vec<Stoma>,
    reviews: Vec<Review>,
    assessments: Vec<AssessmentRow>,
    days: WorkingDays,
}

fn load(conn: &mut Conn, service: crate::db::ids::ServiceId, id: PatientId) -> Result<Facts, StoreError> {
    Ok(Facts {
        patient: patients::find(conn, service, id)?,
        identifiers: patients::identifiers_of(conn, service, id)?,
        stomas: stomas::of_patient(conn, service, id)?.into_iter().filter(|s| s.reversed_on.is_none()).collect(),
        reviews: reviews::of_patient(conn, service, id)?,
        assessments: skin::of_patient(conn, service, id, false)?,
        days: calendar::of_service(conn, service)?,
    })
}

impl Facts {
    /// The stoma that the form is about: the one named, or the only one.
    fn stoma(&self, named: &str) -> Option<&Stoma> {
        match self.stomas.as_slice() {
            [only] => Some(only),
            several => several.iter().find(|s| s.id.to_string() == named),
        }
    }

    fn open(&self, stoma: Option<&Stoma>) -> Vec<&Review> {
        let of =
            |r: &&Review| r.is_open() && (self.stomas.len() == 1 || stoma.is_none_or(|s| Some(s.id) == r.stoma_id));
        let mut open: Vec<&Review> = self.reviews.iter().filter(of).collect();
        open.sort_by_key(|r| (r.due_on(), r.id));
        open
    }

    /// The review that this contact may be: due by now, or booked, or not far ahead.
    fn review(&self, stoma: Option<&Stoma>, today: NaiveDate) -> Option<&Review> {
        let first = self.open(stoma).into_iter().next()?;
        ((first.due_on() - today).num_days() <= EARLY_DAYS).then_some(first)
    }

    /// Assessments of a stoma before the one being amended, newest first.
    fn before(&self, stoma: Option<&Stoma>, amends: &str) -> Vec<&AssessmentRow> {
        let of = |a: &&AssessmentRow| stoma.is_some_and(|s| s.id == a.stoma_id) && a.id.to_string() != amends;
        self.assessments.iter().filter(of).collect()
    }
}

/// `GET /patients/{id}/contacts/new`
pub async fn open(
    state: web::Data<State>,
    signed: Signed,
    path: PathOf<PatientId>,
    opening: QueryOf<Opening>,
) -> Answer {
    let id = path.into_inner();
    let service = signed.service.id;
    let facts = view(&state.db, &signed.actor, move |conn| {
        Ok((load(conn, service, id)?, Event::read("contact.new").about(id)))
    })
    .await?;
    let today = state.clock.today();
    let mut form = ClinicForm {
        patient: id.to_string(),
        once: ContactId::new().to_string(),
        assessment: AssessmentId::new().to_string(),
        on: display::short_date(today),
        ..ClinicForm::default()
    };
    let stoma = facts.stoma("");
    // How and which review are no clinical answers: they are filled from the plan.
    if let Some(review) = facts.review(stoma, today) {
        form.mode.clone_from(&review.mode);
        form.review = review.id.to_string();
    } else {
        form.review = "no".to_owned();
    }
    if let Some(amend) = opening.0.amend {
        let held = facts.assessments.iter().find(|a| a.id == amend).ok_or(AppError::NotFound)?;
        fill_from(&mut form, held)?;
    }
    if facts.patient.ended_reason.is_some() || facts.stomas.is_empty() {
        return Err(AppError::Conflict("Nothing is under care in this record: there is no stoma to look at.".into()));
    }
    show(&state, &signed, &facts, &form, &Wrong::new(), None, "", StatusCode::OK)
}

/// The form as it opens on an assessment to amend.
fn fill_from(form: &mut ClinicForm, held: &AssessmentRow) -> Result<(), StoreError> {
    let judged: skin::Judged = held.inputs.read()?;
    let symptoms: skin::Symptoms = held.symptoms.read()?;
    let found: StomaFound = held.findings.read()?;
    let text = |n: Option<String>| n.unwrap_or_default();
    form.amends = held.id.to_string();
    form.stoma = held.stoma_id.to_string();
    form.on = display::short_date(held.assessed_on);
    form.leaks = text(symptoms.leaks_of_last_10.map(|n| n.to_string()));
    form.wear = text(symptoms.wear_days.map(|n| n.to_string()));
    form.pain = text(symptoms.skin_pain.map(|n| n.to_string()));
    form.output = text(symptoms.output_ml_24h.map(|n| n.to_string()));
    form.also = symptoms.also;
    form.width = text(found.width_mm.map(|n| n.to_string()));
    form.height = text(found.height_mm.map(|n| n.to_string()));
    form.protrusion = text(found.protrusion_mm.map(|n| n.to_string()));
    form.colour = text(found.colour);
    form.stoma_findings = found.findings;
    form.stoma_same = "no".to_owned();
    form.skin_clear = if held.score == 0 { "yes" } else { "no" }.to_owned();
    if held.score > 0 {
        form.discolouration_area = judged.discolouration.area_points.to_string();
        form.discolouration_severity = judged.discolouration.severity.to_string();
        form.erosion_area = judged.erosion.area_points.to_string();
        form.erosion_severity = judged.erosion.severity.to_string();
        form.overgrowth_area = judged.overgrowth.area_points.to_string();
        form.overgrowth_severity = judged.overgrowth.severity.to_string();
    }
    form.cause = text(held.cause.clone());
    form.plan = text(held.plan.clone());
    Ok(())
}

#[expect(clippy::too_many_arguments, reason = "one page from all that it shows")]
fn show(
    state: &State,
    signed: &Signed,
    facts: &Facts,
    form: &ClinicForm,
    wrong: &Wrong,
    checked: Option<Checked>,
    fingerprint: &str,
    status: StatusCode,
) -> Answer {
    let today = state.clock.today();
    let stoma = facts.stoma(&form.stoma);
    let before = facts.before(stoma, &form.amends);
    let last = before.first().copied();
    let last_found: Option<StomaFound> = last.map(|a| a.findings.read()).transpose()?;
    let review = facts.review(stoma, today);
    let context = Context {
        stomas: &facts.stomas,
        review,
        following: facts.open(stoma).into_iter().find(|r| review.is_none_or(|this| this.id != r.id)),
        last,
        last_found: last_found.as_ref(),
    };
    let title = if wrong.is_empty() { "Record a contact" } else { "Error: Record a contact" };
    let banner = banner(&facts.patient, &facts.identifiers, today);
    let shown = build(signed.shell(title, "/patients"), banner, form, wrong, &context, checked, fingerprint);
    page(status, &shown)
}

/// What signing will do, worked out by the rules.
struct Worked {
    recorded: Recorded,
    stoma: Stoma,
    review: Option<Review>,
    proposal: Proposal,
    proposed_on: NaiveDate,
    urgency: Urgency,
    previous: Option<(u8, bool)>,
}

fn work(
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
    Ok(Worked { recorded, stoma, review, proposal, proposed_on, urgency, previous })
}

fn checked(worked: &Worked) -> Checked {
    let score = worked.recorded.score.score;
    let change = worked
        .previous
        .map(|(before, same)| describe_change(before, score, if same { Scorers::Same } else { Scorers::Different }));
    let verdicts = worked.recorded.score.bands.iter();
    Checked {
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
    }
}

/// A fingerprint of what the nurse was shown, so that signing signs just that.
fn fingerprint(form: &ClinicForm) -> String {
    let bare = ClinicForm { checked: String::new(), ..form.clone() };
    let text = serde_json::to_string(&bare).unwrap_or_default();
    hex::encode(&Sha256::digest(text.as_bytes())[..16])
}

/// `POST /patients/{id}/contacts/new`
pub async fn sign(
    state: web::Data<State>,
    signed: Signed,
    path: PathOf<PatientId>,
    form: Posted<ClinicForm>,
) -> Answer {
    let id = path.into_inner();
    let form = form.0;
    if form.patient != id.to_string() {
        return Err(AppError::Conflict("This form belongs to another patient's page. Nothing was saved.".into()));
    }
    let ids = form.once.parse::<ContactId>().ok().zip(form.assessment.parse::<AssessmentId>().ok());
    let Some((contact_id, assessment_id)) = ids else {
        return Err(AppError::Unreadable("The form did not arrive whole. Open it again and repeat it.".into()));
    };
    let service = signed.service.id;
    let (facts, sent_before) = view(&state.db, &signed.actor, move |conn| {
        let sent_before =
            contacts::is_there(conn, service, contact_id)? || skin::find(conn, service, assessment_id).is_ok();
        Ok(((load(conn, service, id)?, sent_before), Event::read("contact.new").about(id)))
    })
    .await?;
    if sent_before {
        return Ok(see_other(format!("/patients/{id}"))); // the same form again: it is saved already
    }
    let today = state.clock.today();
    let stoma = facts.stoma(&form.stoma);
    let before = facts.before(stoma, &form.amends);
    let last: Option<StomaFound> = before.first().map(|a| a.findings.read()).transpose()?;
    let read = match stoma {
        Some(stoma) => form.read(&last.filter(|_| !form.is_amendment()), stoma.surgery_on, today),
        None => Err(vec![("stoma", "Choose the stoma".to_owned())]),
    };
    let recorded = match read {
        Ok(recorded) => recorded,
        Err(wrong) => {
            return show(&state, &signed, &facts, &form, &wrong, None, "", StatusCode::UNPROCESSABLE_ENTITY);
        }
    };
    let worked = work(&facts, &form, recorded, &signed, today)?;
    let print = fingerprint(&form);
    let plain = worked.recorded.score.score == 0 && worked.urgency.reasons.is_empty() && worked.proposal.keeps_planned;
    if form.checked != print && !plain {
        let found = checked(&worked);
        return show(&state, &signed, &facts, &form, &Wrong::new(), Some(found), &print, StatusCode::OK);
    }
    let name = facts.patient.display_name();
    let band_set = signed.service.band_set.clone();
    state
        .db
        .write(&signed.actor, move |tx| write(tx, &form, worked, (contact_id, assessment_id), &band_set, &name))
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other(format!("/patients/{id}")))
}

fn filled(text: &str) -> Option<String> {
    Some(text.trim().to_owned()).filter(|t| !t.is_empty())
}

fn write(
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
        inputs: Doc::of(&recorded.judged)?,
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
    keep_measures(tx, &stoma, &recorded.found)?;
    let said = plan_next(tx, &stoma, recorded.next.as_ref(), &proposal, proposed_on, now)?;
    let what = if amends.is_some() { "The amendment is signed" } else { "The contact is saved and signed" };
    say(tx, &format!("{what} for {name}. {said}"))?;
    let event = if amends.is_some() { Event::update("skin.assessment") } else { Event::create("skin.assessment") };
    append(tx, event.about(patient_id).with("assessment", assessment_id).with("alerts", urgency.reasons.len()))?;
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
