//! All queries on skin assessments. A signed one is never changed: an amendment is a new one that names it.

use chrono::NaiveDate;
use diesel::prelude::*;
use serde::{Deserialize, Serialize};

pub use super::maps::{keep_map, maps_of};
use super::rules::{self, Area, Assessment, DomainInput, Plate, Score, Shares};
use crate::db::connection::MultiBackend;
use crate::db::ids::{AssessmentId, ContactId, PatientId, RedFlagId, ServiceId, StaffId, StomaId};
use crate::db::schema::{assessments, red_flags};
use crate::db::{Conn, Doc, Stamp, StoreError, Tx};

/// One domain as the nurse judged it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct DomainJudged {
    /// Area points, 0 to 3.
    pub area_points: u8,
    /// Severity, 0 to 2.
    pub severity: u8,
}

/// The plate and where it sat.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlateFound {
    /// Diameter of the adhesive, mm.
    pub diameter_mm: i32,
    /// Its centre from the stoma's, towards the patient's left, mm.
    #[serde(default)]
    pub to_left_mm: i32,
    /// The same towards the head, mm.
    #[serde(default)]
    pub to_head_mm: i32,
}

impl PlateFound {
    /// As the geometry takes it.
    pub fn plate(&self) -> Plate {
        Plate {
            diameter_mm: f64::from(self.diameter_mm),
            offset_x_mm: f64::from(self.to_left_mm),
            offset_y_mm: f64::from(self.to_head_mm),
        }
    }
}

/// Shares of the skin under the plate, percent, as the geometry found them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct SharesFound {
    /// Discoloured.
    pub discolouration: f64,
    /// Eroded.
    pub erosion: f64,
    /// Overgrown.
    pub overgrowth: f64,
}

impl From<Shares> for SharesFound {
    fn from(shares: Shares) -> Self {
        Self { discolouration: shares.discolouration, erosion: shares.erosion, overgrowth: shares.overgrowth }
    }
}

/// An area that the nurse judged otherwise than the map gives it; both are kept.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Overruled {
    /// Domain code.
    pub domain: String,
    /// Area points by the map.
    pub by_map: u8,
    /// Area points as judged, which the score counts.
    pub judged: u8,
    /// Why.
    pub reason: String,
}

/// What the inputs hold besides the six values; all of it may be missing in older rows. The cells are rows of their own.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct MapFound {
    /// Shares by geometry; none where a measure was missing.
    pub shares: Option<SharesFound>,
    /// Areas that were overruled.
    pub overruled: Vec<Overruled>,
    /// Tone of the patient's own skin, code.
    pub skin_tone: Option<String>,
}

/// The inputs of a score, as kept: the six values and what belongs to the map.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Inputs {
    /// The six values that were scored.
    #[serde(flatten)]
    pub judged: Judged,
    /// The map's part.
    #[serde(default)]
    pub map: MapFound,
}

/// The six values of a score, as kept.
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
    /// Itch, 0 to 10.
    #[serde(default)]
    pub itch: Option<u8>,
    /// Burning, 0 to 10.
    #[serde(default)]
    pub burning: Option<u8>,
    /// Pain of the belly, 0 to 10.
    #[serde(default)]
    pub abdominal_pain: Option<u8>,
    /// Hour of the clock where the leak runs.
    #[serde(default)]
    pub leak_hour: Option<u8>,
    /// Times a day that the pouch comes off unplanned.
    #[serde(default)]
    pub pouch_off_per_day: Option<u8>,
    /// Hours without any output.
    #[serde(default)]
    pub no_output_hours: Option<u32>,
    /// What the patient told besides, as codes of the form.
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
    /// round, oval, irregular.
    #[serde(default)]
    pub shape: Option<String>,
    /// Gap between stoma and opening all round, mm.
    #[serde(default)]
    pub gap_mm: Option<f64>,
    /// The plate.
    #[serde(default)]
    pub plate: Option<PlateFound>,
    /// Hours of the clock where the edge has parted from the skin.
    #[serde(default)]
    pub parted_hours: Vec<u8>,
    /// How far the bowel has slid out, mm.
    #[serde(default)]
    pub prolapse_mm: Option<i32>,
    /// Width of a bulge beside it, mm.
    #[serde(default)]
    pub bulge_mm: Option<i32>,
    /// Consistency of the output, code.
    #[serde(default)]
    pub consistency: Option<String>,
    /// Signs seen that speak for or against a cause, codes of the causes.
    #[serde(default)]
    pub signs: Vec<String>,
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

/// What was answered when a red flag interrupted.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = red_flags)]
#[diesel(check_for_backend(MultiBackend))]
pub struct RedFlagRow {
    /// Id.
    pub id: RedFlagId,
    /// Service.
    pub service_id: ServiceId,
    /// Whose.
    pub patient_id: PatientId,
    /// At which assessment.
    pub assessment_id: AssessmentId,
    /// Code of the threshold that raised it.
    pub rule: String,
    /// Version of the thresholds.
    pub thresholds: String,
    /// handed-on, overruled.
    pub answer: String,
    /// Why it was overruled.
    pub reason: Option<String>,
    /// Who.
    pub answered_by: StaffId,
    /// When.
    pub answered_at: Stamp,
}

/// Keeps the answer to a red flag.
pub fn keep_red_flag(tx: &mut Tx<'_>, row: &RedFlagRow) -> Result<(), StoreError> {
    diesel::insert_into(red_flags::table).values(row).execute(tx.conn())?;
    Ok(())
}

/// How often red flags of the service were handed on, and how often overruled.
pub fn red_flags_counted(conn: &mut Conn, service: ServiceId) -> Result<(i64, i64), StoreError> {
    let mut count = |answer: &str| {
        red_flags::table
            .filter(red_flags::service_id.eq(service))
            .filter(red_flags::answer.eq(answer.to_owned()))
            .count()
            .get_result::<i64>(conn)
    };
    Ok((count("handed-on")?, count("overruled")?))
}

/// Answers to red flags of a patient's assessments, the oldest first.
pub fn red_flags_of(conn: &mut Conn, service: ServiceId, patient: PatientId) -> Result<Vec<RedFlagRow>, StoreError> {
    Ok(red_flags::table
        .filter(red_flags::service_id.eq(service))
        .filter(red_flags::patient_id.eq(patient))
        .order(red_flags::answered_at)
        .select(RedFlagRow::as_select())
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
