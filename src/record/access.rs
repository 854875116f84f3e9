//! Who has seen or changed one patient's record, and when.

use actix_web::http::StatusCode;
use actix_web::web;
use serde::Deserialize;

use super::pages::{AccessPage, EventView};
use crate::audit::store::{self as log, EVENTS_PER_PAGE, EventRow};
use crate::audit::{Event, view};
use crate::db::ids::PatientId;
use crate::patients::banner::banner;
use crate::patients::store as patients;
use crate::web::{Answer, PathOf, QueryOf, Signed, State, page};

/// Which part of the log.
#[derive(Deserialize)]
pub struct Part {
    before: Option<i64>,
}

/// An event in words.
pub fn event_view(row: &EventRow) -> EventView {
    let act = match row.action.as_str() {
        "C" => "Made",
        "R" => "Saw",
        "U" => "Changed",
        "D" => "Removed",
        _ => "Did",
    };
    let detail: serde_json::Map<String, serde_json::Value> = serde_json::from_str(&row.detail).unwrap_or_default();
    let detail: Vec<String> =
        detail.iter().map(|(key, value)| format!("{key}: {}", value.as_str().unwrap_or_default())).collect();
    EventView {
        seq: row.seq.to_string(),
        at: row.at.at().with_timezone(&chrono::Local).format("%d-%b-%Y %H:%M:%S").to_string(),
        who: row.staff_name.clone(),
        roles: row.roles.replace('+', ", "),
        what: format!("{act} {}", row.what.replace('.', ", ").replace('-', " ")),
        outcome: match row.outcome.as_str() {
            "ok" => "Done",
            "refused" => "Refused",
            _ => "Failed",
        }
        .to_owned(),
        from: row.address.clone(),
        detail: detail.join("; "),
    }
}

/// `GET /patients/{id}/access`
pub async fn access(state: web::Data<State>, signed: Signed, path: PathOf<PatientId>, part: QueryOf<Part>) -> Answer {
    let id = path.into_inner();
    let service = signed.service.id;
    let (patient, identifiers, rows) = view(&state.db, &signed.actor, move |conn| {
        let patient = patients::find(conn, service, id)?;
        let identifiers = patients::identifiers_of(conn, service, id)?;
        let rows = log::events_about(conn, service, id, part.0.before)?;
        Ok(((patient, identifiers, rows), Event::read("patient.access").about(id)))
    })
    .await?;
    let full = i64::try_from(rows.len()).is_ok_and(|n| n == EVENTS_PER_PAGE);
    let older = rows.last().filter(|_| full).map(|r| format!("/patients/{id}/access?before={}", r.seq));
    let shown = AccessPage {
        shell: signed.shell("Who has seen this record", "/patients"),
        banner: banner(&patient, &identifiers, state.clock.today()),
        standfirst:
            "Everybody who saw or changed it, the newest first. Lists on which the patient stood count as seen."
                .to_owned(),
        events: rows.iter().map(event_view).collect(),
        older,
    };
    page(StatusCode::OK, &shown)
}
