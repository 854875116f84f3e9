//! All queries on calibration answers. An answer is given once and never changed.

use diesel::prelude::*;

use crate::db::connection::MultiBackend;
use crate::db::ids::{CalibrationId, ServiceId, StaffId};
use crate::db::schema::calibration_answers;
use crate::db::{Conn, Stamp, StoreError, Tx};
use crate::skin::rules::calibration::SixValues;

/// One person's answer to one case.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = calibration_answers)]
#[diesel(check_for_backend(MultiBackend))]
#[allow(missing_docs, reason = "six values in six columns")]
pub struct AnswerRow {
    /// Id.
    pub id: CalibrationId,
    /// Service.
    pub service_id: ServiceId,
    /// Who.
    pub staff_id: StaffId,
    /// Case code.
    pub case_id: String,
    /// Version of the cases.
    pub case_version: String,
    pub discolouration_area: i32,
    pub discolouration_severity: i32,
    pub erosion_area: i32,
    pub erosion_severity: i32,
    pub overgrowth_area: i32,
    pub overgrowth_severity: i32,
    /// 0 to 15.
    pub score: i32,
    /// When.
    pub answered_at: Stamp,
}

impl AnswerRow {
    /// The six values.
    pub fn values(&self) -> SixValues {
        let small = |n: i32| u8::try_from(n).unwrap_or(0);
        [
            (small(self.discolouration_area), small(self.discolouration_severity)),
            (small(self.erosion_area), small(self.erosion_severity)),
            (small(self.overgrowth_area), small(self.overgrowth_severity)),
        ]
    }
}

/// Keeps an answer; a second one to the same case is refused by the database.
pub fn add(tx: &mut Tx<'_>, case_id: &str, case_version: &str, values: SixValues, score: u8) -> Result<(), StoreError> {
    let [d, e, t] = values;
    let row = AnswerRow {
        id: CalibrationId::new(),
        service_id: tx.service()?,
        staff_id: tx.staff()?,
        case_id: case_id.to_owned(),
        case_version: case_version.to_owned(),
        discolouration_area: i32::from(d.0),
        discolouration_severity: i32::from(d.1),
        erosion_area: i32::from(e.0),
        erosion_severity: i32::from(e.1),
        overgrowth_area: i32::from(t.0),
        overgrowth_severity: i32::from(t.1),
        score: i32::from(score),
        answered_at: tx.now(),
    };
    diesel::insert_into(calibration_answers::table).values(&row).execute(tx.conn())?;
    Ok(())
}

/// Answers of one person to the cases of this version.
pub fn of_staff(
    conn: &mut Conn,
    service: ServiceId,
    staff: StaffId,
    version: &str,
) -> Result<Vec<AnswerRow>, StoreError> {
    Ok(calibration_answers::table
        .filter(calibration_answers::service_id.eq(service))
        .filter(calibration_answers::staff_id.eq(staff))
        .filter(calibration_answers::case_version.eq(version.to_owned()))
        .select(AnswerRow::as_select())
        .load(conn)?)
}

/// Answers of everybody in the service to the cases of this version.
pub fn of_service(conn: &mut Conn, service: ServiceId, version: &str) -> Result<Vec<AnswerRow>, StoreError> {
    Ok(calibration_answers::table
        .filter(calibration_answers::service_id.eq(service))
        .filter(calibration_answers::case_version.eq(version.to_owned()))
        .order((calibration_answers::staff_id, calibration_answers::case_id))
        .select(AnswerRow::as_select())
        .load(conn)?)
}
