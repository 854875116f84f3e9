//! The follow-up page of a patient (what is planned, and why), and the protocols with their sources.

use actix_web::http::StatusCode;
use actix_web::web;
use super::pages::{FollowUpPage, PlanView, PlannedView, ProtocolView, ProtocolsPage, StepView};
use super::rules::{Protocol, Shape, Step, shipped};
use super::store::{self, Review};
use super::world::World;
use crate::access::store as services;
use crate::audit::{Event, view};
use crate::db::StoreError;
use crate::db::ids::PatientId;
use crate::display;
use crate::patients::banner::banner;
use crate::patients::store::{self as patients, Patient};
use crate::stomas::store::{self as stomas, Stoma};
use crate::web::form_view::ErrorSummary;
use crate::web::{Answer, PathOf, Signed, State, page};

/// `GET /patients/{id}/follow-up`
pub async fn follow_up(state: web::Data<State>, signed: Signed, path: PathOf<PatientId>) -> Answer {
    let id = path.into_inner();
    let service = signed.service.id;
    let today = state.clock.today();
    let (patient, identifiers, stomas, reviews, world) = view(&state.db, &signed.actor, move |conn| {
        let patient = patients::find(conn, service, id)?;
        let identifiers = patients::identifiers_of(conn, service, id)?;
        let stomas = stomas::of_patient(conn, service, id)?;
        let reviews = store::of_patient(conn, service, id)?;
        let world = World::load(conn, service, today)?;
        Ok(((patient, identifiers, stomas, reviews, world), Event::read("patient.follow-up").about(id)))
    })
    .await?;
    let plans = stomas
        .iter()
        .map(|stoma| plan_view(stoma, &patient, &world, &reviews))
        .collect::<Result<_, _>>()?;
    let shown = FollowUpPage {
        shell: signed.shell("Follow-up", "/patients"),
        banner: banner(&patient, &identifiers, today),
        errors: ErrorSummary::none(),
        plans,
    };
    page(StatusCode::OK, &shown)
}

fn plan_view(
    stoma: &Stoma,
    patient: &Patient,
    world: &World,
    reviews: &[Review],
) -> Result<PlanView, StoreError> {
    let protocol = world.protocol(&stoma.protocol_id)?;
    let (plan, _) = world.difference(stoma, patient, reviews)?;
    let mut of_stoma: Vec<&Review> = reviews.iter().filter(|r| r.stoma_id == Some(stoma.id)).collect();
    of_stoma.sort_by_key(|r| (r.due_on(), r.id));
    Ok(PlanView {
        stoma: stoma.words(),
        protocol: format!("{}, version {}", protocol.title, protocol.version),
        source: protocol.source.clone(),
        standing: protocol.standing.words().to_owned(),
        reviews: of_stoma.into_iter().map(planned_view).collect::<Result<_, _>>()?,
        waiting: plan
            .waiting
            .iter()
            .map(|w| {
                let title = protocol.step(&w.step).and_then(|s| s.title.clone()).unwrap_or_else(|| w.step.clone());
                format!("{title} waits: {} is not known", w.words())
            })
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
        "booked" => ("booked", "good"),
        "fulfilled" => ("took place", "good"),
        "noshow" => ("missed", "bad"),
        "cancelled" => ("cancelled", "plain"),
        _ => ("entered in error", "plain"),
    };
    let window = match review.earliest_on {
        Some(first) if first == review.latest_on => String::new(),
        Some(first) => format!("{} to {}", display::short_date(first), display::short_date(review.latest_on)),
        None => format!("by {}", display::short_date(review.latest_on)),
    };
    Ok(PlannedView {
        on: display::weekday_date(on),
        on_iso: on.to_string(),
        title: review.title.clone(),
        window,
        place: review.mode.clone(),
        state: state.to_owned(),
        state_kind: kind.to_owned(),
        reasons,
    })
}

/// `GET /protocols`
pub async fn protocols(state: web::Data<State>, signed: Signed) -> Answer {
    let service = signed.service.id;
    let service =
        view(&state.db, &signed.actor, move |conn| Ok((services::service(conn, service)?, Event::read("protocols"))))
            .await?;
    let used = |id: &str| {
        let kinds = [
            ("colostomies", &service.protocol_colostomy),
            ("ileostomies", &service.protocol_ileostomy),
            ("urostomies", &service.protocol_urostomy),
        ];
        kinds.into_iter().filter(|(_, used)| *used == id).map(|(kind, _)| kind).collect::<Vec<_>>().join(", ")
    };
    let shown = ProtocolsPage {
        shell: signed.shell("Protocols", "/protocols"),
        protocols: shipped().iter().map(|p| protocol_view(p, used(&p.id))).collect(),
    };
    page(StatusCode::OK, &shown)
}

fn protocol_view(protocol: &Protocol, used_for: String) -> ProtocolView {
    ProtocolView {
        id: protocol.id.clone(),
        title: protocol.title.clone(),
        version: protocol.version.to_string(),
        source: protocol.source.clone(),
        standing: protocol.standing.words().to_owned(),
        address: protocol.address.clone().unwrap_or_default(),
        note: protocol.note.clone().unwrap_or_default(),
        used_for,
        steps: protocol.steps.iter().map(step_view).collect(),
    }
}

fn step_view(step: &Step) -> StepView {
    let anchor = step.anchor.words();
    let when = match step.shape {
        Shape::By(offset) => format!("by {} after {anchor}", offset.words()),
        Shape::At(offset) => format!("{} after {anchor}", offset.words()),
        Shape::Window { from, to } => format!("from {} to {} after {anchor}", from.words(), to.words()),
    };
    let repeat = step.repeat.map(|every| format!(", then every {}", every.words())).unwrap_or_default();
    let mut only: Vec<&str> = step.when.kind.iter().map(|k| k.words()).collect();
    only.extend(step.when.construction.iter().map(|c| c.words()));
    only.extend(step.when.permanence.iter().map(|p| p.words()));
    only.extend(step.when.surgery.iter().map(|s| s.words()));
    StepView {
        title: step.title.clone().unwrap_or_else(|| step.id.clone()),
        when: format!("{when}{repeat}"),
        mode: step.mode.words().to_owned(),
        only: if only.is_empty() { "all".to_owned() } else { only.join(", ") },
        note: step.note.clone().unwrap_or_default(),
    }
}
