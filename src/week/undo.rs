//! Undo of what was done from the list: the review as it was before, a contact noted with it marked as undone, a review
//! made with it closed as entered in error.

use actix_web::web;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::access::store::say;
use crate::audit::{Event, Outcome, append};
use crate::contacts::store as contacts;
use crate::db::ids::{ContactId, ReviewId, StaffId, UndoId};
use crate::db::{StoreError, Tx};
use crate::follow_up::store::{self as reviews, Review};
use crate::patients::store as patients;
use crate::undo;
use crate::web::{Answer, AppError, PathOf, Posted, Signed, State, see_other};

/// Kind of act in the table.
const ACT: &str = "review";

/// A review before an act, as far as acts change it, and what the act made.
#[derive(Debug, Deserialize, Serialize)]
pub struct Before {
    review: ReviewId,
    /// Version that the act left: with another one something else changed it.
    version: i32,
    status: String,
    planned_on: NaiveDate,
    booked_on: Option<NaiveDate>,
    booked_time: Option<String>,
    assigned_to: Option<StaffId>,
    deferred_reason: Option<String>,
    by_hand: bool,
    off_plan: Option<String>,
    closed_reason: Option<String>,
    closed_on: Option<NaiveDate>,
    contact: Option<ContactId>,
    added: Option<ReviewId>,
}

/// What an act made besides changing the review.
#[derive(Clone, Copy, Debug, Default)]
pub struct Made {
    /// A contact.
    pub contact: Option<ContactId>,
    /// Another review.
    pub added: Option<ReviewId>,
}

/// Keeps the review as it was before the act that left it at `version`; the address where the act is undone.
pub fn keep(tx: &mut Tx<'_>, was: Review, version: i32, made: Made) -> Result<String, StoreError> {
    let before = Before {
        review: was.id,
        version,
        status: was.status,
        planned_on: was.planned_on,
        booked_on: was.booked_on,
        booked_time: was.booked_time,
        assigned_to: was.assigned_to,
        deferred_reason: was.deferred_reason,
        by_hand: was.by_hand,
        off_plan: was.off_plan,
        closed_reason: was.closed_reason,
        closed_on: was.closed_on,
        contact: made.contact,
        added: made.added,
    };
    Ok(format!("/reviews/undo/{}", undo::keep(tx, ACT, &before)?))
}

/// A form with nothing but its token.
#[derive(Deserialize)]
pub struct Empty {}

/// `POST /reviews/undo/{id}`
pub async fn undo(state: web::Data<State>, signed: Signed, path: PathOf<UndoId>, _form: Posted<Empty>) -> Answer {
    let id = path.into_inner();
    state.db.write(&signed.actor, move |tx| put_back(tx, id)).await?;
    Ok(see_other("/week"))
}

fn put_back(tx: &mut Tx<'_>, id: UndoId) -> Result<(), AppError> {
    let service = tx.service()?;
    let Some(before) = undo::take::<Before>(tx, ACT, id)? else {
        append(tx, Event::update("review.undo").outcome(Outcome::Refused).with("why", "undone already"))?;
        return Ok(());
    };
    let held = reviews::find(tx.conn(), service, before.review)?;
    if held.version != before.version {
        return Err(undo::changed_since());
    }
    let patient = held.patient_id;
    let name = patients::find(tx.conn(), service, patient)?.display_name();
    let title = held.title.clone();
    let as_before = Review {
        status: before.status,
        planned_on: before.planned_on,
        booked_on: before.booked_on,
        booked_time: before.booked_time,
        assigned_to: before.assigned_to,
        deferred_reason: before.deferred_reason,
        by_hand: before.by_hand,
        off_plan: before.off_plan,
        closed_reason: before.closed_reason,
        closed_on: before.closed_on,
        ..held
    };
    reviews::replace(tx, as_before).map_err(|error| match error {
        StoreError::Conflict(_) => AppError::Conflict(
            "The slot was given to somebody else meanwhile, so the booking cannot come back. Nothing was changed."
                .into(),
        ),
        other => other.into(),
    })?;
    if let Some(contact) = before.contact {
        contacts::undo(tx, contact)?;
    }
    if let Some(added) = before.added {
        let made = reviews::find(tx.conn(), service, added)?;
        if made.version != 1 {
            return Err(undo::changed_since());
        }
        let today = tx.now().at().with_timezone(&chrono::Local).date_naive();
        let closed = Review {
            status: "entered-in-error".to_owned(),
            closed_on: Some(today),
            closed_reason: Some("undone".to_owned()),
            ..made
        };
        reviews::replace(tx, closed)?;
    }
    say(tx, &format!("{name}: the last act on {title} is undone. It stands as before."))?;
    append(tx, Event::update("review.undo").about(patient).with("review", before.review).with("undo", id))?;
    Ok(())
}
