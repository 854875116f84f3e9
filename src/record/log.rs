//! The audit log of a service, for its auditor; and checking that its chain holds.

use actix_web::http::StatusCode;
use actix_web::web;
use askama::Template;
use serde::Deserialize;

use super::access::event_view;
use super::pages::EventView;
use crate::audit::store::{self as log, EVENTS_PER_PAGE, Question, VerifyError};
use crate::audit::{Event, Outcome, append, view};
use crate::db::StoreError;
use crate::web::shell::Shell;
use crate::web::{Answer, AppError, Posted, QueryOf, Signed, State, page};

/// `GET /audit`
#[derive(Template)]
#[template(path = "audit/log.html")]
pub struct LogPage {
    /// Frame.
    pub shell: Shell,
    /// What the check found, if it was just made.
    pub verdict: Option<String>,
    /// Newest first.
    pub events: Vec<EventView>,
    /// Older ones.
    pub older: Option<String>,
    /// Only refused and failed ones are shown.
    pub refused_only: bool,
}

/// Which part of the log.
#[derive(Clone, Debug, Default, Deserialize)]
pub struct Part {
    before: Option<i64>,
    outcome: Option<String>,
}

/// `GET /audit`
pub async fn list(state: web::Data<State>, signed: Signed, part: QueryOf<Part>) -> Answer {
    let page_of = load(&state, &signed, part.0, None).await?;
    page(StatusCode::OK, &page_of)
}

async fn load(state: &State, signed: &Signed, part: Part, verdict: Option<String>) -> Result<LogPage, AppError> {
    let service = signed.service.id;
    let outcome = part.outcome.filter(|o| o == "refused");
    let question = Question { before: part.before, outcome: outcome.clone(), ..Question::default() };
    let rows = view(&state.db, &signed.actor, move |conn| {
        Ok((log::events(conn, service, &question)?, Event::read("audit.log")))
    })
    .await?;
    let full = i64::try_from(rows.len()).is_ok_and(|n| n == EVENTS_PER_PAGE);
    let refused = if outcome.is_some() { "&outcome=refused" } else { "" };
    Ok(LogPage {
        shell: signed.shell("Audit log", "/audit"),
        verdict,
        older: rows.last().filter(|_| full).map(|r| format!("/audit?before={}{refused}", r.seq)),
        events: rows.iter().map(event_view).collect(),
        refused_only: outcome.is_some(),
    })
}

/// Nothing but the token.
#[derive(Deserialize)]
pub struct Empty {}

/// `POST /audit/verify`: recomputes the whole chain.
pub async fn verify(state: web::Data<State>, signed: Signed, _form: Posted<Empty>) -> Answer {
    let found = state
        .db
        .read(|conn| match log::verify(conn, None, &[], |_, _| ()) {
            Ok(verified) => Ok(Ok(verified)),
            Err(VerifyError::Broken(broken)) => Ok(Err(broken)),
            Err(VerifyError::Store(error)) => Err(error),
        })
        .await?;
    let (outcome, verdict) = match &found {
        Ok(verified) => {
            (Outcome::Ok, format!("The chain holds: {} events, none changed, removed or reordered.", verified.last))
        }
        Err(broken) => {
            (Outcome::Failed, format!("The chain does not hold: {broken}. Tell whoever runs this service now."))
        }
    };
    let event = Event::execute("audit.verify").outcome(outcome);
    state.db.write(&signed.actor, move |tx| append(tx, event).map(drop)).await.map_err(|e: StoreError| e)?;
    let page_of = load(&state, &signed, Part::default(), Some(verdict)).await?;
    page(StatusCode::OK, &page_of)
}
