//! What the daily task did.

use actix_web::http::StatusCode;
use actix_web::web;

use super::pages::{RunView, RunsPage};
use super::roll::{Run, runs};
use crate::audit::{Event, view};
use crate::display;
use crate::web::{Answer, Signed, State, page};

/// Runs shown: a quarter of a year.
const MOST: i64 = 92;

/// `GET /follow-up/runs`
pub async fn list(state: web::Data<State>, signed: Signed) -> Answer {
    let service = signed.service.id;
    let found =
        view(&state.db, &signed.actor, move |conn| Ok((runs(conn, service, MOST)?, Event::read("follow-up.runs"))))
            .await?;
    let shown =
        RunsPage { shell: signed.shell("The daily task", "/protocols"), runs: found.iter().map(run_view).collect() };
    page(StatusCode::OK, &shown)
}

fn run_view(run: &Run) -> RunView {
    let time = |at: crate::db::Stamp| at.at().with_timezone(&chrono::Local).format("%H:%M:%S").to_string();
    let (state, tag) = if run.finished_at.is_some() { ("done", "good") } else { ("not finished", "mind") };
    RunView {
        day: display::weekday_date(run.for_day),
        day_iso: run.for_day.to_string(),
        state: state.to_owned(),
        tag: tag.to_owned(),
        times: match run.finished_at {
            Some(end) => format!("{} to {}", time(run.started_at), time(end)),
            None => format!("since {}", time(run.started_at)),
        },
        looked_at: run.looked_at.to_string(),
        changed: run.changed.to_string(),
        missed: match run.days_missed {
            0 => "none".to_owned(),
            n => display::counted(usize::try_from(n).unwrap_or(0), "day"),
        },
        instance: run.instance.clone(),
    }
}
