//! All queries on the cells of clock maps. They belong to a signed assessment and are never changed.

use std::collections::BTreeMap;

use diesel::prelude::*;

use super::rules::{Finding, MapCell};
use super::store::AssessmentRow;
use crate::db::connection::MultiBackend;
use crate::db::ids::{AssessmentId, PatientId, ServiceId};
use crate::db::schema::assessment_cells;
use crate::db::{Conn, StoreError, Tx};

#[derive(Queryable, Selectable, Insertable)]
#[diesel(table_name = assessment_cells)]
#[diesel(check_for_backend(MultiBackend))]
struct CellRow {
    service_id: ServiceId,
    patient_id: PatientId,
    assessment_id: AssessmentId,
    hour: i32,
    ring: i32,
    finding: String,
}

/// Keeps the map of an assessment that was signed in the same transaction. A cell counts once for each finding.
pub fn keep_map(tx: &mut Tx<'_>, of: &AssessmentRow, cells: &[MapCell]) -> Result<(), StoreError> {
    let mut rows: Vec<(u8, u8, &str)> = cells.iter().map(|c| (c.hour, c.ring, c.finding.code())).collect();
    rows.sort_unstable();
    rows.dedup();
    for (hour, ring, finding) in rows {
        let row = CellRow {
            service_id: of.service_id,
            patient_id: of.patient_id,
            assessment_id: of.id,
            hour: i32::from(hour),
            ring: i32::from(ring),
            finding: finding.to_owned(),
        };
        diesel::insert_into(assessment_cells::table).values(row).execute(tx.conn())?;
    }
    tx.touch(of.patient_id);
    Ok(())
}

/// The maps of a patient's assessments; one without a marked cell is not in it.
pub fn maps_of(
    conn: &mut Conn,
    service: ServiceId,
    patient: PatientId,
) -> Result<BTreeMap<AssessmentId, Vec<MapCell>>, StoreError> {
    let rows: Vec<CellRow> = assessment_cells::table
        .filter(assessment_cells::service_id.eq(service))
        .filter(assessment_cells::patient_id.eq(patient))
        .order((assessment_cells::assessment_id, assessment_cells::hour, assessment_cells::ring))
        .select(CellRow::as_select())
        .load(conn)?;
    by_assessment(rows)
}

/// The maps of these assessments; one without a marked cell is not in it.
pub fn of_assessments(
    conn: &mut Conn,
    service: ServiceId,
    ids: &[AssessmentId],
) -> Result<BTreeMap<AssessmentId, Vec<MapCell>>, StoreError> {
    let rows: Vec<CellRow> = assessment_cells::table
        .filter(assessment_cells::service_id.eq(service))
        .filter(assessment_cells::assessment_id.eq_any(ids))
        .order((assessment_cells::assessment_id, assessment_cells::hour, assessment_cells::ring))
        .select(CellRow::as_select())
        .load(conn)?;
    by_assessment(rows)
}

fn by_assessment(rows: Vec<CellRow>) -> Result<BTreeMap<AssessmentId, Vec<MapCell>>, StoreError> {
    let mut maps: BTreeMap<AssessmentId, Vec<MapCell>> = BTreeMap::new();
    for row in rows {
        let finding = Finding::CODES.iter().find(|(code, _)| *code == row.finding).map(|(_, finding)| *finding);
        let at = u8::try_from(row.hour).ok().zip(u8::try_from(row.ring).ok());
        let (Some(finding), Some((hour, ring))) = (finding, at) else {
            return Err(StoreError::Backend("a cell of a map that cannot be read".to_owned()));
        };
        maps.entry(row.assessment_id).or_default().push(MapCell { hour, ring, finding });
    }
    Ok(maps)
}
