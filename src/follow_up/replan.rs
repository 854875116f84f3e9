//! Keeps planned reviews in step with the facts: works out the difference and applies it, in the transaction that
//! changed a fact. Running it twice changes nothing the second time.

use chrono::NaiveDate;

use super::rules::{Difference, PlannedReview, Protocol};
use super::store::{Review, add_all, replaced};
use super::world::{Held, World, held};
use crate::db::ids::{PatientId, ReviewId};
use crate::db::{Doc, Stamp, StoreError, Tx};
use crate::stomas::store::Stoma;

/// The civil date of a transaction.
pub fn today(tx: &Tx<'_>) -> NaiveDate {
    tx.now().at().with_timezone(&chrono::Local).date_naive()
}

/// Brings the reviews of some patients in step and answers them as they then stand.
pub fn replan_all(tx: &mut Tx<'_>, world: &World, ids: &[PatientId]) -> Result<Vec<Held>, StoreError> {
    let mut all = held(tx.conn(), world.service, ids)?;
    let mut added = Vec::new();
    for held in &mut all {
        let Held { patient, stomas, reviews } = held;
        for stoma in stomas.iter() {
            let (_, change) = world.difference(stoma, patient, reviews)?;
            let fresh = apply(tx, world, stoma, reviews, change)?;
            added.extend_from_slice(&fresh);
            reviews.extend(fresh);
        }
    }
    add_all(tx, &added)?;
    Ok(all)
}

/// Brings the reviews of one patient in step with the facts.
pub fn replan(tx: &mut Tx<'_>, patient: PatientId) -> Result<(), StoreError> {
    let today = today(tx);
    replan_as_of(tx, patient, today)
}

/// The same as it would have been on another day: for invented histories.
pub fn replan_as_of(tx: &mut Tx<'_>, patient: PatientId, today: NaiveDate) -> Result<(), StoreError> {
    let service = tx.service()?;
    let world = World::load(tx.conn(), service, today)?;
    replan_all(tx, &world, &[patient]).map(drop)
}

/// What a step is called.
pub fn title_of(protocol: &Protocol, step: &str) -> String {
    protocol.step(step).and_then(|s| s.title.clone()).unwrap_or_else(|| step.to_owned())
}

/// Puts the dates of the plan on a review, with the version that gave them.
fn put_plan(review: &mut Review, fresh: &PlannedReview, protocol: &Protocol) -> Result<(), StoreError> {
    protocol.id.clone_into(&mut review.protocol_id);
    review.protocol_version = i32::try_from(protocol.version).unwrap_or(i32::MAX);
    fresh.mode.code().clone_into(&mut review.mode);
    review.nominal_on = fresh.nominal;
    review.earliest_on = fresh.earliest;
    review.latest_on = fresh.latest;
    review.planned_on = fresh.planned;
    review.reasons = Doc::of(&fresh.reasons)?;
    Ok(())
}

fn made(stoma: &Stoma, fresh: &PlannedReview, protocol: &Protocol, now: Stamp) -> Result<Review, StoreError> {
    let mut review = Review {
        id: ReviewId::new(),
        service_id: stoma.service_id,
        patient_id: stoma.patient_id,
        stoma_id: Some(stoma.id),
        protocol_id: String::new(),
        protocol_version: 1,
        step: Some(fresh.step.clone()),
        occurrence: i32::try_from(fresh.occurrence).unwrap_or(1),
        title: title_of(protocol, &fresh.step),
        mode: String::new(),
        nominal_on: fresh.nominal,
        earliest_on: None,
        latest_on: fresh.latest,
        planned_on: fresh.planned,
        status: "proposed".to_owned(),
        reasons: Doc(serde_json::Value::Null),
        booked_on: None,
        booked_time: None,
        assigned_to: None,
        deferred_reason: None,
        by_hand: false,
        closed_by_plan: false,
        off_plan: None,
        closed_reason: None,
        closed_on: None,
        version: 1,
        created_at: now,
        updated_at: now,
    };
    put_plan(&mut review, fresh, protocol)?;
    Ok(review)
}

/// Applies a difference to the reviews of a patient, but for what it adds, which is answered: additions of many
/// patients are written together.
fn apply(
    tx: &mut Tx<'_>,
    world: &World,
    stoma: &Stoma,
    held: &mut [Review],
    change: Difference,
) -> Result<Vec<Review>, StoreError> {
    let protocol = world.protocol(&stoma.protocol_id)?;
    let now = tx.now();
    for moved in change.moved {
        let review = find(held, moved.id)?;
        put_plan(review, &moved.to, protocol)?;
        review.by_hand = moved.by_hand;
        *review = replaced(tx, review.clone())?;
    }
    for closed in change.closed {
        let review = find(held, closed.id)?;
        "cancelled".clone_into(&mut review.status);
        review.closed_by_plan = true;
        review.closed_reason = Some(closed.reason);
        review.closed_on = Some(world.today);
        *review = replaced(tx, review.clone())?;
    }
    for review in held.iter_mut().filter(|r| r.stoma_id == Some(stoma.id) && r.status == "booked") {
        let off = change.off_plan.iter().find(|o| o.id == review.id.0).map(|o| o.reason.clone());
        if off != review.off_plan {
            review.off_plan = off;
            *review = replaced(tx, review.clone())?;
        }
    }
    change.added.iter().map(|fresh| made(stoma, fresh, protocol, now)).collect()
}

fn find(held: &mut [Review], id: uuid::Uuid) -> Result<&mut Review, StoreError> {
    held.iter_mut().find(|r| r.id.0 == id).ok_or(StoreError::NotFound)
}
