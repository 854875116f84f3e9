//! All queries on contacts. A contact is never changed; a mistake is recorded as another
//! contact, or undone in the same shift.

use chrono::NaiveDate;
use diesel::prelude::*;

use crate::db::connection::MultiBackend;
use crate::db::ids::{ContactId, PatientId, ReviewId, ServiceId, StaffId, StomaId};
use crate::db::schema::contacts;
use crate::db::{Conn, Stamp, StoreError, Tx};

/// A contact.
#[derive(Clone, Debug, Queryable, Selectable, Insertable, Identifiable)]
#[diesel(table_name = contacts)]
#[diesel(check_for_backend(MultiBackend))]
pub struct Contact {
    /// Id; chosen when the form is opened, so that sending it twice makes one.
    pub id: ContactId,
    /// Service.
    pub service_id: ServiceId,
    /// With whom.
    pub patient_id: PatientId,
    /// About which stoma.
    pub stoma_id: Option<StomaId>,
    /// The review it was, if planned.
    pub review_id: Option<ReviewId>,
    /// clinic, phone, home, ward, video.
    pub mode: String,
    /// fulfilled, noshow, cancelled, no-answer.
    pub outcome: String,
    /// When.
    pub held_on: NaiveDate,
    /// What was told and said.
    pub note: Option<String>,
    /// Who recorded it.
    pub made_by: StaffId,
    /// When recorded.
    pub created_at: Stamp,
}

/// Adds a contact.
pub fn add(tx: &mut Tx<'_>, contact: &Contact) -> Result<(), StoreError> {
    diesel::insert_into(contacts::table).values(contact).execute(tx.conn())?;
    tx.touch(contact.patient_id);
    Ok(())
}

/// Marks a contact as undone: it was noted by mistake a moment ago. It stays in the records and is shown no more.
pub fn undo(tx: &mut Tx<'_>, id: ContactId) -> Result<(), StoreError> {
    let (service, now) = (tx.service()?, tx.now());
    let held: PatientId = contacts::table
        .find(id)
        .filter(contacts::service_id.eq(service))
        .select(contacts::patient_id)
        .first(tx.conn())?;
    diesel::update(contacts::table.find(id)).set(contacts::undone_at.eq(now)).execute(tx.conn())?;
    tx.touch(held);
    Ok(())
}

/// Contacts of a patient, newest first; without what was undone.
pub fn of_patient(conn: &mut Conn, service: ServiceId, patient: PatientId) -> Result<Vec<Contact>, StoreError> {
    Ok(contacts::table
        .filter(contacts::service_id.eq(service))
        .filter(contacts::patient_id.eq(patient))
        .filter(contacts::undone_at.is_null())
        .order((contacts::held_on.desc(), contacts::created_at.desc()))
        .select(Contact::as_select())
        .load(conn)?)
}

/// Contacts of several patients, newest first.
pub fn of_patients(conn: &mut Conn, service: ServiceId, patients: &[PatientId]) -> Result<Vec<Contact>, StoreError> {
    Ok(contacts::table
        .filter(contacts::service_id.eq(service))
        .filter(contacts::patient_id.eq_any(patients))
        .order((contacts::held_on.desc(), contacts::created_at.desc()))
        .select(Contact::as_select())
        .load(conn)?)
}

/// True when a contact of this id is there already: the form was sent twice.
pub fn is_there(conn: &mut Conn, service: ServiceId, id: ContactId) -> Result<bool, StoreError> {
    let found: Option<ContactId> = contacts::table
        .find(id)
        .filter(contacts::service_id.eq(service))
        .select(contacts::id)
        .first(conn)
        .optional()?;
    Ok(found.is_some())
}
