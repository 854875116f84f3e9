//! Keeping a draft while somebody types, and throwing one away.

use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, web};
use serde::Deserialize;

use super::forms::Place;
use super::store::{self, KEPT_DAYS, Saved};
use crate::access::store::say;
use crate::audit::{Action, Event, Outcome, append};
use crate::db::{Actor, Db, Stamp, StoreError};
use crate::web::{Answer, AppError, Posted, Signed, State, see_other};

/// The value of a field.
pub(super) fn value<'a>(fields: &'a [(String, String)], name: &str) -> &'a str {
    fields.iter().find(|(n, _)| n == name).map_or("", |(_, value)| value)
}

/// The place that the fields name.
pub(super) fn place_in(fields: &[(String, String)]) -> Option<Place> {
    value(fields, "draft_at").parse().ok()
}

/// Keeps what was typed; one event for each time. `why` says what made it be kept.
pub(super) async fn keep(
    db: &Db,
    actor: &Actor,
    place: Place,
    fields: Vec<(String, String)>,
    why: &'static str,
    message: Option<String>,
) -> Result<Saved, StoreError> {
    db.write(actor, move |tx| {
        let (id, saved) = store::save(tx, &place, fields)?;
        if let Some(text) = message {
            say(tx, &text)?;
        }
        let outcome = if saved == Saved::FormIsSent { Outcome::Refused } else { Outcome::Ok };
        let event = Event::update("draft").with("draft", id).with("form", place.form.key).with("by", why);
        append(tx, event.outcome(outcome).about_all(place.patient))?;
        Ok(saved)
    })
    .await
}

/// The time on the wall, "10:42".
fn wall(at: Stamp) -> String {
    at.at().with_timezone(&chrono::Local).format("%H:%M").to_string()
}

/// What the script shows beside the buttons.
pub fn line(saved: &Saved) -> HttpResponse {
    let text = match saved {
        Saved::At(at) => format!("Draft saved {}", wall(*at)),
        Saved::FormIsSent => "This form was saved already".to_owned(),
    };
    HttpResponse::Ok().content_type("text/plain; charset=utf-8").body(text)
}

/// Whether the script sent it, which wants a line and no page.
pub fn by_script(req: &HttpRequest) -> bool {
    req.headers().get(header::ACCEPT).is_some_and(|accept| accept.as_bytes() == b"text/plain")
}

/// `POST /drafts`: from the script every few seconds (answered with a line of text), or by the button "Save and finish
/// later" (answered with the page one came from).
pub async fn save(
    req: HttpRequest,
    state: web::Data<State>,
    signed: Signed,
    form: Posted<Vec<(String, String)>>,
) -> Answer {
    let fields = form.0;
    let place = place_in(&fields).ok_or(AppError::NotFound)?;
    if !signed.may(place.form.needs) {
        return Err(AppError::NotAllowed);
    }
    let by_script = by_script(&req);
    let back = place.patient.map_or_else(|| "/patients".to_owned(), |id| format!("/patients/{id}"));
    let (why, message) = if by_script {
        ("typing", None)
    } else {
        let kept = format!("What you typed is kept for {KEPT_DAYS} days. Open the same form again to go on.");
        ("button", Some(kept))
    };
    let saved = keep(&state.db, &signed.actor, place, fields, why, message).await?;
    if !by_script {
        return Ok(see_other(back));
    }
    Ok(line(&saved))
}

/// Which draft.
#[derive(Deserialize)]
pub struct Which {
    #[serde(default)]
    draft_at: String,
}

/// `POST /drafts/discard`: throws a draft away; the form opens anew.
pub async fn discard(state: web::Data<State>, signed: Signed, form: Posted<Which>) -> Answer {
    let place: Place = form.0.draft_at.parse().map_err(|_| AppError::NotFound)?;
    let to = place.to_string();
    state
        .db
        .write(&signed.actor, move |tx| {
            store::drop_at(tx, &place)?;
            say(tx, "What you had typed is thrown away. The form is as it was before.")?;
            let event = Event::new(Action::Delete, "draft").with("form", place.form.key);
            append(tx, event.about_all(place.patient)).map(drop)
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other(to))
}
