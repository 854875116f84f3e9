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
use crate::drafts::{self, Draft, Kept, Place};
use crate::patients::banner::banner;
use crate::patients::forms::{PatientForm, Wrong};
use crate::patients::identifiers::Identifier;
use crate::patients::store::{self as patients, Patient};
use crate::stomas::store as stomas;
use crate::web::form_view::{Choice, Difference, ErrorSummary, Field, Width};
use crate::web::{Answer, AppError, PathOf, Posted, Signed, State, page, see_other};
use crate::{dates_in, display};

/// A form of another patient's page is refused: two tabs must not mix two people up.
pub fn same_patient(named: &str, id: PatientId) -> Result<(), AppError> {
    if named == id.to_string() {
        return Ok(());
    }
    Err(AppError::Conflict(
        "This form belongs to another patient's page. Nothing was saved. Open the right record.".into(),
    ))
}

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

/// Loads a patient and the draft of a form about them, and logs what was seen.
pub async fn load_with_draft(
    state: &State,
    signed: &Signed,
    place: &Place,
    what: &'static str,
) -> Result<(Loaded, Option<Kept>), AppError> {
    let (service, actor, place) = (signed.service.id, signed.actor.clone(), place.clone());
    let id = place.patient.ok_or(AppError::NotFound)?;
    Ok(view(&state.db, &signed.actor, move |conn| {
        let patient = patients::find(conn, service, id)?;
        let identifiers = patients::identifiers_of(conn, service, id)?;
        let kept = drafts::kept(conn, &actor, &place)?;
        let event = Kept::noted(kept.as_ref(), Event::read(what).about(id));
        Ok((((patient, identifiers), kept), event))
    })
    .await?)
}

/// Where the form lives, for its draft.
fn place(id: PatientId) -> Result<Place, AppError> {
    format!("/patients/{id}/edit").parse().map_err(|_| AppError::NotFound)
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
        hidden: vec![("patient".to_owned(), patient.id.to_string()), ("version".to_owned(), form.version.to_string())],
        differences: Vec::new(),
        draft: place(patient.id).map(|place| Draft::at(&place, None)).unwrap_or_default(),
    }
}

/// `GET /patients/{id}/edit`
pub async fn form(state: web::Data<State>, signed: Signed, path: PathOf<PatientId>) -> Answer {
    let place = place(path.into_inner())?;
    let (loaded, kept) = load_with_draft(&state, &signed, &place, "patient.edit").await?;
    let form = match &kept {
        Some(kept) => kept.form()?,
        None => PatientForm::of(&loaded.0, &loaded.1),
    };
    let mut shown = edit_page(&state, &signed, &loaded, &form, &Wrong::new());
    shown.draft = Draft::at(&place, kept.as_ref());
    page(StatusCode::OK, &shown)
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
    let place = place(id)?;
    same_patient(&form.patient, id)?;
    let facts = match form.read(state.clock.today(), state.refuse_test_numbers && !signed.service.demo) {
        Ok(facts) => facts,
        Err(wrong) => {
            let loaded = load(&state, &signed, id, "patient.edit").await?;
            return page(StatusCode::UNPROCESSABLE_ENTITY, &edit_page(&state, &signed, &loaded, &form, &wrong));
        }
    };
    let service = signed.service.id;
    let typed = form.clone();
    let done = state
        .db
        .write(&signed.actor, move |tx| {
            let mut patient = patients::find(tx.conn(), service, id)?;
            form.put_on(&mut patient, &facts);
            let name = patient.display_name();
            patients::replace(tx, patient, &facts.identifiers, None)?;
            drafts::drop_at(tx, &place)?;
            say(tx, &format!("The details of {name} are saved."))?;
            append(tx, Event::update("patient.record").about(id)).map(drop)
        })
        .await;
    match done {
        Ok(()) => Ok(see_other(format!("/patients/{id}"))),
        Err(StoreError::Stale) => changed_meanwhile(&state, &signed, id, typed).await,
        Err(error) => Err(error.into()),
    }
}

/// Somebody else saved the record meanwhile: what was typed comes back beside what stands now, on the version of now.
async fn changed_meanwhile(state: &State, signed: &Signed, id: PatientId, typed: PatientForm) -> Answer {
    let loaded = load(state, signed, id, "patient.edit").await?;
    let stands = PatientForm::of(&loaded.0, &loaded.1);
    let form = PatientForm { version: stands.version, ..typed };
    let none = Wrong::new();
    let mut shown = edit_page(state, signed, &loaded, &form, &none);
    shown.differences = Difference::between(form.fields(&none).said(), stands.fields(&none).said());
    if shown.differences.is_empty() {
        return Ok(see_other(format!("/patients/{id}"))); // the same form twice, or the same correction by two
    }
    shown.errors.changed_meanwhile();
    shown.shell.title = "Error: Correct details".to_owned();
    page(StatusCode::CONFLICT, &shown)
}

/// Why a record ends: code and words.
pub const REASONS: [(&str, &str); 3] =
    [("died", "The patient died"), ("moved-away", "Moved away"), ("declined", "Declines follow-up")];

/// What the form sends.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct EndForm {
    patient: String,
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
    let on = on.offers(dates_in::offers(&form.on, state.clock.today()));
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
        patient: patient.id.to_string(),
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
    same_patient(&form.patient, id)?;
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
    if form.version != loaded.0.version {
        let mut shown = end_page(&state, &signed, &loaded, &form, &[]);
        shown.errors.push(
            if was_ended { "why" } else { "reason" },
            "Somebody else changed this record since the form was opened. Nothing is saved yet: look at it, then send it again",
        );
        shown.shell.title = "Error: End of record".to_owned();
        return page(StatusCode::CONFLICT, &shown);
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
    let said = match ends_on {
        Some(on) => format!("has ended on {}; open reviews are closed", display::weekday_date(on)),
        None => "is open again".to_owned(),
    };
    say(tx, &format!("The record of {name} {said}."))?;
    append(tx, Event::update("patient.end").about(id).with("ended", ends_on.is_some())).map(drop)
}
