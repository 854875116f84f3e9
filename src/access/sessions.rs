//! How long the screen stays open, for the countdown before it locks. Asking does not lengthen a session; "Stay signed
//! in" does, up to its absolute end.

use actix_web::{HttpResponse, web};
use chrono::Duration;
use serde_json::json;

use super::sign_in::Empty;
use crate::audit::{Event, append};
use crate::db::StoreError;
use crate::web::{Answer, Posted, Signed, State};

fn answer(seconds: i64, more: bool) -> HttpResponse {
    HttpResponse::Ok().json(json!({ "left": seconds.max(0), "more": more }))
}

/// `GET /session`: seconds until the screen locks, and whether staying signed in would put that off.
pub async fn left(state: web::Data<State>, signed: Signed) -> Answer {
    let now = state.clock.now();
    let (idle, end) = (signed.idle_until.at() - now, signed.ends_at.at() - now);
    Ok(answer(idle.min(end).num_seconds(), idle < end))
}

/// `POST /session`: "Stay signed in".
pub async fn stay(state: web::Data<State>, signed: Signed, _form: Posted<Empty>) -> Answer {
    let event = Event::execute("session.stay");
    state.db.write(&signed.actor, move |tx| append(tx, event).map(drop)).await.map_err(|e: StoreError| e)?;
    let (idle, end) = (Duration::minutes(state.idle_minutes), signed.ends_at.at() - state.clock.now());
    Ok(answer(idle.min(end).num_seconds(), idle < end))
}
