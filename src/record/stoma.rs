//! Recording another stoma, correcting one, and refashioning one. The reviews follow the dates in the same transaction;
//! what would be moved or closed is shown first.

use actix_web::http::StatusCode;
use actix_web::web;
use serde::Deserialize;

use super::confirm::{Asked, ask, hidden, preview};
use super::edit::{Loaded, load, load_with_draft, same_patient};
use super::pages::StomaPage;
use super::register::{Choices, USUAL};
use crate::access::store::say;
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

/// Heading and part of the address.
const NEW: (&str, &str) = ("Record another stoma", "new");
const CORRECT: &str = "Correct the stoma";
const REFASHION: &str = "Refashioned or re-sited";

/// What was typed, with the patient, as hidden fields.
fn with_patient(form: &StomaForm, id: PatientId, once: &str) -> Result<Vec<(String, String)>, AppError> {
    let mut fields = hidden(form)?;
    fields.push(("patient".to_owned(), id.to_string()));
    fields.push(("once".to_owned(), once.to_owned()));
    Ok(fields)
}

/// The patient whom the form names; compared with the page's.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct OfPatient {
    patient: String,
    /// The form's own id, when it records a new stoma.
    once: String,
    /// The seal of the changes that were shown; empty on the first sending.
    seal: String,
}

/// Where the form lives, for its draft: recording and correcting keep one.
fn place(id: PatientId, part: &str) -> Result<Place, AppError> {
    format!("/patients/{id}/stomas/{part}").parse().map_err(|_| AppError::NotFound)
}

/// How the date of surgery was read, with its weekday, for the message.
fn surgery_words(stoma: &Stoma) -> String {
    stoma.surgery_on.map(|on| format!(", surgery {}", weekday_date(on))).unwrap_or_default()
}

fn build(
    state: &State,
    signed: &Signed,
    loaded: &Loaded,
    choices: &Choices,
    (heading, part): (&str, &str),
    (form, once): (&StomaForm, &str),
    wrong: &Wrong,
) -> StomaPage {
    let s = form.fields(wrong, &choices.protocols, state.clock.today());
    let errors = s.errors();
    let id = loaded.0.id;
    StomaPage {
        shell: signed
            .shell(if errors.is_empty() { heading.to_owned() } else { format!("Error: {heading}") }, "/patients"),
        banner: banner(&loaded.0, &loaded.1, state.clock.today()),
        errors,
        heading: heading.to_owned(),
        action: format!("/patients/{id}/stomas/{part}"),
        patient_id: id.to_string(),
        once: once.to_owned(),
        differences: Vec::new(),
        draft: place(id, part).map(|place| Draft::at(&place, None)).unwrap_or_default(),
        s,
    }
}

/// `GET /patients/{id}/stomas/new`
pub async fn new_form(state: web::Data<State>, signed: Signed, path: PathOf<PatientId>) -> Answer {
    let place = place(path.into_inner(), "new")?;
    let (loaded, kept) = load_with_draft(&state, &signed, &place, "stoma.new").await?;
    let id = signed.service.id;
    let choices = state.db.read(move |conn| Choices::for_new(conn, id)).await?;
    let (form, once) = match &kept {
        Some(kept) => (kept.form()?, kept.form::<OfPatient>()?.once),
        None => (StomaForm { protocol: USUAL.to_owned(), ..StomaForm::default() }, once::fresh()),
    };
    let mut shown = build(&state, &signed, &loaded, &choices, NEW, (&form, &once), &Wrong::new());
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
    let sending = once::of(&of.once)?;
    let service = signed.service.id;
    if let Some(answered) = once::answered_already(&state.db, service, sending).await? {
        return Ok(see_other(answered)); // the same form again
    }
    let choices = state.db.read(move |conn| Choices::for_new(conn, service)).await?;
    if let Err(wrong) = form.put_on(&mut stoma, loaded.0.born_on, today, &choices.protocols) {
        let again = build(&state, &signed, &loaded, &choices, NEW, (&form, &of.once), &wrong);
        return page(StatusCode::UNPROCESSABLE_ENTITY, &again);
    }
    choices.settle(&mut stoma);
    stoma.version = 1;
    let (patient, fresh) = (loaded.0.clone(), stoma.clone());
    let (changes, second) = state
        .db
        .read(move |conn| {
            let held = stomas::of_patient(conn, service, id)?;
            let second = held.iter().any(|s| s.reversed_on.is_none());
            Ok::<_, StoreError>((preview(conn, &patient, &[fresh], today)?, second))
        })
        .await?;
    let asked = Asked {
        heading: "A second stoma",
        action: format!("/patients/{id}/stomas/new"),
        button: "Record the stoma",
        back: format!("/patients/{id}"),
        hidden: with_patient(&form, id, &of.once)?,
        shown: &of.seal,
    };
    if let Some(answer) = ask(&state, &signed, &loaded, &changes, second, asked) {
        return answer;
    }
    let name = loaded.0.display_name();
    let surgery = surgery_words(&stoma);
    let place = place(id, "new")?;
    let to = state
        .db
        .write(&signed.actor, move |tx| {
            let to = format!("/patients/{id}");
            if let Some(answered) = once::claim(tx, sending, &to)? {
                append(
                    tx,
                    Event::create("stoma.record").about(id).outcome(Outcome::Refused).with("why", "sent twice"),
                )?;
                return Ok(answered);
            }
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
    let place = place(id, &stoma.to_string())?;
    let (loaded, kept) = load_with_draft(&state, &signed, &place, "stoma.edit").await?;
    let service = signed.service.id;
    let (held, choices) = state
        .db
        .read(move |conn| Ok::<_, StoreError>((stomas::find(conn, service, stoma)?, Choices::load(conn, service)?)))
        .await?;
    if held.patient_id != id {
        return Err(AppError::NotFound);
    }
    let part = stoma.to_string();
    let form = match &kept {
        Some(kept) => kept.form()?,
        None => StomaForm::of(&held),
    };
    let mut shown = build(&state, &signed, &loaded, &choices, (CORRECT, &part), (&form, ""), &Wrong::new());
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
    let (mut held, choices) = state
        .db
        .read(move |conn| Ok::<_, StoreError>((stomas::find(conn, service, stoma)?, Choices::load(conn, service)?)))
        .await?;
    let stands = StomaForm::of(&held);
    if held.patient_id != id {
        return Err(AppError::NotFound);
    }
    let part = stoma.to_string();
    if let Err(wrong) = form.put_on(&mut held, loaded.0.born_on, state.clock.today(), &choices.protocols) {
        let again = build(&state, &signed, &loaded, &choices, (CORRECT, &part), (&form, ""), &wrong);
        return page(StatusCode::UNPROCESSABLE_ENTITY, &again);
    }
    if form.version != stands.version {
        // Somebody else saved it meanwhile: what was typed comes back beside what stands now, on the version of now.
        let form = StomaForm { version: stands.version, ..form };
        let (none, today) = (Wrong::new(), state.clock.today());
        let mut shown = build(&state, &signed, &loaded, &choices, (CORRECT, &part), (&form, ""), &none);
        let said = |form: &StomaForm| form.fields(&none, &choices.protocols, today).said();
        shown.differences = Difference::between(said(&form), said(&stands));
        if shown.differences.is_empty() {
            return Ok(see_other(format!("/patients/{id}/follow-up"))); // the same form twice
        }
        shown.errors.changed_meanwhile();
        shown.shell.title = "Error: Correct the stoma".to_owned();
        return page(StatusCode::CONFLICT, &shown);
    }
    let (today, patient, changed) = (state.clock.today(), loaded.0.clone(), held.clone());
    let changes = state.db.read(move |conn| preview(conn, &patient, &[changed], today)).await?;
    let asked = Asked {
        heading: "Reviews that would change",
        action: format!("/patients/{id}/stomas/{stoma}"),
        button: "Save the stoma and change these reviews",
        back: format!("/patients/{id}/stomas/{stoma}"),
        hidden: with_patient(&form, id, "")?,
        shown: &of.seal,
    };
    if let Some(answer) = ask(&state, &signed, &loaded, &changes, false, asked) {
        return answer;
    }
    let name = loaded.0.display_name();
    let place = place(id, &stoma.to_string())?;
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

async fn to_refashion(
    state: &State,
    signed: &Signed,
    id: PatientId,
    stoma: StomaId,
) -> Result<(Loaded, Stoma, Choices), AppError> {
    let loaded = load(state, signed, id, "stoma.refashion").await?;
    let service = signed.service.id;
    let (held, choices) = state
        .db
        .read(move |conn| Ok::<_, StoreError>((stomas::find(conn, service, stoma)?, Choices::load(conn, service)?)))
        .await?;
    if held.patient_id != id {
        return Err(AppError::NotFound);
    }
    if held.reversed_on.is_some() {
        return Err(AppError::Conflict("The follow-up of this stoma has ended already.".into()));
    }
    Ok((loaded, held, choices))
}

/// `GET /patients/{id}/stomas/{stoma}/refashion`
pub async fn refashion_form(state: web::Data<State>, signed: Signed, path: PathOf<(PatientId, StomaId)>) -> Answer {
    let (id, stoma) = path.into_inner();
    let (loaded, held, choices) = to_refashion(&state, &signed, id, stoma).await?;
    // Dates and measures are those of the new operation; how the stoma is made is chosen anew.
    let form = StomaForm { protocol: held.protocol_id, kind: held.kind, version: held.version, ..StomaForm::default() };
    let part = format!("{stoma}/refashion");
    page(
        StatusCode::OK,
        &build(&state, &signed, &loaded, &choices, (REFASHION, &part), (&form, &once::fresh()), &Wrong::new()),
    )
}

/// `POST /patients/{id}/stomas/{stoma}/refashion`: the old episode ends on the day of the operation, a new one begins.
pub async fn refashion(
    state: web::Data<State>,
    signed: Signed,
    path: PathOf<(PatientId, StomaId)>,
    form: PostedBoth<StomaForm, OfPatient>,
) -> Answer {
    let (id, stoma) = path.into_inner();
    let PostedBoth(form, of) = form;
    same_patient(&of.patient, id)?;
    let (sending, service) = (once::of(&of.once)?, signed.service.id);
    if let Some(answered) = once::answered_already(&state.db, service, sending).await? {
        return Ok(see_other(answered)); // the same form again
    }
    let (loaded, mut held, choices) = to_refashion(&state, &signed, id, stoma).await?;
    let (today, now) = (state.clock.today(), Stamp::new(state.clock.now()));
    let mut fresh = stomas::new_stoma(signed.service.id, id, "", "", today, now);
    let mut wrong = form.put_on(&mut fresh, loaded.0.born_on, today, &choices.protocols).err().unwrap_or_default();
    match fresh.surgery_on {
        _ if !wrong.is_empty() => {}
        None => wrong.push(("surgery_on", "Enter the date of the operation that refashioned it".to_owned())),
        Some(on) if on > today => {
            wrong.push(("surgery_on", "The operation must be today or in the past".to_owned()));
        }
        Some(on) if held.surgery_on.is_some_and(|before| on <= before) => {
            wrong.push(("surgery_on", "The operation must come after the one that formed the stoma".to_owned()));
        }
        Some(_) => {}
    }
    let part = format!("{stoma}/refashion");
    if !wrong.is_empty() {
        let again = build(&state, &signed, &loaded, &choices, (REFASHION, &part), (&form, &of.once), &wrong);
        return page(StatusCode::UNPROCESSABLE_ENTITY, &again);
    }
    held.version = form.version;
    held.reversed_on = fresh.surgery_on;
    held.refashioned_as = Some(fresh.id);
    fresh.version = 1;
    let (patient, both) = (loaded.0.clone(), [held.clone(), fresh.clone()]);
    let changes = state.db.read(move |conn| preview(conn, &patient, &both, today)).await?;
    let asked = Asked {
        heading: "The stoma as it was, and as it is now",
        action: format!("/patients/{id}/stomas/{part}"),
        button: "Record the operation and change these reviews",
        back: format!("/patients/{id}/stomas/{part}"),
        hidden: with_patient(&form, id, &of.once)?,
        shown: &of.seal,
    };
    if let Some(answer) = ask(&state, &signed, &loaded, &changes, true, asked) {
        return answer;
    }
    let name = loaded.0.display_name();
    state
        .db
        .write(&signed.actor, move |tx| {
            let (old, new) = (held.id, fresh.id);
            if once::claim(tx, sending, &format!("/patients/{id}/follow-up"))?.is_some() {
                let event = Event::update("stoma.refashion").outcome(Outcome::Refused).with("why", "sent twice");
                return append(tx, event).map(drop);
            }
            stomas::add(tx, &fresh)?;
            stomas::replace(tx, held, Some("Refashioned"))?;
            say(tx, &format!("The new episode of {name} is recorded; the earlier one stays readable."))?;
            append(tx, Event::update("stoma.refashion").about(id).with("stoma", old).with("as", new)).map(drop)
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other(format!("/patients/{id}/follow-up")))
}
