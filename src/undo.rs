//! Undo of an act that can be taken back: for the shift, for who did it, as long as nothing else changed the thing.
//!
//! This keeps what stood before; the room of the act puts it back and compares versions. The log keeps both acts.
//! What is signed is amended and never undone.

use chrono::Duration;
use diesel::prelude::*;
use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::db::connection::MultiBackend;
use crate::db::ids::{ServiceId, StaffId, UndoId};
use crate::db::schema::undos;
use crate::db::{Doc, Stamp, StoreError, Tx};
use crate::web::AppError;

/// How long an act can be undone, in hours: a shift, and as long as a session can last (local).
pub const VALID_HOURS: i64 = 12;
/// How long rows are kept, in days (local).
const KEPT_DAYS: i64 = 7;

#[derive(Queryable, Selectable, Insertable)]
#[diesel(table_name = undos)]
#[diesel(check_for_backend(MultiBackend))]
struct UndoRow {
    id: UndoId,
    service_id: ServiceId,
    staff_id: StaffId,
    act: String,
    before: Doc,
    done_at: Stamp,
    undone_at: Option<Stamp>,
}

/// Keeps what stood before an act. Old rows go.
pub fn keep(tx: &mut Tx<'_>, act: &'static str, before: &impl Serialize) -> Result<UndoId, StoreError> {
    let (service_id, staff_id, now) = (tx.service()?, tx.staff()?, tx.now());
    let old = Stamp::new(now.at() - Duration::days(KEPT_DAYS));
    diesel::delete(undos::table.filter(undos::service_id.eq(service_id)).filter(undos::done_at.lt(old)))
        .execute(tx.conn())?;
    let id = UndoId::new();
    let row = UndoRow {
        id,
        service_id,
        staff_id,
        act: act.to_owned(),
        before: Doc::of(before)?,
        done_at: now,
        undone_at: None,
    };
    diesel::insert_into(undos::table).values(&row).execute(tx.conn())?;
    Ok(id)
}

/// What stood before, to be put back now, marked as undone; `None` when it was undone already: a second press.
///
/// # Errors
/// Not found for an act of somebody else or of another kind; a conflict when the shift is over.
pub fn take<T: DeserializeOwned>(tx: &mut Tx<'_>, act: &'static str, id: UndoId) -> Result<Option<T>, AppError> {
    let (service, staff, now) = (tx.service()?, tx.staff()?, tx.now());
    let row: UndoRow = undos::table
        .find(id)
        .filter(undos::service_id.eq(service))
        .filter(undos::staff_id.eq(staff))
        .filter(undos::act.eq(act))
        .select(UndoRow::as_select())
        .first(tx.conn())
        .map_err(StoreError::from)?;
    if row.undone_at.is_some() {
        return Ok(None);
    }
    if row.done_at.at() <= now.at() - Duration::hours(VALID_HOURS) {
        return Err(AppError::Conflict(format!(
            "Undo is there for {VALID_HOURS} hours. Nothing was changed. Change it in the usual way."
        )));
    }
    diesel::update(undos::table.find(id)).set(undos::undone_at.eq(now)).execute(tx.conn()).map_err(StoreError::from)?;
    Ok(Some(row.before.read()?))
}

/// The refusal when something else changed the thing since.
pub fn changed_since() -> AppError {
    AppError::Conflict(
        "This was changed again since, so it cannot be undone. Nothing was changed now. Look at it and change it in the \
         usual way."
            .to_owned(),
    )
}
