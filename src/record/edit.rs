//! Correcting who a patient is, and ending a record (died, moved away, declined) or opening it again.

use actix_web::http::StatusCode;
use actix_web::web;
use serde::{Deserialize, Serialize};

use super::confirm::{Asked, ask, hidden, preview};
use super::pages::{EndPage, PatientPage, SideBySide};
use crate::access::store::say;
use crate::audit::{Event, append, view};
use crate::db::ids::PatientId;
use crate::db::{StoreError, Tx};
use crate::patients::banner::banner;
use crate::patients::forms::{PatientForm, Wrong};
use crate::patients::identifiers::Identifier;
use crate::patients::store::{self as patients, Patient};
use crate::stomas::store as stomas;
use crate::web::form_view::{Choice, ErrorSummary, Field, Width};
use crate::web::{Answer, AppError, PathOf, Posted, Signed, State, page, see_other};
use crate::{dates_in, display};

/// A patient with identifiers, as every page about one needs them.
pub type Loaded = (Patient, Vec<Identifier>);

/// Loads a patient for a page and logs what was seen.
pub async fn load(state: &State, signed: &Signed, id: PatientId, what: &'static str) -> Result<Loaded, AppError> {
    let service = signed.service.id;
    Ok(view(&state.db, &signed.actor, move |conn| {
        let patient = patients::find(conn, service, id)?;
        let identifiers = patients::identifiers_of(conn, service, id)?;
        Ok(((patient, identifiers), Event::read(what).about(id)))
    })
    .await?)
}

fn edit_page(state: &State, signed: &Signed, loaded: &Loaded, form: &PatientForm, wrong: &Wrong) -> PatientPage {
    let f = form.fields(wrong);
    let errors = f.errors();
    let (patient, identifiers) = loaded;
    PatientPage {
        shell: signed.shell(if errors.is_empty() { "Correct details" } else { "Error: Correct details" }, "/patients"),
        banner: Some(banner(patient, identifiers, state.clock.today())),
        errors,
        heading: "Correct details".to_owned(),
        standfirst: "What was there before is kept.".to_owned(),
        action: format!("/patients/{}/edit", patient.id),
        patient: f,
        stoma: None,
        likely: SideBySide::default(),
        button: "Save details".to_owned(),
        button_name: patient.display_name(),
    }
}

/// `GET /patients/{id}/edit`
pub async fn form(state: web::Data<State>, signed: Signed, path: PathOf<PatientId>) -> Answer {
    let loaded = load(&state, &signed, path.into_inner(), "patient.edit").await?;
    let form = PatientForm::of(&loaded.0, &loaded.1);
    page(StatusCode::OK, &edit_page(&state, &signed, &loaded, &form, &Wrong::new()))
}

/// `POST /patients/{id}/edit`
pub async fn save(
    state: web::Data<State>,
    signed: Signed,
    path: PathOf<PatientId>,
    form: Posted<PatientForm>,
) -> Answer {
    let id = path.into_inner();
    let form = form.0;
    let facts = match form.read(state.clock.today(), state.refuse_test_numbers && !signed.service.demo) {
        Ok(facts) => facts,
        Err(wrong) => {
            let loaded = load(&state, &signed, id, "patient.edit").await?;
            return page(StatusCode::UNPROCESSABLE_ENTITY, &edit_page(&state, &signed, &loaded, &form, &wrong));
        }
    };
    let service = signed.service.id;
    state
        .db
        .write(&signed.actor, move |tx| {
            let mut patient = patients::find(tx.conn(), service, id)?;
            form.put_on(&mut patient, &facts);
            let name = patient.display_name();
            patients::replace(tx, patient, &facts.identifiers, None)?;
            say(tx, &format!("The details of {name} are saved."))?;
            append(tx, Event::update("patient.record").about(id)).map(drop)
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other(format!("/patients/{id}")))
}

/// Why a record ends: code and words.
pub const REASONS: [(&str, &str); 3] =
    [("died", "The patient died"), ("moved-away", "Moved away"), ("declined", "Declines follow-up")];

/// What the form sends.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct EndForm {
    version: i32,
    reason: String,
    on: String,
    why: String,
    /// The seal of the changes that were shown; empty on the first sending.
    #[serde(skip_serializing)]
    seal: String,
}

fn end_page(state: &State, signed: &Signed, loaded: &Loaded, form: &EndForm, wrong: &[(&str, String)]) -> EndPage {
    let (patient, identifiers) = loaded;
    let error = |name: &str| wrong.iter().find(|(n, _)| *n == name).map(|(_, text)| text.clone());
    let reason = Field::new("reason", "Why the record ends").error(error("reason"));
    let on = Field::new("on", "Date").value(&form.on).hint("27 Nov 2026, or today").error(error("on"));
    let why =
        Field::new("why", "Why the record is opened again").value(&form.why).width(Width::Full).error(error("why"));
    let mut errors = ErrorSummary::none();
    for field in [&reason, &on, &why] {
        errors.take(field);
    }
    let ended = patient.ended_reason.as_deref().zip(patient.ended_on).map(|(code, on)| {
        let words = REASONS.iter().find(|(c, _)| *c == code).map_or(code, |(_, words)| words);
        format!("{words}, {}", display::short_date(on))
    });
    EndPage {
        shell: signed.shell(if errors.is_empty() { "End of record" } else { "Error: End of record" }, "/patients"),
        banner: banner(patient, identifiers, state.clock.today()),
        errors,
        action: format!("/patients/{}/end", patient.id),
        version: patient.version.to_string(),
        reason,
        reasons: Choice::choose(REASONS.iter().map(|(code, words)| Choice::new(*code, *words)).collect(), &form.reason),
        on,
        why,
        ended,
    }
}

/// `GET /patients/{id}/end`
pub async fn end_form(state: web::Data<State>, signed: Signed, path: PathOf<PatientId>) -> Answer {
    let loaded = load(&state, &signed, path.into_inner(), "patient.end").await?;
    page(StatusCode::OK, &end_page(&state, &signed, &loaded, &EndForm::default(), &[]))
}

/// `POST /patients/{id}/end`: ends the record, or opens an ended one again.
pub async fn end(state: web::Data<State>, signed: Signed, path: PathOf<PatientId>, form: Posted<EndForm>) -> Answer {
    let id = path.into_inner();
    let form = form.0;
    let loaded = load(&state, &signed, id, "patient.end").await?;
    let today = state.clock.today();
    let mut wrong: Vec<(&str, String)> = Vec::new();
    let was_ended = loaded.0.ended_reason.is_some();
    let mut ends_on = None;
    if was_ended {
        if form.why.trim().chars().count() < 3 {
            wrong.push(("why", "Write why the record is opened again".to_owned()));
        }
    } else {
        if !REASONS.iter().any(|(code, _)| *code == form.reason) {
            wrong.push(("reason", "Choose why the record ends".to_owned()));
        }
        match dates_in::read_date(&form.on, today) {
            Ok(on) if on > today => wrong.push(("on", "The date must be today or in the past".to_owned())),
            Ok(on) if loaded.0.born_on.is_some_and(|born| on < born) => {
                wrong.push(("on", "The date lies before the patient's birth".to_owned()));
            }
            Ok(on) => ends_on = Some(on),
            Err(problem) => wrong.push(("on", problem.to_string())),
        }
    }
    if !wrong.is_empty() {
        return page(StatusCode::UNPROCESSABLE_ENTITY, &end_page(&state, &signed, &loaded, &form, &wrong));
    }
    let changed = ended(&loaded.0, &form, ends_on);
    let changes = state
        .db
        .read(move |conn| {
            let held = stomas::of_patient(conn, changed.service_id, changed.id)?;
            preview(conn, &changed, &held, today)
        })
        .await?;
    let asked = Asked {
        heading: "Reviews that would change",
        action: format!("/patients/{id}/end"),
        button: if was_ended {
            "Open the record and change these reviews"
        } else {
            "End the record and change these reviews"
        },
        back: format!("/patients/{id}/end"),
        hidden: hidden(&form)?,
        shown: &form.seal,
    };
    if let Some(answer) = ask(&state, &signed, &loaded, &changes, false, asked) {
        return answer;
    }
    let (patient, identifiers) = loaded;
    state
        .db
        .write(&signed.actor, move |tx| write_end(tx, patient, &identifiers, &form, ends_on))
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other(format!("/patients/{id}")))
}

/// The patient as the form leaves it.
fn ended(patient: &Patient, form: &EndForm, ends_on: Option<chrono::NaiveDate>) -> Patient {
    Patient {
        version: form.version,
        ended_reason: ends_on.map(|_| form.reason.clone()),
        ended_on: ends_on,
        ..patient.clone()
    }
}

fn write_end(
    tx: &mut Tx<'_>,
    patient: Patient,
    identifiers: &[Identifier],
    form: &EndForm,
    ends_on: Option<chrono::NaiveDate>,
) -> Result<(), StoreError> {
    let (id, name) = (patient.id, patient.display_name());
    let changed = ended(&patient, form, ends_on);
    let reason = Some(form.why.trim()).filter(|w| !w.is_empty());
    patients::replace(tx, changed, identifiers, reason)?;
    let said = if ends_on.is_some() { "has ended; open reviews are closed" } else { "is open again" };
    say(tx, &format!("The record of {name} {said}."))?;
    append(tx, Event::update("patient.end").about(id).with("ended", ends_on.is_some())).map(drop)
}
