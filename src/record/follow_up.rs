//! The follow-up page of a patient: the timeline, every review with the reason for its date, what waits, reviews of two
//! stomas that may be held together, and where the patient is usually seen.

use actix_web::http::StatusCode;
use actix_web::web;
use chrono::NaiveDate;
use serde::Deserialize;

use super::edit::Loaded;
use super::pages::{FollowUpPage, TogetherView};
use super::timeline::Told;
use crate::access::store::say;
use crate::audit::{Event, append, view};
use crate::db::ids::{PatientId, ReviewId, ServiceId, SiteId};
use crate::db::{Conn, Doc, StoreError};
use crate::display;
use crate::follow_up::pages::{PlanView, PlannedView};
use crate::follow_up::replan::title_of;
use crate::follow_up::rules::together::{Open, WITHIN_DAYS, offers};
use crate::follow_up::slots;
use crate::follow_up::store::{self as reviews, Review};
use crate::follow_up::world::World;
use crate::patients::banner::banner;
use crate::patients::parts::parts;
use crate::patients::store as patients;
use crate::skin::store::{self as skin, AssessmentRow};
use crate::stomas::store::{self as stomas, Stoma};
use crate::supplies::store::{self as supplies, Prescription};
use crate::web::form_view::{Choice, ErrorSummary, Field};
use crate::web::{Answer, AppError, PathOf, Permission, Posted, Signed, State, page, see_other};

struct Facts {
    person: Loaded,
    stomas: Vec<Stoma>,
    reviews: Vec<Review>,
    assessments: Vec<AssessmentRow>,
    prescriptions: Vec<Prescription>,
    sites: Vec<(SiteId, String)>,
    world: World,
}

fn load(conn: &mut Conn, service: ServiceId, id: PatientId, today: NaiveDate) -> Result<Facts, StoreError> {
    Ok(Facts {
        person: (patients::find(conn, service, id)?, patients::identifiers_of(conn, service, id)?),
        stomas: stomas::of_patient(conn, service, id)?,
        reviews: reviews::of_patient(conn, service, id)?,
        assessments: skin::of_patient(conn, service, id, false)?,
        prescriptions: supplies::of_patient(conn, service, id)?,
        sites: slots::sites(conn, service)?,
        world: World::load(conn, service, today)?,
    })
}

/// `GET /patients/{id}/follow-up`
pub async fn follow_up(state: web::Data<State>, signed: Signed, path: PathOf<PatientId>) -> Answer {
    let (id, service, today) = (path.into_inner(), signed.service.id, state.clock.today());
    let facts = view(&state.db, &signed.actor, move |conn| {
        Ok((load(conn, service, id, today)?, Event::read("patient.follow-up").about(id)))
    })
    .await?;
    page(StatusCode::OK, &build(&signed, &facts)?)
}

fn build(signed: &Signed, facts: &Facts) -> Result<FollowUpPage, StoreError> {
    let (patient, identifiers) = &facts.person;
    let today = facts.world.today;
    let told = Told {
        stomas: &facts.stomas,
        reviews: &facts.reviews,
        assessments: &facts.assessments,
        prescriptions: &facts.prescriptions,
        today,
    };
    let site = patient.site_id.map(|id| id.to_string()).unwrap_or_default();
    let mut choices = vec![Choice::new("", "Not set")];
    choices.extend(facts.sites.iter().map(|(id, name)| Choice::new(id.to_string(), name.clone())));
    let works = signed.may(Permission::WorkTheWeek) && patient.ended_reason.is_none();
    let refashion = facts
        .stomas
        .iter()
        .filter(|s| s.reversed_on.is_none() && patient.ended_reason.is_none() && signed.may(Permission::EditStomas))
        .map(|s| (format!("/patients/{}/stomas/{}/refashion", patient.id, s.id), s.words()))
        .collect();
    Ok(FollowUpPage {
        shell: signed.shell("Follow-up", "/patients"),
        banner: banner(patient, identifiers, today),
        errors: ErrorSummary::none(),
        parts: parts(signed, patient.id, "/follow-up"),
        patient_id: patient.id.to_string(),
        version: patient.version.to_string(),
        charts: told.charts(),
        plans: facts.stomas.iter().map(|stoma| plan_view(stoma, facts)).collect::<Result<_, _>>()?,
        together: if works { together_views(facts) } else { Vec::new() },
        refashion,
        site: (works && !facts.sites.is_empty())
            .then(|| (Field::new("site", "Usually seen at"), Choice::choose(choices, &site))),
    })
}

/// Pairs that may be held together.
fn together_views(facts: &Facts) -> Vec<TogetherView> {
    let under_care = |id| facts.stomas.iter().find(|s| Some(s.id) == id && s.reversed_on.is_none());
    let open: Vec<Open> = facts
        .reviews
        .iter()
        .filter(|r| r.is_open())
        .filter_map(|r| {
            let stoma = under_care(r.stoma_id)?.id.0;
            Some(Open { id: r.id.0, stoma, on: r.due_on(), booked: r.status == "booked" })
        })
        .collect();
    let words = |id: uuid::Uuid| {
        let review = facts.reviews.iter().find(|r| r.id.0 == id)?;
        let stoma = under_care(review.stoma_id)?;
        let day = display::weekday_date(review.due_on());
        Some((review, format!("{} of the {} on {day}", review.title, stoma.words().to_lowercase())))
    };
    offers(&open, WITHIN_DAYS)
        .into_iter()
        .filter_map(|offer| {
            let ((keep, kept), (bring, brought)) = (words(offer.keep)?, words(offer.bring)?);
            Some(TogetherView {
                words: format!("{brought} lies near {kept}."),
                window: window(bring),
                button: format!("Hold both on {}", display::weekday_date(offer.on)),
                keep: (keep.id.to_string(), keep.version.to_string()),
                bring: (bring.id.to_string(), bring.version.to_string()),
            })
        })
        .collect()
}

fn window(review: &Review) -> String {
    match review.earliest_on {
        Some(first) if first == review.latest_on => String::new(),
        Some(first) => format!("{} to {}", display::short_date(first), display::short_date(review.latest_on)),
        None => format!("by {}", display::short_date(review.latest_on)),
    }
}

fn plan_view(stoma: &Stoma, facts: &Facts) -> Result<PlanView, StoreError> {
    let protocol = facts.world.protocol(&stoma.protocol_id)?;
    let (plan, _) = facts.world.difference(stoma, &facts.person.0, &facts.reviews)?;
    let mut of_stoma: Vec<&Review> = facts.reviews.iter().filter(|r| r.stoma_id == Some(stoma.id)).collect();
    of_stoma.sort_by_key(|r| (r.due_on(), r.id));
    Ok(PlanView {
        stoma: stoma.words(),
        protocol: format!("{}, version {}", protocol.title, protocol.version),
        protocol_href: format!("/protocols/{}?version={}", protocol.id, protocol.version),
        source: protocol.source.clone(),
        standing: protocol.standing.words().to_owned(),
        reviews: of_stoma.into_iter().map(planned_view).collect::<Result<_, _>>()?,
        waiting: plan
            .waiting
            .iter()
            .map(|w| format!("{} waits: {} is not known", title_of(protocol, &w.step), w.words()))
            .collect(),
        notes: plan.notes,
    })
}

fn planned_view(review: &Review) -> Result<PlannedView, StoreError> {
    let on = review.due_on();
    let mut reasons: Vec<String> = review.reasons.read()?;
    reasons.extend(review.off_plan.clone().map(|why| format!("Off plan: {why}")));
    reasons.extend(review.deferred_reason.clone().map(|why| format!("Deferred: {why}")));
    reasons.extend(review.closed_reason.clone().map(|why| format!("Closed: {why}")));
    let (state, kind) = match review.status.as_str() {
        "proposed" => ("planned", "plain"),
        "booked" if review.off_plan.is_some() => ("booked, off plan", "mind"),
        "booked" => ("booked", "good"),
        "fulfilled" => ("took place", "good"),
        "noshow" => ("missed", "bad"),
        "cancelled" => ("cancelled", "plain"),
        _ => ("entered in error", "plain"),
    };
    let made_by = match review.step {
        Some(_) => format!("{}, version {}", review.protocol_id, review.protocol_version),
        None => "by hand".to_owned(),
    };
    Ok(PlannedView {
        on: display::weekday_date(on),
        on_iso: on.to_string(),
        title: review.title.clone(),
        window: window(review),
        place: review.mode.clone(),
        made_by,
        state: state.to_owned(),
        state_kind: kind.to_owned(),
        reasons,
    })
}

/// Two reviews to be held on one day.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct TogetherForm {
    patient: String,
    keep: String,
    keep_version: i32,
    bring: String,
    bring_version: i32,
}

/// `POST /patients/{id}/follow-up/together`: brings one review to the day of another stoma's.
pub async fn together(
    state: web::Data<State>,
    signed: Signed,
    path: PathOf<PatientId>,
    form: Posted<TogetherForm>,
) -> Answer {
    let (id, form, service) = (path.into_inner(), form.0, signed.service.id);
    let foreign = || AppError::Conflict("This form belongs to another patient's page. Nothing was saved.".into());
    if form.patient != id.to_string() {
        return Err(foreign());
    }
    let read = |text: &str| text.parse::<ReviewId>().map_err(|_| AppError::NotFound);
    let (keep, bring) = (read(&form.keep)?, read(&form.bring)?);
    state
        .db
        .write(&signed.actor, move |tx| {
            let name = patients::find(tx.conn(), service, id)?.display_name();
            let (keep, bring) = (reviews::find(tx.conn(), service, keep)?, reviews::find(tx.conn(), service, bring)?);
            let fits = keep.patient_id == id
                && bring.patient_id == id
                && keep.is_open()
                && bring.status == "proposed"
                && keep.stoma_id != bring.stoma_id;
            if !fits {
                return Err(StoreError::NotFound);
            }
            if keep.version != form.keep_version || bring.version != form.bring_version {
                return Err(StoreError::Stale);
            }
            let day = display::weekday_date(keep.due_on());
            let mut reasons: Vec<String> = bring.reasons.read()?;
            reasons.push(format!("held on {day} together with {} of the other stoma", keep.title));
            let about = bring.id;
            let brought = Review { planned_on: keep.due_on(), by_hand: true, reasons: Doc::of(&reasons)?, ..bring };
            reviews::replace(tx, brought)?;
            say(tx, &format!("{name}: both reviews are planned for {day}."))?;
            append(tx, Event::update("review.together").about(id).with("review", about)).map(drop)
        })
        .await?;
    Ok(see_other(format!("/patients/{id}/follow-up")))
}

/// Where the patient is usually seen.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct SiteForm {
    patient: String,
    version: i32,
    site: String,
}

/// `POST /patients/{id}/follow-up/site`
pub async fn site(state: web::Data<State>, signed: Signed, path: PathOf<PatientId>, form: Posted<SiteForm>) -> Answer {
    let (id, form, service) = (path.into_inner(), form.0, signed.service.id);
    if form.patient != id.to_string() {
        return Err(AppError::Conflict("This form belongs to another patient's page. Nothing was saved.".into()));
    }
    let site = match form.site.as_str() {
        "" => None,
        text => Some(text.parse::<SiteId>().map_err(|_| AppError::NotFound)?),
    };
    state
        .db
        .write(&signed.actor, move |tx| {
            if let Some(site) = site
                && slots::sites(tx.conn(), service)?.iter().all(|(id, _)| *id != site)
            {
                return Err(StoreError::NotFound);
            }
            let held = patients::find(tx.conn(), service, id)?;
            let identifiers = patients::identifiers_of(tx.conn(), service, id)?;
            let name = held.display_name();
            let changed = patients::Patient { site_id: site, version: form.version, ..held };
            patients::replace(tx, changed, &identifiers, None)?;
            say(tx, &format!("Where {name} is usually seen is saved."))?;
            append(tx, Event::update("patient.site").about(id)).map(drop)
        })
        .await?;
    Ok(see_other(format!("/patients/{id}/follow-up")))
}
