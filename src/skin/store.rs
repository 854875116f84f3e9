//! All queries on skin assessments. A signed one is never changed: an amendment is a new one that names it.

use chrono::NaiveDate;
use diesel::prelude::*;
use serde::{Deserialize, Serialize};

use super::rules::{self, Area, Assessment, DomainInput, Score};
use crate::db::connection::MultiBackend;
use crate::db::ids::{AssessmentId, ContactId, PatientId, ServiceId, StaffId, StomaId};
use crate::db::schema::assessments;
use crate::db::{Conn, Doc, Stamp, StoreError, Tx};

/// One domain as the nurse judged it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct DomainJudged {
    /// Area points, 0 to 3.
    pub area_points: u8,
    /// Severity, 0 to 2.
    pub severity: u8,
}

/// The inputs of a score, as kept.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Judged {
    /// Discolouration.
    pub discolouration: DomainJudged,
    /// Erosion.
    pub erosion: DomainJudged,
    /// Overgrowth.
    pub overgrowth: DomainJudged,
}

impl Judged {
    /// The score by the rules.
    pub fn score(&self) -> Result<Score, crate::json_input::FieldErrors> {
        let input = |d: DomainJudged| DomainInput { area: Area::Points(d.area_points), severity: d.severity };
        rules::score(&Assessment {
            discolouration: input(self.discolouration),
            erosion: input(self.erosion),
            overgrowth: input(self.overgrowth),
        })
    }
}

/// What the patient told; `None` is "not asked".
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Symptoms {
    /// Of the last ten changes, how many leaked.
    pub leaks_of_last_10: Option<u8>,
    /// Usual wear of the plate or pouch, days.
    pub wear_days: Option<u8>,
    /// Pain of the skin, 0 to 10.
    pub skin_pain: Option<u8>,
    /// Output in 24 hours, mL.
    pub output_ml_24h: Option<u32>,
    /// Itch, burning and the like, as codes of the form.
    #[serde(default)]
    pub also: Vec<String>,
}

/// What was found at the stoma; `None` is "not looked at".
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct StomaFound {
    /// Left to right, mm.
    pub width_mm: Option<i32>,
    /// Head to foot on the skin, mm.
    pub height_mm: Option<i32>,
    /// Above the skin, mm.
    pub protrusion_mm: Option<i32>,
    /// pink, red, pale, dusky, black.
    pub colour: Option<String>,
    /// Codes of what was found, as `separation-partial`, `prolapse-reducible`.
    #[serde(default)]
    pub findings: Vec<String>,
}

/// An assessment.
#[derive(Clone, Debug, Queryable, Selectable, Insertable, Identifiable)]
#[diesel(table_name = assessments)]
#[diesel(check_for_backend(MultiBackend))]
pub struct AssessmentRow {
    /// Id; chosen when the form is opened, so that sending it twice makes one.
    pub id: AssessmentId,
    /// Service.
    pub service_id: ServiceId,
    /// Whose.
    pub patient_id: PatientId,
    /// Of which stoma.
    pub stoma_id: StomaId,
    /// At which contact.
    pub contact_id: Option<ContactId>,
    /// When.
    pub assessed_on: NaiveDate,
    /// [`Judged`].
    pub inputs: Doc,
    /// 0 to 15.
    pub score: i32,
    /// Points of the domain.
    pub discolouration: i32,
    /// Points of the domain.
    pub erosion: i32,
    /// Points of the domain.
    pub overgrowth: i32,
    /// Band set in use.
    pub band_set: String,
    /// Band by that set.
    pub band: String,
    /// Version of the rule that scored it.
    pub rule_version: String,
    /// [`Symptoms`].
    pub symptoms: Doc,
    /// [`StomaFound`].
    pub findings: Doc,
    /// Likely cause as the nurse decided.
    pub cause: Option<String>,
    /// Plan.
    pub plan: Option<String>,
    /// signed, or amended when a later one replaces it.
    pub status: String,
    /// The one that this replaces.
    pub amends_id: Option<AssessmentId>,
    /// Why.
    pub amend_reason: Option<String>,
    /// Who signed.
    pub signed_by: StaffId,
    /// When.
    pub signed_at: Stamp,
}

/// Adds a signed assessment; one that amends marks the other as amended.
pub fn sign(tx: &mut Tx<'_>, row: &AssessmentRow) -> Result<(), StoreError> {
    if let Some(amended) = row.amends_id {
        let target = assessments::table
            .find(amended)
            .filter(assessments::service_id.eq(row.service_id))
            .filter(assessments::patient_id.eq(row.patient_id))
            .filter(assessments::status.eq("signed"));
        if diesel::update(target).set(assessments::status.eq("amended")).execute(tx.conn())? != 1 {
            return Err(StoreError::Stale);
        }
    }
    diesel::insert_into(assessments::table).values(row).execute(tx.conn())?;
    tx.touch(row.patient_id);
    Ok(())
}

/// Assessments of a patient, newest first; with `amended` also those that were replaced.
pub fn of_patient(
    conn: &mut Conn,
    service: ServiceId,
    patient: PatientId,
    amended: bool,
) -> Result<Vec<AssessmentRow>, StoreError> {
    let mut query = assessments::table
        .filter(assessments::service_id.eq(service))
        .filter(assessments::patient_id.eq(patient))
        .into_boxed();
    if !amended {
        query = query.filter(assessments::status.eq("signed"));
    }
    Ok(query
        .order((assessments::assessed_on.desc(), assessments::signed_at.desc()))
        .select(AssessmentRow::as_select())
        .load(conn)?)
}

/// Signed assessments of several patients that no later one replaced, newest first.
pub fn of_patients(
    conn: &mut Conn,
    service: ServiceId,
    patients: &[PatientId],
) -> Result<Vec<AssessmentRow>, StoreError> {
    Ok(assessments::table
        .filter(assessments::service_id.eq(service))
        .filter(assessments::patient_id.eq_any(patients))
        .filter(assessments::status.eq("signed"))
        .order((assessments::assessed_on.desc(), assessments::signed_at.desc()))
        .select(AssessmentRow::as_select())
        .load(conn)?)
}

/// One assessment of this service.
pub fn find(conn: &mut Conn, service: ServiceId, id: AssessmentId) -> Result<AssessmentRow, StoreError> {
    Ok(assessments::table
        .find(id)
        .filter(assessments::service_id.eq(service))
        .select(AssessmentRow::as_select())
        .first(conn)?)
}
