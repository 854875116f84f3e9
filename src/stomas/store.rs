//! All queries on stomas. Every change keeps the version before it.

use chrono::NaiveDate;
use diesel::prelude::*;
use serde::{Deserialize, Serialize};

use crate::db::connection::MultiBackend;
use crate::db::ids::{PatientId, ServiceId, StomaId};
use crate::db::schema::stomas;
use crate::db::{Conn, Stamp, StoreError, Tx};
use crate::patients::store::keep_version;

/// A stoma.
#[derive(Clone, Debug, Queryable, Selectable, Insertable, AsChangeset, Identifiable, Serialize, Deserialize)]
#[diesel(table_name = stomas, treat_none_as_null = true)]
#[diesel(check_for_backend(MultiBackend))]
pub struct Stoma {
    /// Id.
    pub id: StomaId,
    /// Service.
    pub service_id: ServiceId,
    /// Whose.
    pub patient_id: PatientId,
    /// colostomy, ileostomy, urostomy.
    pub kind: String,
    /// end, loop, double-barrel, not-known.
    pub construction: String,
    /// permanent, temporary, not-known.
    pub permanence: String,
    /// planned, emergency, not-known.
    pub surgery: String,
    /// Date of surgery.
    pub surgery_on: Option<NaiveDate>,
    /// Date of discharge from hospital.
    pub discharge_on: Option<NaiveDate>,
    /// Planned reversal.
    pub reversal_on: Option<NaiveDate>,
    /// Reversed.
    pub reversed_on: Option<NaiveDate>,
    /// Where on the abdomen.
    pub place: Option<String>,
    /// Left to right, mm.
    pub width_mm: Option<i32>,
    /// Head to foot on the skin, mm.
    pub height_mm: Option<i32>,
    /// Above the skin, mm; below 0 when retracted.
    pub protrusion_mm: Option<i32>,
    /// Protocol that plans its reviews.
    pub protocol_id: String,
    /// Its version when last planned.
    pub protocol_version: i32,
    /// Last seen before the record came here, as told.
    pub last_seen_on: Option<NaiveDate>,
    /// First day for which this service answers: what was due before is not planned.
    pub taken_on: NaiveDate,
    /// Row version.
    pub version: i32,
    /// Recorded.
    pub created_at: Stamp,
    /// Last changed.
    pub updated_at: Stamp,
    /// The stoma that it was refashioned as; `reversed_on` is then the day of that operation.
    #[serde(default)]
    pub refashioned_as: Option<StomaId>,
}

impl Stoma {
    /// "End ileostomy, permanent", "Colostomy" when no more is known.
    pub fn words(&self) -> String {
        let mut words = match self.construction.as_str() {
            "not-known" => capital(&self.kind),
            "double-barrel" => format!("Double-barrel {}", self.kind),
            other => format!("{} {}", capital(other), self.kind),
        };
        if self.permanence != "not-known" {
            words.push_str(", ");
            words.push_str(&self.permanence);
        }
        words
    }

    /// "C", "I", "U".
    pub fn letter(&self) -> String {
        self.kind.chars().take(1).flat_map(char::to_uppercase).collect()
    }
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// Adds a stoma.
pub fn add(tx: &mut Tx<'_>, stoma: &Stoma) -> Result<(), StoreError> {
    diesel::insert_into(stomas::table).values(stoma).execute(tx.conn())?;
    tx.touch(stoma.patient_id);
    Ok(())
}

/// Replaces a stoma's facts; another version in the record than the one shown means somebody else was quicker.
pub fn replace(tx: &mut Tx<'_>, changed: Stoma, reason: Option<&str>) -> Result<(), StoreError> {
    let before = find(tx.conn(), changed.service_id, changed.id)?;
    if before.version != changed.version || before.patient_id != changed.patient_id {
        return Err(StoreError::Stale);
    }
    keep_version(tx, before.patient_id, ("stoma", before.id.0, before.version), &before, reason)?;
    let after = Stoma { version: before.version + 1, updated_at: tx.now(), ..changed };
    diesel::update(stomas::table.find(after.id)).set(&after).execute(tx.conn())?;
    tx.touch(after.patient_id);
    Ok(())
}

/// A stoma of this service.
pub fn find(conn: &mut Conn, service: ServiceId, id: StomaId) -> Result<Stoma, StoreError> {
    Ok(stomas::table.find(id).filter(stomas::service_id.eq(service)).select(Stoma::as_select()).first(conn)?)
}

/// Stomas of a patient, those not reversed first, then the newest surgery first.
pub fn of_patient(conn: &mut Conn, service: ServiceId, patient: PatientId) -> Result<Vec<Stoma>, StoreError> {
    let mut found: Vec<Stoma> = stomas::table
        .filter(stomas::service_id.eq(service))
        .filter(stomas::patient_id.eq(patient))
        .order(stomas::id)
        .select(Stoma::as_select())
        .load(conn)?;
    put_in_order(&mut found);
    Ok(found)
}

/// Those not reversed first, then the newest surgery first.
pub fn put_in_order(stomas: &mut [Stoma]) {
    stomas.sort_by_key(|s| (s.reversed_on.is_some(), std::cmp::Reverse(s.surgery_on)));
}

/// Stomas of several patients.
pub fn of_patients(conn: &mut Conn, service: ServiceId, patients: &[PatientId]) -> Result<Vec<Stoma>, StoreError> {
    Ok(stomas::table
        .filter(stomas::service_id.eq(service))
        .filter(stomas::patient_id.eq_any(patients))
        .order(stomas::id)
        .select(Stoma::as_select())
        .load(conn)?)
}

/// Patients with a stoma that follows a protocol, in the order of ids.
pub fn patients_following(conn: &mut Conn, service: ServiceId, protocol: &str) -> Result<Vec<PatientId>, StoreError> {
    Ok(stomas::table
        .filter(stomas::service_id.eq(service))
        .filter(stomas::protocol_id.eq(protocol))
        .select(stomas::patient_id)
        .distinct()
        .order(stomas::patient_id)
        .load(conn)?)
}

/// A new stoma with nothing known but its kind.
pub fn new_stoma(
    service_id: ServiceId,
    patient_id: PatientId,
    kind: &str,
    protocol_id: &str,
    taken_on: NaiveDate,
    now: Stamp,
) -> Stoma {
    Stoma {
        id: StomaId::new(),
        service_id,
        patient_id,
        kind: kind.to_owned(),
        construction: "not-known".to_owned(),
        permanence: "not-known".to_owned(),
        surgery: "not-known".to_owned(),
        surgery_on: None,
        discharge_on: None,
        reversal_on: None,
        reversed_on: None,
        place: None,
        width_mm: None,
        height_mm: None,
        protrusion_mm: None,
        protocol_id: protocol_id.to_owned(),
        protocol_version: 0,
        last_seen_on: None,
        taken_on,
        version: 1,
        created_at: now,
        updated_at: now,
        refashioned_as: None,
    }
}
