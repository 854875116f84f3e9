//! Recording another stoma and correcting one. The reviews follow the dates in the same transaction.

use actix_web::http::StatusCode;
use actix_web::web;
use serde::Deserialize;

use super::edit::{Loaded, load};
use super::pages::StomaPage;
use super::register::{Choices, USUAL};
use crate::access::store::say;
use crate::audit::{Event, append};
use crate::db::ids::{PatientId, StomaId};
use crate::db::{Stamp, StoreError};
use crate::patients::banner::banner;
use crate::stomas::forms::{StomaForm, Wrong};
use crate::stomas::store as stomas;
use crate::web::{Answer, AppError, PathOf, PostedBoth, Signed, State, page, see_other};

/// The patient whom the form names; compared with the page's.
#[derive(Deserialize)]
pub struct OfPatient {
    #[serde(default)]
    patient: String,
}

fn build(
    state: &State,
    signed: &Signed,
    loaded: &Loaded,
    choices: &Choices,
    stoma: Option<StomaId>,
    form: &StomaForm,
    wrong: &Wrong,
) -> StomaPage {
    let s = form.fields(wrong, &choices.protocols);
    let errors = s.errors();
    let id = loaded.0.id;
    let heading = if stoma.is_some() { "Correct the stoma" } else { "Record another stoma" };
    StomaPage {
        shell: signed
            .shell(if errors.is_empty() { heading.to_owned() } else { format!("Error: {heading}") }, "/patients"),
        banner: banner(&loaded.0, &loaded.1, state.clock.today()),
        errors,
        heading: heading.to_owned(),
        action: stoma.map_or_else(|| format!("/patients/{id}/stomas/new"), |s| format!("/patients/{id}/stomas/{s}")),
        patient_id: id.to_string(),
        s,
    }
}

/// `GET /patients/{id}/stomas/new`
pub async fn new_form(state: web::Data<State>, signed: Signed, path: PathOf<PatientId>) -> Answer {
    let loaded = load(&state, &signed, path.into_inner(), "stoma.new").await?;
    let id = signed.service.id;
    let choices = state.db.read(move |conn| Choices::for_new(conn, id)).await?;
    let form = StomaForm { protocol: USUAL.to_owned(), ..StomaForm::default() };
    page(StatusCode::OK, &build(&state, &signed, &loaded, &choices, None, &form, &Wrong::new()))
}

/// `POST /patients/{id}/stomas/new`
pub async fn add(
    state: web::Data<State>,
    signed: Signed,
    path: PathOf<PatientId>,
    form: PostedBoth<StomaForm, OfPatient>,
) -> Answer {
    let id = path.into_inner();
    let PostedBoth(form, of) = form;
    same_patient(&of, id)?;
    let (today, now) = (state.clock.today(), Stamp::new(state.clock.now()));
    let loaded = load(&state, &signed, id, "stoma.new").await?;
    let mut stoma = stomas::new_stoma(signed.service.id, id, "", "", today, now);
    let service = signed.service.id;
    let choices = state.db.read(move |conn| Choices::for_new(conn, service)).await?;
    if let Err(wrong) = form.put_on(&mut stoma, loaded.0.born_on, today, &choices.protocols) {
        let again = build(&state, &signed, &loaded, &choices, None, &form, &wrong);
        return page(StatusCode::UNPROCESSABLE_ENTITY, &again);
    }
    choices.settle(&mut stoma);
    stoma.version = 1;
    let name = loaded.0.display_name();
    state
        .db
        .write(&signed.actor, move |tx| {
            stomas::add(tx, &stoma)?;
            say(tx, &format!("The stoma of {name} is recorded; reviews are planned."))?;
            append(tx, Event::create("stoma.record").about(id).with("stoma", stoma.id)).map(drop)
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other(format!("/patients/{id}")))
}

/// A form of another patient's page is refused: two tabs must not mix two people up.
pub fn same_patient(of: &OfPatient, id: PatientId) -> Result<(), AppError> {
    if of.patient == id.to_string() {
        return Ok(());
    }
    Err(AppError::Conflict(
        "This form belongs to another patient's page. Nothing was saved. Open the right record.".into(),
    ))
}

/// `GET /patients/{id}/stomas/{stoma}`
pub async fn form(state: web::Data<State>, signed: Signed, path: PathOf<(PatientId, StomaId)>) -> Answer {
    let (id, stoma) = path.into_inner();
    let loaded = load(&state, &signed, id, "stoma.edit").await?;
    let service = signed.service.id;
    let (held, choices) = state
        .db
        .read(move |conn| Ok::<_, StoreError>((stomas::find(conn, service, stoma)?, Choices::load(conn, service)?)))
        .await?;
    if held.patient_id != id {
        return Err(AppError::NotFound);
    }
    let form = StomaForm::of(&held);
    page(StatusCode::OK, &build(&state, &signed, &loaded, &choices, Some(stoma), &form, &Wrong::new()))
}

/// `POST /patients/{id}/stomas/{stoma}`
pub async fn save(
    state: web::Data<State>,
    signed: Signed,
    path: PathOf<(PatientId, StomaId)>,
    form: PostedBoth<StomaForm, OfPatient>,
) -> Answer {
    let (id, stoma) = path.into_inner();
    let PostedBoth(form, of) = form;
    same_patient(&of, id)?;
    let loaded = load(&state, &signed, id, "stoma.edit").await?;
    let service = signed.service.id;
    let (mut held, choices) = state
        .db
        .read(move |conn| Ok::<_, StoreError>((stomas::find(conn, service, stoma)?, Choices::load(conn, service)?)))
        .await?;
    if held.patient_id != id {
        return Err(AppError::NotFound);
    }
    if let Err(wrong) = form.put_on(&mut held, loaded.0.born_on, state.clock.today(), &choices.protocols) {
        let again = build(&state, &signed, &loaded, &choices, Some(stoma), &form, &wrong);
        return page(StatusCode::UNPROCESSABLE_ENTITY, &again);
    }
    let name = loaded.0.display_name();
    state
        .db
        .write(&signed.actor, move |tx| {
            stomas::replace(tx, held, None)?;
            say(tx, &format!("The stoma of {name} is saved; reviews follow the new dates."))?;
            append(tx, Event::update("stoma.record").about(id).with("stoma", stoma)).map(drop)
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other(format!("/patients/{id}/follow-up")))
}
