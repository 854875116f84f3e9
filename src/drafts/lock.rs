//! A form that arrives when its session is locked, has ended, or was followed by another: what was typed is kept as a
//! draft of its author. Nothing is committed, and nothing is shown; who signs in as its author finds it in the form.

use super::forms::Place;
use super::handlers::{keep, place_in, value};
use super::store::Saved;
use crate::access::roles::{Role, permissions_of};
use crate::access::store::{self as access, Session};
use crate::db::{Actor, Stamp, StoreError};
use crate::web::extract::{RequestFacts, same_token};
use crate::web::{Signed, State};

fn author(session: &Session, facts: &RequestFacts) -> Actor {
    let codes: Vec<&str> = session.roles.iter().map(|role: &Role| role.code()).collect();
    Actor {
        service_id: Some(session.service.id),
        staff_id: Some(session.staff.id),
        name: session.staff.display_name.clone(),
        roles: codes.join("+"),
        request_id: facts.id.clone(),
        address: facts.address.clone(),
        session: None, // what is kept does not open or lengthen a session
        shows_message: false,
    }
}

fn read(body: &[u8]) -> Option<(Vec<(String, String)>, Place)> {
    let fields: Vec<(String, String)> = serde_html_form::from_bytes(body).ok()?;
    let place = place_in(&fields)?;
    Some((fields, place))
}

/// Keeps a form that came with the cookie of a locked session. Where it lives, if it was kept: to be kept it must carry
/// that session's token, and its author must still have access and be allowed to save it.
pub async fn locked(
    state: &State,
    facts: &RequestFacts,
    token_hash: Vec<u8>,
    body: &[u8],
) -> Result<Option<Place>, StoreError> {
    let Some((fields, place)) = read(body) else { return Ok(None) };
    let now = Stamp::new(state.clock.now());
    let session = state.db.read(move |conn| access::locked_session(conn, &token_hash, now)).await?;
    let Some(session) = session else { return Ok(None) };
    let may = permissions_of(&session.roles).contains(&place.form.needs);
    if !may || !same_token(value(&fields, "csrf"), &session.form_token) {
        return Ok(None);
    }
    let kept = keep_or_not(state, &author(&session, facts), place, fields, None).await?;
    Ok(kept.map(|(place, _)| place))
}

/// Keeps a form whose token is of an earlier session of the same person: they signed in anew in another window.
/// `message` is for the page that shows the form again.
pub async fn before_sign_in(
    state: &State,
    signed: &Signed,
    body: &[u8],
    message: bool,
) -> Result<Option<(Place, Saved)>, StoreError> {
    let Some((fields, place)) = read(body) else { return Ok(None) };
    if !signed.may(place.form.needs) {
        return Ok(None);
    }
    let (staff, now, token) = (signed.staff_id, Stamp::new(state.clock.now()), value(&fields, "csrf").to_owned());
    if !state.db.read(move |conn| access::was_token_of(conn, staff, &token, now)).await? {
        return Ok(None);
    }
    let said = "This form was opened before you signed in again, so it was not saved. What you typed is below: check it \
                and send it again.";
    keep_or_not(state, &signed.actor, place, fields, message.then(|| said.to_owned())).await
}

async fn keep_or_not(
    state: &State,
    actor: &Actor,
    place: Place,
    fields: Vec<(String, String)>,
    message: Option<String>,
) -> Result<Option<(Place, Saved)>, StoreError> {
    match keep(&state.db, actor, place.clone(), fields, "lock", message).await {
        Ok(saved) => Ok(Some((place, saved))),
        Err(StoreError::NotFound) => Ok(None), // a patient of another service
        Err(error) => Err(error),
    }
}
