//! Showing, adding and removing photographs. Every page and every picture seen is in the log.

use actix_web::http::{StatusCode, header};
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::NaiveDate;
use serde::Deserialize;
use tokio::sync::Semaphore;

use super::pages::{AddForm, PhotographView, PhotographsPage};
use super::picture::{self, LARGEST_FILE, Picture};
use super::store::{self, NewPhotograph, Photograph};
use crate::access::store::{self as people, say};
use crate::audit::{Event, append, view};
use crate::dates_in;
use crate::db::ids::{PatientId, PhotographId, StaffId, StomaId};
use crate::db::{Conn, StoreError};
use crate::display;
use crate::patients::banner::banner;
use crate::patients::identifiers::Identifier;
use crate::patients::parts::parts;
use crate::patients::store::{self as patients, Patient};
use crate::stomas::store::{self as stomas, Stoma};
use crate::web::form_view::{Choice, ErrorSummary, Field, Question, Width};
use crate::web::upload::{Upload, receive};
use crate::web::{Answer, AppError, PathOf, Permission, Posted, Signed, State, page, see_other};

/// Kinds of consent, code and words.
pub const CONSENTS: [(&str, &str); 3] = [
    ("written", "Written"),
    ("spoken", "Spoken, noted here"),
    ("best-interests", "Patient cannot consent: best interests by local policy, noted here"),
];

/// One picture is decoded at a time: a large one takes much memory for a moment.
static ONE_AT_A_TIME: Semaphore = Semaphore::const_new(1);

struct Facts {
    patient: Patient,
    identifiers: Vec<Identifier>,
    stomas: Vec<Stoma>,
    held: Vec<Photograph>,
    staff: Vec<(StaffId, String)>,
}

fn load(conn: &mut Conn, service: crate::db::ids::ServiceId, id: PatientId) -> Result<Facts, StoreError> {
    Ok(Facts {
        patient: patients::find(conn, service, id)?,
        identifiers: patients::identifiers_of(conn, service, id)?,
        stomas: stomas::of_patient(conn, service, id)?,
        held: store::of_patient(conn, service, id)?,
        staff: people::everybody(conn, service)?.into_iter().map(|s| (s.id, s.display_name)).collect(),
    })
}

type Wrong = Vec<(&'static str, String)>;

async fn show(
    state: &State,
    signed: &Signed,
    id: PatientId,
    typed: Option<(&Upload, Wrong)>,
    status: StatusCode,
) -> Answer {
    let service = signed.service.id;
    let facts = view(&state.db, &signed.actor, move |conn| {
        let facts = load(conn, service, id)?;
        let shown = facts.held.iter().filter(|p| p.removed_at.is_none()).count();
        Ok((facts, Event::read("patient.photographs").about(id).with("shown", shown)))
    })
    .await?;
    let today = state.clock.today();
    let may = signed.may(Permission::AssessSkin) && facts.patient.ended_reason.is_none();
    let add = may.then(|| add_form(id, &facts, typed.as_ref().map(|(upload, wrong)| (*upload, wrong)), today));
    let mut errors = ErrorSummary::none();
    if let Some(form) = &add {
        for field in [&form.file, &form.taken_on].into_iter().chain(form.stoma.iter().map(|q| &q.field)) {
            errors.take(field);
        }
        for field in [&form.what, &form.consent.field, &form.consent_note] {
            errors.take(field);
        }
    }
    let title = if errors.is_empty() { "Photographs" } else { "Error: Photographs" };
    let shown = PhotographsPage {
        shell: signed.shell(title, "/patients"),
        banner: banner(&facts.patient, &facts.identifiers, today),
        parts: parts(signed, id, "/photographs"),
        errors,
        photographs: facts.held.iter().map(|p| one(p, &facts, signed.may(Permission::AssessSkin))).collect(),
        add,
    };
    page(status, &shown)
}

fn one(p: &Photograph, facts: &Facts, may: bool) -> PhotographView {
    let name = |id: StaffId| {
        facts.staff.iter().find(|(known, _)| *known == id).map_or_else(String::new, |(_, name)| name.clone())
    };
    let stoma = facts.stomas.iter().find(|s| Some(s.id) == p.stoma_id).map(Stoma::words);
    let on = display::short_date(p.taken_on);
    let what = [p.what.clone(), stoma].into_iter().flatten().collect::<Vec<_>>().join(". ");
    let consent = CONSENTS.iter().find(|(code, _)| *code == p.consent).map_or("", |(_, words)| words);
    let gone = p.removed_at.zip(p.removed_by).map(|(at, by)| {
        let why = p.removed_reason.clone().unwrap_or_default();
        format!("Removed on {} by {}: {why}", display::short_date(at.at().date_naive()), name(by))
    });
    let here = format!("/patients/{}/photographs/{}", p.patient_id, p.id);
    let field = format!("reason-{}", p.id);
    PhotographView {
        id: p.id.to_string(),
        src: gone.is_none().then(|| format!("{here}/picture")),
        alt: format!("Photograph of {on}. {what}"),
        on,
        what,
        consent: [Some(format!("Consent: {consent}")), p.consent_note.clone()]
            .into_iter()
            .flatten()
            .collect::<Vec<_>>()
            .join(". "),
        by: name(p.added_by),
        width: p.width,
        height: p.height,
        remove: (may && gone.is_none()).then(|| format!("{here}/remove")),
        removed: gone,
        reason: Field::new("reason", "Why it is removed").id(field).width(Width::Full),
    }
}

fn add_form(id: PatientId, facts: &Facts, typed: Option<(&Upload, &Wrong)>, today: NaiveDate) -> AddForm {
    let value = |name: &str| typed.map_or_else(String::new, |(upload, _)| upload.field(name).to_owned());
    let error = |name: &str| {
        typed.and_then(|(_, wrong)| wrong.iter().find(|(n, _)| *n == name).map(|(_, words)| words.clone()))
    };
    let field = |name: &str, label: &str| Field::new(name, label).value(value(name)).error(error(name));
    let taken_on = if typed.is_some() { value("taken_on") } else { display::short_date(today) };
    let once = Some(value("once")).filter(|v| !v.is_empty()).unwrap_or_else(|| PhotographId::new().to_string());
    let consents = CONSENTS.iter().map(|(code, words)| Choice::new(*code, *words)).collect();
    AddForm {
        action: format!("/patients/{id}/photographs"),
        once,
        file: field("file", "Photograph").hint("JPEG or PNG, at most 16 MB. Place, time and camera are taken out."),
        taken_on: Field::new("taken_on", "Taken on").value(taken_on).error(error("taken_on")),
        stoma: (facts.stomas.len() > 1).then(|| {
            let list = facts.stomas.iter().map(|s| Choice::new(s.id.to_string(), s.words())).collect();
            Question::new(field("stoma", "Which stoma"), list)
        }),
        what: field("what", "What it shows").width(Width::Full).optional(),
        consent: Question::new(
            field("consent", "Consent")
                .hint("For this photograph in this record; the patient may withdraw it at any time."),
            consents,
        ),
        consent_note: field("consent_note", "Note on the consent").width(Width::Full).optional(),
    }
}

/// `GET /patients/{id}/photographs`
pub async fn list(state: web::Data<State>, signed: Signed, path: PathOf<PatientId>) -> Answer {
    show(&state, &signed, path.into_inner(), None, StatusCode::OK).await
}

/// `GET /patients/{id}/photographs/{photograph}/picture`
pub async fn picture(state: web::Data<State>, signed: Signed, path: PathOf<(PatientId, PhotographId)>) -> Answer {
    let (patient, id) = path.into_inner();
    let service = signed.service.id;
    let content = view(&state.db, &signed.actor, move |conn| {
        let content = store::content(conn, service, patient, id)?;
        Ok((content, Event::read("photograph.picture").about(patient).with("photograph", id)))
    })
    .await?;
    Ok(HttpResponse::Ok()
        .insert_header((header::CONTENT_TYPE, "image/jpeg"))
        .insert_header((header::CONTENT_DISPOSITION, "inline; filename=\"photograph.jpg\""))
        .body(content))
}

fn read(upload: &Upload, stomas: &[Stoma], today: NaiveDate) -> Result<(NaiveDate, Option<StomaId>), Wrong> {
    let mut wrong = Wrong::new();
    let on = match dates_in::read_date(upload.field("taken_on"), today) {
        Ok(on) if on > today => Err("The date must be today or in the past".to_owned()),
        Ok(on) => Ok(on),
        Err(problem) => Err(problem.to_string()),
    };
    let on = on.map_err(|words| wrong.push(("taken_on", words))).ok();
    let stoma = match stomas {
        [] => None,
        [only] => Some(only.id),
        several => {
            let found = several.iter().find(|s| s.id.to_string() == upload.field("stoma")).map(|s| s.id);
            if found.is_none() {
                wrong.push(("stoma", "Choose the stoma".to_owned()));
            }
            found
        }
    };
    let consent = upload.field("consent");
    if !CONSENTS.iter().any(|(code, _)| *code == consent) {
        wrong.push(("consent", "Record the consent: without it no photograph is kept".to_owned()));
    } else if consent != "written" && upload.field("consent_note").chars().count() < 5 {
        wrong.push(("consent_note", "Note how the consent was given, or who decided".to_owned()));
    }
    for name in ["what", "consent_note"] {
        if upload.field(name).chars().count() > 500 {
            wrong.push((name, "Shorten this to 500 characters".to_owned()));
        }
    }
    match on {
        Some(on) if wrong.is_empty() => Ok((on, stoma)),
        _ => Err(wrong),
    }
}

/// `POST /patients/{id}/photographs`
pub async fn add(
    state: web::Data<State>,
    signed: Signed,
    path: PathOf<PatientId>,
    req: HttpRequest,
    payload: web::Payload,
) -> Answer {
    let id = path.into_inner();
    let upload = receive(&req, payload, LARGEST_FILE, "The photograph is larger than 16 MB. Make it smaller.").await?;
    let service = signed.service.id;
    let (patient, stomas) = view(&state.db, &signed.actor, move |conn| {
        let patient = patients::find(conn, service, id)?;
        let stomas = stomas::of_patient(conn, service, id)?;
        Ok(((patient, stomas), Event::read("photograph.new").about(id)))
    })
    .await?;
    if patient.ended_reason.is_some() {
        return Err(AppError::Conflict("This record has ended: no photograph is added to it.".to_owned()));
    }
    let Ok(new) = upload.field("once").parse::<PhotographId>() else {
        return Err(AppError::Unreadable("The form did not arrive whole. Open it again and repeat it.".to_owned()));
    };
    let answers = read(&upload, &stomas, state.clock.today());
    let file = upload.file.clone();
    let made = {
        let _alone = ONE_AT_A_TIME.acquire().await.map_err(|_| AppError::Busy)?;
        web::block(move || picture::clean(&file)).await.map_err(|_| AppError::Busy)?
    };
    let ((taken_on, stoma_id), Picture { jpeg, width, height }) = match (answers, made) {
        (Ok(answers), Ok(made)) => (answers, made),
        (answers, made) => {
            let mut wrong: Wrong = made.err().map(|error| ("file", error.to_string())).into_iter().collect();
            wrong.extend(answers.err().into_iter().flatten());
            return show(&state, &signed, id, Some((&upload, wrong)), StatusCode::UNPROCESSABLE_ENTITY).await;
        }
    };
    let text = |name: &str| Some(upload.field(name).to_owned()).filter(|t| !t.is_empty());
    let (consent, consent_note, what) = (upload.field("consent").to_owned(), text("consent_note"), text("what"));
    let name = patient.display_name();
    let written = state
        .db
        .write(&signed.actor, move |tx| {
            let row = NewPhotograph {
                id: new,
                service_id: service,
                patient_id: id,
                stoma_id,
                taken_on,
                consent,
                consent_note,
                what,
                width: i32::try_from(width).unwrap_or(i32::MAX),
                height: i32::try_from(height).unwrap_or(i32::MAX),
                content: Some(jpeg),
                added_by: tx.staff()?,
                added_at: tx.now(),
            };
            store::add(tx, &row)?;
            say(tx, &format!("The photograph is kept for {name}."))?;
            append(tx, Event::create("photograph").about(id).with("photograph", new)).map(drop)
        })
        .await;
    match written {
        // The same form again: it is kept already.
        Ok(()) | Err(StoreError::Conflict(_)) => Ok(see_other(format!("/patients/{id}/photographs"))),
        Err(error) => Err(error.into()),
    }
}

/// What the form that removes one sends.
#[derive(Deserialize)]
pub struct Removal {
    /// Why.
    #[serde(default)]
    reason: String,
}

/// `POST /patients/{id}/photographs/{photograph}/remove`
pub async fn remove(
    state: web::Data<State>,
    signed: Signed,
    path: PathOf<(PatientId, PhotographId)>,
    form: Posted<Removal>,
) -> Answer {
    let (patient, id) = path.into_inner();
    let reason = form.0.reason.trim().to_owned();
    if reason.chars().count() < 5 || reason.chars().count() > 500 {
        let words = "Write why the photograph is removed, in 5 to 500 characters. Nothing was removed.";
        return Err(AppError::Unreadable(words.to_owned()));
    }
    state
        .db
        .write(&signed.actor, move |tx| {
            store::remove(tx, patient, id, &reason)?;
            say(tx, "The photograph is removed. That it was there, who removed it and why stays in the record.")?;
            append(tx, Event::update("photograph.removed").about(patient).with("photograph", id)).map(drop)
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other(format!("/patients/{patient}/photographs")))
}
