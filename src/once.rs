//! Sending the same form twice makes one thing. A page that makes something new carries an id in `once`; the first
//! sending notes it with its answer in the transaction that makes the thing, the second is given the same answer.
//!
//! Writes come one after another on both databases (`db`), so the second always sees the first.

use chrono::Duration;
use diesel::prelude::*;
use sha2::{Digest, Sha256};

use crate::db::ids::{OnceId, ServiceId};
use crate::db::schema::sent_forms;
use crate::db::{Conn, Db, Stamp, StoreError, Tx};
use crate::web::AppError;

/// How long a sent form is remembered, in days: longer than a page stays open on a clinic machine (local).
const REMEMBERED_DAYS: i64 = 7;

/// A fresh id for a form that is being opened.
pub fn fresh() -> String {
    OnceId::new().to_string()
}

/// The id of an act on something that has a version: the same act, on the same version, with the same words, by the same
/// person is one intent, and its form needs no id of its own.
pub fn derived(parts: &[&str]) -> OnceId {
    let mut sha = Sha256::new();
    for part in parts {
        sha.update((part.len() as u64).to_be_bytes());
        sha.update(part.as_bytes());
    }
    let mut bytes = [0; 16];
    bytes.copy_from_slice(&sha.finalize()[..16]);
    OnceId(uuid::Uuid::from_bytes(bytes))
}

/// The id that a form sent.
///
/// # Errors
/// `AppError::Unreadable` when there is none: the form did not come from a page of ours.
pub fn of(sent: &str) -> Result<OnceId, AppError> {
    sent.parse().map_err(|_| {
        AppError::Unreadable("The form did not arrive whole. Nothing was saved. Open it again and repeat it.".into())
    })
}

/// What the form answered when it was sent before; `None` the first time.
pub fn answered(tx: &mut Tx<'_>, once: OnceId) -> Result<Option<String>, StoreError> {
    let service = tx.service()?;
    answer_of(tx.conn(), service, once)
}

/// The same, read outside a write: for what is looked at before the form is written. The write asks again.
pub async fn answered_already(db: &Db, service: ServiceId, once: OnceId) -> Result<Option<String>, StoreError> {
    db.read(move |conn| answer_of(conn, service, once)).await
}

fn answer_of(conn: &mut Conn, service: ServiceId, once: OnceId) -> Result<Option<String>, StoreError> {
    Ok(sent_forms::table.find((service, once)).select(sent_forms::answer).first(conn).optional()?)
}

/// The answer given when the form was sent before; else notes that it is sent now and answers this, and gives `None`.
/// For forms whose answer is known before what they make.
pub fn claim(tx: &mut Tx<'_>, once: OnceId, answer: &str) -> Result<Option<String>, StoreError> {
    let before = answered(tx, once)?;
    if before.is_none() {
        sent(tx, once, answer)?;
    }
    Ok(before)
}

/// Notes that the form was sent and what it answers: the address of the page that follows. Old notes go.
pub fn sent(tx: &mut Tx<'_>, once: OnceId, answer: &str) -> Result<(), StoreError> {
    let (service, staff, now) = (tx.service()?, tx.staff()?, tx.now());
    let old = Stamp::new(now.at() - Duration::days(REMEMBERED_DAYS));
    diesel::delete(sent_forms::table.filter(sent_forms::service_id.eq(service)).filter(sent_forms::sent_at.lt(old)))
        .execute(tx.conn())?;
    diesel::insert_into(sent_forms::table)
        .values((
            sent_forms::service_id.eq(service),
            sent_forms::once.eq(once),
            sent_forms::staff_id.eq(staff),
            sent_forms::answer.eq(answer),
            sent_forms::sent_at.eq(now),
        ))
        .execute(tx.conn())?;
    Ok(())
}
