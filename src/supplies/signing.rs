//! Signing a draft, stopping a list, throwing a draft away. What is signed is what was shown: the draft is checked anew
//! and its seal compared with that of the page.

use actix_web::http::StatusCode;
use actix_web::web;
use serde::Deserialize;

use super::store::{self, Prescription};
use super::summary::{self, Loaded, Mistake, OVERRIDE_FIELD, STOP_FIELD};
use crate::access::store as access;
use crate::audit::{Event, Outcome, append};
use crate::db::ids::{PatientId, PrescriptionId};
use crate::db::{Doc, StoreError, Tx};
use crate::once;
use crate::web::{Answer, AppError, PathOf, Permission, Posted, Signed, State, page, see_other};

/// Shortest reason for signing against a refusal (local: a word is no reason).
const SHORTEST_OVERRIDE: usize = 10;
/// Shortest reason for stopping (local).
const SHORTEST_STOP: usize = 3;
/// Longest reason (local).
const LONGEST: usize = 300;

/// What the signature's form sends.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct SignForm {
    patient: String,
    version: i32,
    seal: String,
    override_reason: String,
}

/// What the stop form sends.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct StopForm {
    patient: String,
    version: i32,
    reason: String,
}

fn reason_within(typed: &str, shortest: usize, what: &str) -> Result<String, String> {
    let reason = typed.split_whitespace().collect::<Vec<_>>().join(" ");
    match reason.chars().count() {
        n if n < shortest => Err(format!("{what}, in at least {shortest} characters")),
        n if n > LONGEST => Err(format!("Shorten the reason to {LONGEST} characters")),
        _ => Ok(reason),
    }
}

/// A form of another patient's page is refused.
fn same_patient(named: &str, of: PatientId) -> Result<(), AppError> {
    if named == of.to_string() {
        return Ok(());
    }
    Err(AppError::Conflict(
        "This form belongs to another patient's page. Nothing was saved. Open the right list.".into(),
    ))
}

async fn again(state: &State, signed: &Signed, id: PrescriptionId, mistake: Mistake) -> Answer {
    let loaded = summary::seen(state, signed, id, "prescription.summary").await?;
    page(StatusCode::UNPROCESSABLE_ENTITY, &summary::build(signed, &loaded, state.clock.today(), Some(&mistake))?)
}

/// `POST /prescriptions/{id}/sign`
pub async fn sign(
    state: web::Data<State>,
    signed: Signed,
    path: PathOf<PrescriptionId>,
    form: Posted<SignForm>,
) -> Answer {
    let (id, form, service, today) = (path.into_inner(), form.0, signed.service.id, state.clock.today());
    let loaded: Loaded =
        state.db.read(move |conn| summary::load(conn, service, id, today)).await.map_err(|e: StoreError| e)?;
    same_patient(&form.patient, loaded.held.patient_id)?;
    let sending =
        once::derived(&["sign", &id.to_string(), &form.version.to_string(), &form.seal, &signed.staff_id.to_string()]);
    let to = format!("/prescriptions/{id}/summary");
    let refuses = loaded.checked.as_ref().is_some_and(super::order::Checked::refuses);
    let override_reason = if refuses {
        match reason_within(&form.override_reason, SHORTEST_OVERRIDE, "Write why the order is right all the same") {
            Ok(reason) => Some(reason),
            Err(text) => {
                let mistake = Mistake { id: OVERRIDE_FIELD, text, typed: form.override_reason };
                return again(&state, &signed, id, mistake).await;
            }
        }
    } else {
        None
    };
    state
        .db
        .write(&signed.actor, move |tx| {
            if once::claim(tx, sending, &to)?.is_some() {
                let event = Event::update("prescription.sign").outcome(Outcome::Refused).with("why", "sent twice");
                append(tx, event)?;
                return Ok(());
            }
            let loaded = summary::load(tx.conn(), service, id, today)?;
            put_in_force(tx, &loaded, &form, override_reason)
        })
        .await?;
    Ok(see_other(format!("/prescriptions/{id}/summary")))
}

fn put_in_force(
    tx: &mut Tx<'_>,
    loaded: &Loaded,
    form: &SignForm,
    override_reason: Option<String>,
) -> Result<(), AppError> {
    let conflict = |text: &str| Err(AppError::Conflict(text.to_owned()));
    let held = &loaded.held;
    if loaded.patient.ended_reason.is_some() {
        return conflict("The record has ended. No list can be signed any more, and nothing was saved.");
    }
    if loaded.stoma.reversed_on.is_some() {
        return conflict("This stoma was reversed. No list can be signed for it, and nothing was saved.");
    }
    let Some(checked) = loaded.checked.as_ref().filter(|_| held.version == form.version) else {
        return Err(StoreError::Stale.into());
    };
    if !loaded.withdrawn.is_empty() {
        return Err(AppError::Conflict(format!(
            "No longer offered: {}. Change the draft, then sign it. Nothing was saved.",
            loaded.withdrawn.join("; ")
        )));
    }
    if checked.seal()? != form.seal {
        return conflict(
            "The patient’s facts or the rules changed since the page was shown, and the checks came out differently. \
             Nothing was saved. Open the summary again, look at the checks, then sign.",
        );
    }
    let refused = checked.findings.iter().filter(|found| found.refuses()).count();
    let draft = Prescription { findings: Doc::of(&checked.findings)?, ..held.clone() };
    store::save_draft(tx, &draft, &loaded.lines)?;
    store::sign(tx, &Prescription { version: draft.version + 1, ..draft }, override_reason)?;
    access::say(tx, "The list is signed and in force. Send the summary to GP practice and dispenser.")?;
    let event = Event::update("prescription.sign").about(held.patient_id).with("prescription", held.id);
    append(tx, event.with("number", held.number).with("overridden", refused))?;
    Ok(())
}

/// `POST /prescriptions/{id}/stop`: stops a signed list (prescribers), or throws a draft away (whoever draws up).
pub async fn stop(
    state: web::Data<State>,
    signed: Signed,
    path: PathOf<PrescriptionId>,
    form: Posted<StopForm>,
) -> Answer {
    let (id, form, service) = (path.into_inner(), form.0, signed.service.id);
    let held = state.db.read(move |conn| store::find(conn, service, id)).await.map_err(|e: StoreError| e)?;
    let is_draft = held.status == "draft";
    same_patient(&form.patient, held.patient_id)?;
    if !is_draft && !signed.may(Permission::SignPrescriptions) {
        let event = Event::update("prescription.stop").outcome(Outcome::Refused).about(held.patient_id);
        let event = event.with("prescription", id);
        state.db.write(&signed.actor, move |tx| append(tx, event).map(drop)).await.map_err(|e: StoreError| e)?;
        return Err(AppError::NotAllowed);
    }
    let what = if is_draft { "Write why the draft is not needed" } else { "Write why the list is stopped" };
    let reason = match reason_within(&form.reason, SHORTEST_STOP, what) {
        Ok(reason) => reason,
        Err(text) => return again(&state, &signed, id, Mistake { id: STOP_FIELD, text, typed: form.reason }).await,
    };
    let patient = held.patient_id;
    let to = if is_draft { format!("/patients/{patient}/supplies") } else { format!("/prescriptions/{id}/summary") };
    let me = signed.staff_id.to_string();
    let sending = once::derived(&["stop", &id.to_string(), &form.version.to_string(), &reason, &me]);
    if let Some(answered) = once::answered_already(&state.db, service, sending).await? {
        return Ok(see_other(answered));
    }
    if !matches!(held.status.as_str(), "draft" | "signed") || held.version != form.version {
        return Err(AppError::Conflict(format!(
            "Somebody else changed this list since the page was shown. Nothing was saved. You had typed: “{reason}”."
        )));
    }
    let answer = to.clone();
    state
        .db
        .write(&signed.actor, move |tx| {
            if once::claim(tx, sending, &answer)?.is_some() {
                let event = Event::update("prescription.stop").outcome(Outcome::Refused).with("why", "sent twice");
                return append(tx, event).map(drop);
            }
            store::stop(tx, &held, &reason)?;
            let said = if is_draft {
                "The draft was thrown away."
            } else {
                "The list is stopped. Tell GP practice and dispenser."
            };
            access::say(tx, said)?;
            let what = if is_draft { "prescription.discard" } else { "prescription.stop" };
            append(tx, Event::update(what).about(patient).with("prescription", held.id).with("number", held.number))
                .map(drop)
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other(to))
}
