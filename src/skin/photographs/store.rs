//! All queries on photographs. One that is removed loses its content; who removed it, when and why stays.

use chrono::NaiveDate;
use diesel::prelude::*;

use crate::db::connection::MultiBackend;
use crate::db::ids::{PatientId, PhotographId, ServiceId, StaffId, StomaId};
use crate::db::schema::photographs;
use crate::db::{Conn, Stamp, StoreError, Tx};

/// A photograph without its content.
#[derive(Clone, Debug, Queryable, Selectable)]
#[diesel(table_name = photographs)]
#[diesel(check_for_backend(MultiBackend))]
pub struct Photograph {
    /// Id.
    pub id: PhotographId,
    /// Whose.
    pub patient_id: PatientId,
    /// Of which stoma.
    pub stoma_id: Option<StomaId>,
    /// When it was taken.
    pub taken_on: NaiveDate,
    /// written, spoken, best-interests.
    pub consent: String,
    /// What was consented to, in words.
    pub consent_note: Option<String>,
    /// What it shows.
    pub what: Option<String>,
    /// Pixels.
    pub width: i32,
    /// Pixels.
    pub height: i32,
    /// Who added it.
    pub added_by: StaffId,
    /// When.
    pub added_at: Stamp,
    /// Who removed it.
    pub removed_by: Option<StaffId>,
    /// When.
    pub removed_at: Option<Stamp>,
    /// Why.
    pub removed_reason: Option<String>,
}

/// A new one.
#[derive(Insertable)]
#[diesel(table_name = photographs)]
#[allow(missing_docs, reason = "the columns of the table, see Photograph")]
pub struct NewPhotograph {
    pub id: PhotographId,
    pub service_id: ServiceId,
    pub patient_id: PatientId,
    pub stoma_id: Option<StomaId>,
    pub taken_on: NaiveDate,
    pub consent: String,
    pub consent_note: Option<String>,
    pub what: Option<String>,
    pub width: i32,
    pub height: i32,
    pub content: Option<Vec<u8>>,
    pub added_by: StaffId,
    pub added_at: Stamp,
}

/// Adds one.
pub fn add(tx: &mut Tx<'_>, photograph: &NewPhotograph) -> Result<(), StoreError> {
    diesel::insert_into(photographs::table).values(photograph).execute(tx.conn())?;
    Ok(())
}

/// Photographs of a patient, the newest first, removed ones included.
pub fn of_patient(conn: &mut Conn, service: ServiceId, patient: PatientId) -> Result<Vec<Photograph>, StoreError> {
    Ok(photographs::table
        .filter(photographs::service_id.eq(service))
        .filter(photographs::patient_id.eq(patient))
        .order((photographs::taken_on.desc(), photographs::added_at.desc()))
        .select(Photograph::as_select())
        .load(conn)?)
}

/// The content of a photograph of this patient; not found once it was removed.
pub fn content(
    conn: &mut Conn,
    service: ServiceId,
    patient: PatientId,
    id: PhotographId,
) -> Result<Vec<u8>, StoreError> {
    let content: Option<Vec<u8>> = photographs::table
        .find(id)
        .filter(photographs::service_id.eq(service))
        .filter(photographs::patient_id.eq(patient))
        .select(photographs::content)
        .first(conn)?;
    content.ok_or(StoreError::NotFound)
}

/// Removes the content of one; somebody else may have been quicker.
pub fn remove(tx: &mut Tx<'_>, patient: PatientId, id: PhotographId, reason: &str) -> Result<(), StoreError> {
    let (service, staff, now) = (tx.service()?, tx.staff()?, tx.now());
    let target = photographs::table
        .find(id)
        .filter(photographs::service_id.eq(service))
        .filter(photographs::patient_id.eq(patient))
        .filter(photographs::removed_at.is_null());
    let changed = diesel::update(target)
        .set((
            photographs::content.eq(None::<Vec<u8>>),
            photographs::removed_by.eq(Some(staff)),
            photographs::removed_at.eq(Some(now)),
            photographs::removed_reason.eq(Some(reason.to_owned())),
        ))
        .execute(tx.conn())?;
    if changed == 1 { Ok(()) } else { Err(StoreError::Stale) }
}
