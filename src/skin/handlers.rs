//! Scores over time: every assessment of a patient, who scored it, and what was amended.

use actix_web::http::StatusCode;
use actix_web::web;

use super::charts::charts;
use super::pages::{ScoreRow, SkinPage};
use super::rules::change;
use super::store::{self, AssessmentRow, Symptoms};
use crate::access::store as people;
use crate::audit::{Event, view};
use crate::db::StoreError;
use crate::db::ids::{PatientId, StaffId};
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
    let (patient, identifiers, stomas, rows, staff) = view(&state.db, &signed.actor, move |conn| {
        let patient = patients::find(conn, service, id)?;
        let identifiers = patients::identifiers_of(conn, service, id)?;
        let stomas = stomas::of_patient(conn, service, id)?;
        let rows = store::of_patient(conn, service, id, true)?;
        let staff: Vec<(StaffId, String)> =
            people::everybody(conn, service)?.into_iter().map(|s| (s.id, s.display_name)).collect();
        Ok(((patient, identifiers, stomas, rows, staff), Event::read("patient.skin").about(id)))
    })
    .await?;
    let may_amend = signed.may(Permission::AssessSkin) && patient.ended_reason.is_none();
    let shown = SkinPage {
        shell: signed.shell("Skin over time", "/patients"),
        banner: banner(&patient, &identifiers, state.clock.today()),
        parts: parts(&signed, id, "/skin"),
        charts: charts(&rows, &stomas, state.clock.today())?,
        rows: rows.iter().map(|a| row(a, &rows, &stomas, &staff, may_amend)).collect::<Result<_, _>>()?,
        caution: format!(
            "A change of 1 or 2 points between two people may be noise ({}, {}).",
            change::caution_source().source,
            change::caution_source().standing.words()
        ),
    };
    page(StatusCode::OK, &shown)
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
    let note = [a.plan.clone(), a.amend_reason.clone().map(|r| format!("Amends an earlier one: {r}"))];
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
        leaks: asked(symptoms.leaks_of_last_10),
        cause: a.cause.clone().map_or_else(|| "None recorded".to_owned(), |c| c.replace('-', " ")),
        by: staff.iter().find(|(id, _)| *id == a.signed_by).map_or_else(String::new, |(_, name)| name.clone()),
        rule: a.rule_version.clone(),
        note: note.into_iter().flatten().collect::<Vec<_>>().join(" "),
        amended,
        amend_href: (may_amend && !amended).then(|| format!("/patients/{}/contacts/new?amend={}", a.patient_id, a.id)),
    })
}
