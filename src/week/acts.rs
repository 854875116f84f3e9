//! What is done from the list: book, take a booking back, ring, defer, assign, record an outcome.

use actix_web::web;
use chrono::Duration;
use serde::Deserialize;

use super::slots::{Diary, Slot};
use super::undo::{self, Made};
use crate::access::store::{self as people, say_with_undo};
use crate::audit::{Event, Outcome, append};
use crate::contacts::store::{self as contacts, Contact};
use crate::db::ids::{ContactId, ReviewId, StaffId};
use crate::db::{StoreError, Tx};
use crate::follow_up::calendar::working_days;
use crate::follow_up::store::{self as reviews, Review};
use crate::once;
use crate::patients::store as patients;
use crate::stomas::store as stomas;
use crate::web::{Answer, AppError, PathOf, Posted, Signed, State, see_other};
use crate::{dates_in, display};

/// Every act names the version of the review that was shown.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Act {
    /// Id of the patient whose row it is.
    patient: String,
    version: i32,
    slot: String,
    reached: String,
    note: String,
    until: String,
    reason: String,
    to: String,
    outcome: String,
}

fn refused(text: impl Into<String>) -> AppError {
    AppError::Conflict(text.into())
}

/// A refusal inside a transaction.
enum Refused {
    Store(StoreError),
    Says(String),
}

impl From<StoreError> for Refused {
    fn from(error: StoreError) -> Self {
        Self::Store(error)
    }
}

/// What an act did: a sentence, and what it made.
struct Done {
    said: String,
    made: Made,
}

impl From<String> for Done {
    fn from(said: String) -> Self {
        Self { said, made: Made::default() }
    }
}

/// What somebody had typed into a form that is refused, so that it is not lost.
fn typed(form: &Act) -> String {
    let words: Vec<&str> = [&form.note, &form.reason].into_iter().map(|t| t.trim()).filter(|t| !t.is_empty()).collect();
    if words.is_empty() { String::new() } else { format!(" You had typed: “{}”.", words.join("”, “")) }
}

/// Runs one act on an open review in a transaction: loads it, compares patient and version with the page's, changes it,
/// logs it, keeps what stood before for Undo. The same form again does nothing and answers the same.
async fn act<F>(state: &State, signed: &Signed, id: ReviewId, form: &Act, what: &'static str, change: F) -> Answer
where
    F: FnOnce(&mut Tx<'_>, Review) -> Result<Done, Refused> + Send + 'static,
{
    let service = signed.service.id;
    let (version, patient) = (form.version, form.patient.clone());
    let whole = format!("{form:?}");
    let sending = once::derived(&[what, &id.to_string(), &signed.staff_id.to_string(), &whole]);
    let done = state
        .db
        .write(&signed.actor, move |tx| {
            let review = reviews::find(tx.conn(), service, id)?;
            if review.patient_id.to_string() != patient {
                let text = "This form belongs to another patient's row. Nothing was saved. Refresh the week.";
                return Err(Refused::Says(text.to_owned()));
            }
            if review.version == version + 1 && once::answered(tx, sending)?.is_some() {
                append(tx, Event::update(what).outcome(Outcome::Refused).with("why", "sent twice"))?;
                return Ok(());
            }
            if review.version != version {
                return Err(Refused::Store(StoreError::Stale));
            }
            if !review.is_open() {
                return Err(Refused::Says("This review is closed already. Nothing was saved.".to_owned()));
            }
            let patient = review.patient_id;
            let name = patients::find(tx.conn(), service, patient)?.display_name();
            let was = review.clone();
            let done = change(tx, review)?;
            let left = reviews::find(tx.conn(), service, id)?.version;
            let undo = undo::keep(tx, was, left, done.made)?;
            once::sent(tx, sending, "/week")?;
            say_with_undo(tx, &format!("{name}: {}", done.said), &undo)?;
            append(tx, Event::update(what).about(patient).with("review", id))?;
            Ok(())
        })
        .await;
    match done {
        Ok(()) => Ok(see_other("/week")),
        Err(Refused::Store(StoreError::Stale)) => Err(refused(format!(
            "Somebody else changed this review since the page was shown. Nothing was saved.{} Refresh the week.",
            typed(form)
        ))),
        Err(Refused::Store(error)) => Err(error.into()),
        Err(Refused::Says(text)) => Err(refused(text + typed(form).as_str())),
    }
}

/// `POST /reviews/{id}/book`
pub async fn book(state: web::Data<State>, signed: Signed, path: PathOf<ReviewId>, form: Posted<Act>) -> Answer {
    let form = form.0;
    let slot = Slot::read(&form.slot).ok_or_else(|| refused("This slot cannot be read. Open the week again."))?;
    let (opens, closes, minutes) = &signed.service.clinic;
    let time = state.clock.now().with_timezone(&chrono::Local).time();
    let days = working_days(&state.db, signed.service.id).await?;
    let diary = Diary::new((opens, closes, *minutes), days, [], state.clock.today(), time);
    if !diary.is_open(&slot) {
        return Err(refused("This slot is past or not one of the clinic's. Refresh the week and book again."));
    }
    act(&state, &signed, path.into_inner(), &form, "review.book", move |tx, review| {
        let said = format!("{} booked for {} {}.", review.title, display::weekday_date(slot.on), slot.time);
        let booked = Review {
            status: "booked".to_owned(),
            booked_on: Some(slot.on),
            booked_time: Some(slot.time),
            off_plan: None,
            ..review
        };
        // The database holds one booking to a slot: whoever comes second is told so.
        reviews::replace(tx, booked).map_err(|error| match error {
            StoreError::Conflict(_) => {
                Refused::Says("This slot was taken a moment ago. Refresh the week and book again.".to_owned())
            }
            other => Refused::Store(other),
        })?;
        Ok(said.into())
    })
    .await
}

fn unbooked(review: Review) -> Review {
    Review { status: "proposed".to_owned(), booked_on: None, booked_time: None, off_plan: None, ..review }
}

/// `POST /reviews/{id}/unbook`
pub async fn unbook(state: web::Data<State>, signed: Signed, path: PathOf<ReviewId>, form: Posted<Act>) -> Answer {
    act(&state, &signed, path.into_inner(), &form.0, "review.unbook", |tx, review| {
        if review.status != "booked" {
            return Err(Refused::Says("This review is not booked.".to_owned()));
        }
        reviews::replace(tx, unbooked(review))?;
        Ok("the booking is taken back.".to_owned().into())
    })
    .await
}

fn contact(tx: &Tx<'_>, review: &Review, mode: &str, outcome: &str, note: &str) -> Result<Contact, StoreError> {
    let now = tx.now();
    Ok(Contact {
        id: ContactId::new(),
        service_id: review.service_id,
        patient_id: review.patient_id,
        stoma_id: review.stoma_id,
        review_id: Some(review.id),
        mode: mode.to_owned(),
        outcome: outcome.to_owned(),
        held_on: now.at().with_timezone(&chrono::Local).date_naive(),
        note: Some(note.trim().chars().take(2_000).collect::<String>()).filter(|n| !n.is_empty()),
        made_by: tx.staff()?,
        created_at: now,
    })
}

/// `POST /reviews/{id}/ring`: notes a call. The review stays open until its outcome is recorded.
pub async fn ring(state: web::Data<State>, signed: Signed, path: PathOf<ReviewId>, form: Posted<Act>) -> Answer {
    let form = form.0;
    let outcome = match form.reached.as_str() {
        "yes" => "fulfilled",
        "no" => "no-answer",
        _ => return Err(refused("Say whether you spoke to the patient.")),
    };
    let note = form.note.clone();
    act(&state, &signed, path.into_inner(), &form, "contact.ring", move |tx, review| {
        let call = contact(tx, &review, "phone", outcome, &note)?;
        contacts::add(tx, &call)?;
        // The review is as it was, but its version counts on: a second call is another act than a second press.
        reviews::replace(tx, review)?;
        let said = if outcome == "fulfilled" {
            "the call is noted. If it was the review, record its outcome."
        } else {
            "no answer is noted; the review stays open."
        };
        Ok(Done { said: said.to_owned(), made: Made { contact: Some(call.id), added: None } })
    })
    .await
}

/// `POST /reviews/{id}/defer`
pub async fn defer(state: web::Data<State>, signed: Signed, path: PathOf<ReviewId>, form: Posted<Act>) -> Answer {
    let form = form.0;
    let today = state.clock.today();
    let until =
        dates_in::read_date(&form.until, today).map_err(|problem| refused(format!("Not deferred. {problem}")))?;
    if until <= today {
        return Err(refused("Not deferred: the new date must lie ahead."));
    }
    let reason = form.reason.trim().to_owned();
    if reason.chars().count() < 3 {
        return Err(refused("Not deferred: write the reason. Go back and fill it in."));
    }
    let days = working_days(&state.db, signed.service.id).await?;
    act(&state, &signed, path.into_inner(), &form, "review.defer", move |tx, review| {
        let on = days.next_on_or_after(until);
        let deferred = Review { planned_on: on, by_hand: true, deferred_reason: Some(reason), ..unbooked(review) };
        reviews::replace(tx, deferred)?;
        Ok(format!("deferred to {}.", display::weekday_date(on)).into())
    })
    .await
}

/// `POST /reviews/{id}/assign`
pub async fn assign(state: web::Data<State>, signed: Signed, path: PathOf<ReviewId>, form: Posted<Act>) -> Answer {
    let form = form.0;
    let to: Option<StaffId> = match form.to.as_str() {
        "" => None,
        id => Some(id.parse().map_err(|_| refused("Choose a member of staff."))?),
    };
    let service = signed.service.id;
    act(&state, &signed, path.into_inner(), &form, "review.assign", move |tx, review| {
        let said = match to {
            None => "nobody sees to it now.".to_owned(),
            Some(id) => format!("{} sees to it.", people::staff_member(tx.conn(), service, id)?.display_name),
        };
        reviews::replace(tx, Review { assigned_to: to, ..review })?;
        Ok(said.into())
    })
    .await
}

/// Working days within which a missed review wants a decision (local).
const AFTER_MISSED_DAYS: u32 = 5;

/// `POST /reviews/{id}/outcome`: closes a review without the clinic form. A missed one leaves another open review, so
/// that nobody drops off the list by not coming.
pub async fn outcome(state: web::Data<State>, signed: Signed, path: PathOf<ReviewId>, form: Posted<Act>) -> Answer {
    let form = form.0;
    let today = state.clock.today();
    let days = working_days(&state.db, signed.service.id).await?;
    let note = form.note.trim().to_owned();
    match form.outcome.as_str() {
        "noshow" | "fulfilled" => {}
        "cancelled" if note.chars().count() >= 3 => {}
        "cancelled" => return Err(refused("Not saved: write why the review is not needed any more.")),
        _ => return Err(refused("Not saved: choose the outcome.")),
    }
    let (service, outcome) = (signed.service.id, form.outcome.clone());
    act(&state, &signed, path.into_inner(), &form, "review.outcome", move |tx, review| {
        let mut made = Made::default();
        if outcome != "cancelled" {
            if review.due_on() > today + Duration::days(60) {
                return Err(Refused::Says("This review lies more than 60 days ahead. Nothing was saved.".to_owned()));
            }
            let met = contact(tx, &review, &review.mode, &outcome, &note)?;
            contacts::add(tx, &met)?;
            made.contact = Some(met.id);
        }
        let closed = Review {
            status: outcome.clone(),
            closed_on: Some(today),
            closed_reason: Some(note.clone()).filter(|n| !n.is_empty()),
            ..review.clone()
        };
        reviews::replace(tx, closed)?;
        if outcome == "noshow" {
            let stoma = stomas::find(tx.conn(), service, review.stoma_id.ok_or(StoreError::NotFound)?)?;
            let on = days.add_working_days(today, AFTER_MISSED_DAYS);
            let why = format!("{} of {} was missed", review.title, display::weekday_date(review.due_on()));
            let now = tx.now();
            let next = reviews::by_hand(&stoma, "Missed review", &review.mode, on, &[why], now)?;
            reviews::add(tx, &next)?;
            made.added = Some(next.id);
            return Ok(Done { said: "missed. It stays on the list until somebody decides.".to_owned(), made });
        }
        Ok(Done { said: "the outcome is saved.".to_owned(), made })
    })
    .await
}
