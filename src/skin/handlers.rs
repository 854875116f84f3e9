//! Scores over time: every assessment of a patient, who scored it, and what was amended.

use std::collections::BTreeMap;

use actix_web::http::StatusCode;
use actix_web::web;

use super::charts::charts;
use super::map_view;
use super::pages::{MapRow, ScoreRow, SkinPage};
use super::rules::map_words::compare;
use super::rules::{MapCell, causes, change};
use super::store::{self, AssessmentRow, Inputs, StomaFound, Symptoms};
use crate::access::store as people;
use crate::audit::{Event, view};
use crate::db::StoreError;
use crate::db::ids::{AssessmentId, PatientId, StaffId};
use crate::display;
use crate::patients::banner::banner;
use crate::patients::parts::parts;
use crate::patients::store as patients;
use crate::stomas::store::{self as stomas, Stoma};
use crate::web::{Answer, PathOf, Permission, Signed, State, page};

/// `GET /patients/{id}/skin`
pub async fn over_time(state: web::Data<State>, signed: Signed, path: PathOf<PatientId>) -> Answer {
    let id = path.into_inner();
    let service = signed.service.id;
    let (patient, identifiers, stomas, rows, maps, staff) = view(&state.db, &signed.actor, move |conn| {
        let patient = patients::find(conn, service, id)?;
        let identifiers = patients::identifiers_of(conn, service, id)?;
        let stomas = stomas::of_patient(conn, service, id)?;
        let rows = store::of_patient(conn, service, id, true)?;
        let maps = store::maps_of(conn, service, id)?;
        let staff: Vec<(StaffId, String)> =
            people::everybody(conn, service)?.into_iter().map(|s| (s.id, s.display_name)).collect();
        Ok(((patient, identifiers, stomas, rows, maps, staff), Event::read("patient.skin").about(id)))
    })
    .await?;
    let may_amend = signed.may(Permission::AssessSkin) && patient.ended_reason.is_none();
    let shown = SkinPage {
        shell: signed.shell("Skin over time", "/patients"),
        banner: banner(&patient, &identifiers, state.clock.today()),
        parts: parts(&signed, id, "/skin"),
        charts: charts(&rows, &stomas, state.clock.today())?,
        maps: map_rows(&rows, &maps, &stomas, &staff)?,
        rows: rows.iter().map(|a| row(a, &rows, &stomas, &staff, may_amend)).collect::<Result<_, _>>()?,
        caution: format!(
            "A change of 1 or 2 points between two people may be noise ({}, {}).",
            change::caution_source().source,
            change::caution_source().standing.words()
        ),
    };
    page(StatusCode::OK, &shown)
}

/// How many maps stand side by side.
const MOST_MAPS: usize = 12;

/// The maps, the newest first, each compared with the one before it of the same stoma. An assessment of clear skin has an
/// empty one; where skin was scored without a map there is none.
fn map_rows(
    rows: &[AssessmentRow],
    maps: &BTreeMap<AssessmentId, Vec<MapCell>>,
    stomas: &[Stoma],
    staff: &[(StaffId, String)],
) -> Result<Vec<MapRow>, StoreError> {
    let drawn: Vec<&AssessmentRow> =
        rows.iter().filter(|a| a.status == "signed" && (a.score == 0 || maps.contains_key(&a.id))).collect();
    if drawn.iter().all(|a| !maps.contains_key(&a.id)) {
        return Ok(Vec::new());
    }
    let cells = |a: &AssessmentRow| maps.get(&a.id).map_or(&[][..], Vec::as_slice);
    let mut list = Vec::new();
    for (nth, a) in drawn.iter().enumerate().take(MOST_MAPS) {
        let found: StomaFound = a.findings.read()?;
        let before = drawn.iter().skip(nth + 1).find(|b| b.stoma_id == a.stoma_id);
        let change = before.map(|b| compare(cells(b), cells(a)));
        let said = |what: &str, list: &[String]| (!list.is_empty()).then(|| format!("{what}: {}.", list.join("; ")));
        list.push(MapRow {
            on: display::short_date(a.assessed_on),
            on_iso: a.assessed_on.to_string(),
            stoma: stomas.iter().find(|s| s.id == a.stoma_id).map_or_else(String::new, Stoma::words),
            score: format!("{} of 15", a.score),
            by: staff.iter().find(|(id, _)| *id == a.signed_by).map_or_else(String::new, |(_, name)| name.clone()),
            drawing: map_view::draw(&found, cells(a)),
            change: change
                .map(|c| [said("New or worse", &c.new), said("Healed", &c.healed)].into_iter().flatten().collect())
                .unwrap_or_default(),
        });
    }
    Ok(list)
}

fn row(
    a: &AssessmentRow,
    all: &[AssessmentRow],
    stomas: &[Stoma],
    staff: &[(StaffId, String)],
    may_amend: bool,
) -> Result<ScoreRow, StoreError> {
    let symptoms: Symptoms = a.symptoms.read()?;
    let amended = a.status == "amended";
    let before = all
        .iter()
        .filter(|b| b.status == "signed" && b.stoma_id == a.stoma_id)
        .find(|b| (b.assessed_on, b.signed_at) < (a.assessed_on, a.signed_at));
    let change = match before.map(|b| a.score - b.score) {
        _ if amended => String::new(),
        None => "first".to_owned(),
        Some(0) => "same".to_owned(),
        Some(n) if n > 0 => format!("worse by {n}"),
        Some(n) => format!("better by {}", -n),
    };
    let asked = |value: Option<u8>| value.map_or_else(|| "Not asked".to_owned(), |n| n.to_string());
    let inputs: Inputs = a.inputs.read()?;
    let overruled =
        inputs.map.overruled.iter().map(|o| {
            format!("Area of {} judged {} points, by the map {}: {}.", o.domain, o.judged, o.by_map, o.reason)
        });
    let overruled = Some(overruled.collect::<Vec<_>>().join(" ")).filter(|words| !words.is_empty());
    let note = [a.plan.clone(), overruled, a.amend_reason.clone().map(|r| format!("Amends an earlier one: {r}"))];
    Ok(ScoreRow {
        on: display::short_date(a.assessed_on),
        on_iso: a.assessed_on.to_string(),
        stoma: stomas.iter().find(|s| s.id == a.stoma_id).map_or_else(String::new, Stoma::words),
        score: a.score.to_string(),
        band: a.band.clone(),
        change,
        discolouration: a.discolouration.to_string(),
        erosion: a.erosion.to_string(),
        overgrowth: a.overgrowth.to_string(),
        pain: asked(symptoms.skin_pain),
        itch: asked(symptoms.itch),
        burning: asked(symptoms.burning),
        leaks: asked(symptoms.leaks_of_last_10),
        cause: a.cause.as_deref().map_or_else(|| "None recorded".to_owned(), causes::words),
        by: staff.iter().find(|(id, _)| *id == a.signed_by).map_or_else(String::new, |(_, name)| name.clone()),
        rule: a.rule_version.clone(),
        note: note.into_iter().flatten().collect::<Vec<_>>().join(" "),
        amended,
        amend_href: (may_amend && !amended).then(|| format!("/patients/{}/contacts/new?amend={}", a.patient_id, a.id)),
    })
}
