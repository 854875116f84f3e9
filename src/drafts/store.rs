//! All queries on drafts. Each filters by service and by author: nobody reads or changes another's draft.

use std::collections::BTreeMap;

use chrono::Duration;
use diesel::prelude::*;

use super::Kept;
use super::forms::Place;
use crate::db::connection::MultiBackend;
use crate::db::ids::{DraftId, PatientId, ServiceId, StaffId};
use crate::db::schema::drafts;
use crate::db::{Actor, Conn, Doc, Stamp, StoreError, Tx};
use crate::once;
use crate::patients::store as patients;

/// How long a draft is kept after it was last saved, in days. At least 20 hours are asked for (WCAG 2.2, 2.2.6); a week
/// bridges a weekend with a bank holiday (local).
pub const KEPT_DAYS: i64 = 7;

/// Fields that are no part of what was typed.
const NOT_TYPED: [&str; 5] = ["csrf", "draft_at", "later", "act", "checked"];

/// A draft.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = drafts)]
#[diesel(check_for_backend(MultiBackend))]
pub struct DraftRow {
    /// Id.
    pub id: DraftId,
    /// Service.
    pub service_id: ServiceId,
    /// Whose it is.
    pub staff_id: StaffId,
    /// Code of the form.
    pub form: String,
    /// Where the form lives.
    pub place: String,
    /// About whom.
    pub patient_id: Option<PatientId>,
    /// Version of the record on which the form was opened.
    pub base_version: Option<i32>,
    /// The fields: name to values, as typed.
    pub body: Doc,
    /// First kept.
    pub begun_at: Stamp,
    /// Last kept.
    pub saved_at: Stamp,
}

/// The fields of a stored draft, as a form would send them.
pub(super) fn pairs(body: &Doc) -> Result<Vec<(String, String)>, StoreError> {
    let fields: BTreeMap<String, Vec<String>> = body.read()?;
    let one = |(name, values): (String, Vec<String>)| values.into_iter().map(move |v| (name.clone(), v));
    Ok(fields.into_iter().flat_map(one).collect())
}

/// What came of saving.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Saved {
    /// It is kept since this moment.
    At(Stamp),
    /// The form itself was saved meanwhile: there is nothing to keep.
    FormIsSent,
}

/// The draft of the acting person at this place, if one is kept.
pub fn kept(conn: &mut Conn, actor: &Actor, place: &Place) -> Result<Option<Kept>, StoreError> {
    let (Some(service), Some(staff)) = (actor.service_id, actor.staff_id) else { return Ok(None) };
    let found: Option<DraftRow> = drafts::table
        .filter(drafts::service_id.eq(service))
        .filter(drafts::staff_id.eq(staff))
        .filter(drafts::place.eq(place.to_string()))
        .select(DraftRow::as_select())
        .first(conn)
        .optional()?;
    Ok(found.map(Kept))
}

/// Keeps what was typed, in place of what was kept before; drafts past their time go.
pub fn save(tx: &mut Tx<'_>, place: &Place, fields: Vec<(String, String)>) -> Result<(DraftId, Saved), StoreError> {
    let (service, staff, now) = (tx.service()?, tx.staff()?, tx.now());
    let old = Stamp::new(now.at() - Duration::days(KEPT_DAYS));
    diesel::delete(drafts::table.filter(drafts::service_id.eq(service)).filter(drafts::saved_at.lt(old)))
        .execute(tx.conn())?;
    if let Some(patient) = place.patient {
        patients::find(tx.conn(), service, patient)?; // of this service, or not found
    }
    let mut body: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (name, value) in fields {
        if !NOT_TYPED.contains(&name.as_str()) {
            body.entry(name).or_default().push(value);
        }
    }
    let first = |name: &str| body.get(name).and_then(|values| values.first()).map_or("", String::as_str);
    let sent = match first("once").parse() {
        Ok(once) => once::answered(tx, once)?.is_some(),
        Err(_) => false, // a form that changes something has no such id
    };
    let base_version = first("version").parse().ok();
    let body = Doc::of(&body)?;
    let actor = tx.actor();
    let held = kept(tx.conn(), actor, place)?;
    let id = held.as_ref().map_or_else(DraftId::new, |held| held.0.id);
    if sent {
        return Ok((id, Saved::FormIsSent));
    }
    if held.is_some() {
        diesel::update(drafts::table.find(id).filter(drafts::service_id.eq(service)))
            .set((drafts::body.eq(body), drafts::base_version.eq(base_version), drafts::saved_at.eq(now)))
            .execute(tx.conn())?;
    } else {
        let row = DraftRow {
            id,
            service_id: service,
            staff_id: staff,
            form: place.form.key.to_owned(),
            place: place.to_string(),
            patient_id: place.patient,
            base_version,
            body,
            begun_at: now,
            saved_at: now,
        };
        diesel::insert_into(drafts::table).values(&row).execute(tx.conn())?;
    }
    Ok((id, Saved::At(now)))
}

/// Drops the draft of the acting person at this place: the form was saved, or it is thrown away. True when there was one.
pub fn drop_at(tx: &mut Tx<'_>, place: &Place) -> Result<bool, StoreError> {
    let (service, staff) = (tx.service()?, tx.staff()?);
    let of = drafts::table
        .filter(drafts::service_id.eq(service))
        .filter(drafts::staff_id.eq(staff))
        .filter(drafts::place.eq(place.to_string()));
    Ok(diesel::delete(of).execute(tx.conn())? > 0)
}
