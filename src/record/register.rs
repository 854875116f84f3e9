//! Registering a patient with a first stoma. Likely duplicates are shown before anything is written.

use actix_web::http::StatusCode;
use actix_web::web;
use chrono::NaiveDate;

use super::pages::{LikelyRow, PatientPage};
use crate::audit::{Event, Outcome, append, view};
use crate::db::{Stamp, StoreError};
use crate::drafts::{self, Draft, Kept, Place};
use crate::follow_up::rules::shipped;
use crate::once;
use crate::patients::forms::{PatientForm, Wrong};
use crate::patients::store::{self as patients, Likely};
use crate::stomas::forms::StomaForm;
use crate::stomas::store as stomas;
use crate::web::form_view::ErrorSummary;
use crate::web::{Answer, AppError, PostedBoth, Signed, State, page, see_other};
use crate::week::shown;

/// Protocols to choose from: id and title.
pub fn protocols() -> Vec<(String, String)> {
    shipped().iter().map(|p| (p.id.clone(), format!("{} ({})", p.title, p.standing.words()))).collect()
}

/// The service's protocol for a kind of stoma.
pub fn usual_protocol(service: &crate::access::store::Service, kind: &str) -> String {
    match kind {
        "colostomy" => service.protocol_colostomy.clone(),
        "ileostomy" => service.protocol_ileostomy.clone(),
        _ => service.protocol_urostomy.clone(),
    }
}

/// Where the form lives, for its draft.
fn place() -> Result<Place, AppError> {
    "/patients/new".parse().map_err(|_| AppError::NotFound)
}

struct Shown<'a> {
    patient: &'a PatientForm,
    stoma: &'a StomaForm,
    wrong: Wrong,
    stoma_wrong: Wrong,
    likely: Vec<Likely>,
    today: NaiveDate,
}

fn build(signed: &Signed, shown: Shown<'_>) -> PatientPage {
    let f = shown.patient.fields(&shown.wrong);
    let s = shown.stoma.fields(&shown.stoma_wrong, &protocols(), shown.today);
    let mut errors = f.errors();
    errors.items.extend(s.errors().items);
    if errors.is_empty() && !shown.likely.is_empty() {
        errors = ErrorSummary::none();
        errors.push("not_a_duplicate", "This person may be registered already. Look at the records below first");
    }
    let likely: Vec<LikelyRow> = shown
        .likely
        .iter()
        .map(|l| LikelyRow {
            href: format!("/patients/{}", l.patient.id),
            name: l.patient.display_name(),
            born: format!(
                "{} ({})",
                shown::date_or(l.patient.born_on, "Not known"),
                shown::age(l.patient.born_on, shown.today)
            ),
            nhs: l
                .identifiers
                .first()
                .map_or_else(|| "No number".to_owned(), |i| format!("{} {}", i.scheme().label(), i.display())),
            reason: l.reason.to_string(),
        })
        .collect();
    let title = if errors.is_empty() { "Register a patient" } else { "Error: Register a patient" };
    PatientPage {
        shell: signed.shell(title, "/patients"),
        banner: None,
        errors,
        heading: "Register a patient".to_owned(),
        standfirst: "Who they are, and their stoma. Reviews are planned from the dates as soon as you save.".to_owned(),
        action: "/patients/new".to_owned(),
        patient: f,
        stoma: Some(s),
        button: if likely.is_empty() { "Register" } else { "Register all the same" }.to_owned(),
        likely,
        button_name: String::new(),
        hidden: vec![("once".to_owned(), shown.patient.once.clone())],
        differences: Vec::new(),
        draft: place().map(|place| Draft::at(&place, None)).unwrap_or_default(),
    }
}

/// `GET /patients/new`
pub async fn form(state: web::Data<State>, signed: Signed) -> Answer {
    let (service, place) = (signed.service.id, place()?);
    let (actor, at) = (signed.actor.clone(), place.clone());
    let (found, kept) = view(&state.db, &signed.actor, move |conn| {
        let kept = drafts::kept(conn, &actor, &at)?;
        let event = Kept::noted(kept.as_ref(), Event::read("patient.new"));
        Ok(((crate::access::store::service(conn, service)?, kept), event))
    })
    .await?;
    let (patient, stoma) = match &kept {
        Some(kept) => (kept.form()?, kept.form()?),
        None => (
            PatientForm { once: once::fresh(), ..PatientForm::default() },
            StomaForm { protocol: usual_protocol(&found, "ileostomy"), ..StomaForm::default() },
        ),
    };
    let shown = Shown {
        patient: &patient,
        stoma: &stoma,
        wrong: Wrong::new(),
        stoma_wrong: Wrong::new(),
        likely: Vec::new(),
        today: state.clock.today(),
    };
    let mut shown = build(&signed, shown);
    shown.draft = Draft::at(&place, kept.as_ref());
    page(StatusCode::OK, &shown)
}

/// `POST /patients/new`
pub async fn register(state: web::Data<State>, signed: Signed, form: PostedBoth<PatientForm, StomaForm>) -> Answer {
    let PostedBoth(form, stoma_form) = form;
    let today = state.clock.today();
    let now = Stamp::new(state.clock.now());
    let service = signed.service.id;
    let read = form.read(today, state.refuse_test_numbers && !signed.service.demo);
    let mut patient = patients::new_patient(service, "", "", now);
    let mut stoma = stomas::new_stoma(service, patient.id, "", "", today, now);
    let born_on = read.as_ref().ok().and_then(|facts| facts.born_on);
    let stoma_wrong = stoma_form.put_on(&mut stoma, born_on, today, &protocols()).err().unwrap_or_default();
    let facts = match read {
        Ok(facts) if stoma_wrong.is_empty() => facts,
        other => {
            let wrong = other.err().unwrap_or_default();
            let shown = Shown { patient: &form, stoma: &stoma_form, wrong, stoma_wrong, likely: Vec::new(), today };
            return page(StatusCode::UNPROCESSABLE_ENTITY, &build(&signed, shown));
        }
    };
    // The same form again is no duplicate: it answers as it did the first time.
    let sending = once::of(&form.once)?;
    if let Some(answered) = state.db.read(move |conn| once::answer_of(conn, service, sending)).await? {
        return Ok(see_other(answered));
    }
    let (family, given, numbers) = (form.family_name.clone(), form.given_name.clone(), facts.identifiers.clone());
    let likely =
        state.db.read(move |conn| patients::duplicates(conn, service, &family, &given, born_on, &numbers)).await?;
    let same_number = likely.iter().any(|l| l.identifiers.iter().any(|i| facts.identifiers.contains(i)));
    if same_number || (!likely.is_empty() && form.not_a_duplicate != "yes") {
        let wrong = if same_number {
            vec![(
                "nhs",
                "Another record of your service has this number. Open it below, or correct the number".to_owned(),
            )]
        } else {
            Wrong::new()
        };
        let shown_ids: Vec<_> = likely.iter().map(|l| l.patient.id).collect();
        let event = Event::read("patient.duplicates").about_all(shown_ids);
        state.db.write(&signed.actor, move |tx| append(tx, event).map(drop)).await.map_err(|e: StoreError| e)?;
        let shown = Shown { patient: &form, stoma: &stoma_form, wrong, stoma_wrong, likely, today };
        return page(StatusCode::UNPROCESSABLE_ENTITY, &build(&signed, shown));
    }
    form.put_on(&mut patient, &facts);
    patient.version = 1;
    stoma.version = 1;
    let id = patient.id;
    let name = patient.display_name();
    let place = place()?;
    let to = state
        .db
        .write(&signed.actor, move |tx| {
            if let Some(answered) = once::answered(tx, sending)? {
                append(tx, Event::create("patient.record").outcome(Outcome::Refused).with("why", "sent twice"))?;
                return Ok(answered);
            }
            let to = format!("/patients/{id}");
            once::sent(tx, sending, &to)?;
            drafts::drop_at(tx, &place)?;
            patients::add(tx, patient, &facts.identifiers)?;
            stomas::add(tx, &stoma)?;
            crate::access::store::say(tx, &format!("{name} is registered; reviews are planned."))?;
            append(tx, Event::create("patient.record").about(id))?;
            Ok::<_, StoreError>(to)
        })
        .await?;
    Ok(see_other(to))
}
