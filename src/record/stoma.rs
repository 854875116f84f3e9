//! Recording another stoma and correcting one. The reviews follow the dates in the same transaction.

use actix_web::http::StatusCode;
use actix_web::web;
use serde::Deserialize;

use super::edit::{Loaded, load, load_with_draft, same_patient};
use super::pages::StomaPage;
use super::register::{protocols, usual_protocol};
use crate::access::store::{say, service};
use crate::audit::{Event, Outcome, append};
use crate::db::ids::{PatientId, StomaId};
use crate::db::{Stamp, StoreError};
use crate::display::weekday_date;
use crate::drafts::{self, Draft, Place};
use crate::once;
use crate::patients::banner::banner;
use crate::stomas::forms::{StomaForm, Wrong};
use crate::stomas::store::{self as stomas, Stoma};
use crate::web::form_view::Difference;
use crate::web::{Answer, AppError, PathOf, PostedBoth, Signed, State, page, see_other};

/// The patient whom the form names; compared with the page's.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct OfPatient {
    patient: String,
    /// The form's own id, when it records a new stoma.
    once: String,
}

/// Where the form lives, for its draft.
fn place(id: PatientId, stoma: Option<StomaId>) -> Result<Place, AppError> {
    let which = stoma.map_or_else(|| "new".to_owned(), |stoma| stoma.to_string());
    format!("/patients/{id}/stomas/{which}").parse().map_err(|_| AppError::NotFound)
}

/// How the date of surgery was read, with its weekday, for the message.
fn surgery_words(stoma: &Stoma) -> String {
    stoma.surgery_on.map(|on| format!(", surgery {}", weekday_date(on))).unwrap_or_default()
}

fn build(
    state: &State,
    signed: &Signed,
    loaded: &Loaded,
    stoma: Option<StomaId>,
    (form, once): (&StomaForm, &str),
    wrong: &Wrong,
) -> StomaPage {
    let s = form.fields(wrong, &protocols(), state.clock.today());
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
        once: once.to_owned(),
        differences: Vec::new(),
        draft: place(id, stoma).map(|place| Draft::at(&place, None)).unwrap_or_default(),
        s,
    }
}

/// `GET /patients/{id}/stomas/new`
pub async fn new_form(state: web::Data<State>, signed: Signed, path: PathOf<PatientId>) -> Answer {
    let place = place(path.into_inner(), None)?;
    let (loaded, kept) = load_with_draft(&state, &signed, &place, "stoma.new").await?;
    let id = signed.service.id;
    let of = state.db.read(move |conn| service(conn, id)).await?;
    let (form, once) = match &kept {
        Some(kept) => (kept.form()?, kept.form::<OfPatient>()?.once),
        None => (StomaForm { protocol: usual_protocol(&of, "ileostomy"), ..StomaForm::default() }, once::fresh()),
    };
    let mut shown = build(&state, &signed, &loaded, None, (&form, &once), &Wrong::new());
    shown.draft = Draft::at(&place, kept.as_ref());
    page(StatusCode::OK, &shown)
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
    same_patient(&of.patient, id)?;
    let (today, now) = (state.clock.today(), Stamp::new(state.clock.now()));
    let loaded = load(&state, &signed, id, "stoma.new").await?;
    let mut stoma = stomas::new_stoma(signed.service.id, id, "", "", today, now);
    if let Err(wrong) = form.put_on(&mut stoma, loaded.0.born_on, today, &protocols()) {
        return page(
            StatusCode::UNPROCESSABLE_ENTITY,
            &build(&state, &signed, &loaded, None, (&form, &of.once), &wrong),
        );
    }
    stoma.version = 1;
    let name = loaded.0.display_name();
    let surgery = surgery_words(&stoma);
    let (place, sending) = (place(id, None)?, once::of(&of.once)?);
    let to = state
        .db
        .write(&signed.actor, move |tx| {
            if let Some(answered) = once::answered(tx, sending)? {
                append(
                    tx,
                    Event::create("stoma.record").about(id).outcome(Outcome::Refused).with("why", "sent twice"),
                )?;
                return Ok(answered);
            }
            let to = format!("/patients/{id}");
            once::sent(tx, sending, &to)?;
            drafts::drop_at(tx, &place)?;
            stomas::add(tx, &stoma)?;
            say(tx, &format!("The stoma of {name} is recorded{surgery}; reviews are planned."))?;
            append(tx, Event::create("stoma.record").about(id).with("stoma", stoma.id))?;
            Ok::<_, StoreError>(to)
        })
        .await?;
    Ok(see_other(to))
}

/// `GET /patients/{id}/stomas/{stoma}`
pub async fn form(state: web::Data<State>, signed: Signed, path: PathOf<(PatientId, StomaId)>) -> Answer {
    let (id, stoma) = path.into_inner();
    let place = place(id, Some(stoma))?;
    let (loaded, kept) = load_with_draft(&state, &signed, &place, "stoma.edit").await?;
    let service = signed.service.id;
    let held = state.db.read(move |conn| stomas::find(conn, service, stoma)).await?;
    if held.patient_id != id {
        return Err(AppError::NotFound);
    }
    let form = match &kept {
        Some(kept) => kept.form()?,
        None => StomaForm::of(&held),
    };
    let mut shown = build(&state, &signed, &loaded, Some(stoma), (&form, ""), &Wrong::new());
    shown.draft = Draft::at(&place, kept.as_ref());
    page(StatusCode::OK, &shown)
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
    same_patient(&of.patient, id)?;
    let loaded = load(&state, &signed, id, "stoma.edit").await?;
    let service = signed.service.id;
    let mut held = state.db.read(move |conn| stomas::find(conn, service, stoma)).await?;
    let stands = StomaForm::of(&held);
    if held.patient_id != id {
        return Err(AppError::NotFound);
    }
    if let Err(wrong) = form.put_on(&mut held, loaded.0.born_on, state.clock.today(), &protocols()) {
        return page(
            StatusCode::UNPROCESSABLE_ENTITY,
            &build(&state, &signed, &loaded, Some(stoma), (&form, ""), &wrong),
        );
    }
    if form.version != stands.version {
        // Somebody else saved it meanwhile: what was typed comes back beside what stands now, on the version of now.
        let form = StomaForm { version: stands.version, ..form };
        let (none, protocols, today) = (Wrong::new(), protocols(), state.clock.today());
        let mut shown = build(&state, &signed, &loaded, Some(stoma), (&form, ""), &none);
        let said = |form: &StomaForm| form.fields(&none, &protocols, today).said();
        shown.differences = Difference::between(said(&form), said(&stands));
        if shown.differences.is_empty() {
            return Ok(see_other(format!("/patients/{id}/follow-up"))); // the same form twice
        }
        shown.errors.changed_meanwhile();
        shown.shell.title = "Error: Correct the stoma".to_owned();
        return page(StatusCode::CONFLICT, &shown);
    }
    let name = loaded.0.display_name();
    let place = place(id, Some(stoma))?;
    let surgery = surgery_words(&held);
    state
        .db
        .write(&signed.actor, move |tx| {
            drafts::drop_at(tx, &place)?;
            stomas::replace(tx, held, None)?;
            say(tx, &format!("The stoma of {name} is saved{surgery}; reviews follow the dates."))?;
            append(tx, Event::update("stoma.record").about(id).with("stoma", stoma)).map(drop)
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other(format!("/patients/{id}/follow-up")))
}
