//! The gate before every handler: request id, who is signed in, what the route needs, where a form came from;
//! and behind it: headers, and every error as a page. It enforces the list of `routes` and knows no feature.

use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::{Method, StatusCode, header};
use actix_web::middleware::Next;
use actix_web::{HttpMessage, HttpRequest, HttpResponse, ResponseError, web};
use askama::Template;

use crate::access::roles::permissions_of;
use crate::access::{secrets, sign_in, store};
use crate::audit::{Event, Outcome, append};
use crate::config::SESSION_HOURS;
use crate::db::{Actor, Stamp, StoreError};
use crate::drafts::{Place, handlers as drafts, lock};
use crate::routes::{self, Need};
use crate::web::error::Failure;
use crate::web::extract::{RefusedForm, RequestFacts, read_form};
use crate::web::shell::Shell;
use crate::web::signed::ServiceFacts;
use crate::web::{AppError, Signed, State, assets, headers, see_other};

/// Runs before and behind every handler.
pub async fn gate(
    mut req: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, actix_web::Error> {
    let facts = RequestFacts {
        id: uuid::Uuid::now_v7().to_string(),
        address: req.peer_addr().map_or_else(|| "unknown".to_owned(), |a| a.ip().to_string()),
    };
    req.extensions_mut().insert(facts.clone());
    let method = req.method().clone();
    let pattern = req.match_pattern().unwrap_or_default();
    let answer = match admit(&mut req, &facts, &pattern).await {
        Ok(None) => not_lost(next.call(req).await?.map_into_boxed_body()).await,
        Ok(Some(instead)) => req.into_response(instead),
        Err(error) => req.into_response(error.error_response()),
    };
    let mut answer = failure_as_page(&facts, answer);
    headers::put(answer.headers_mut());
    let status = answer.status().as_u16();
    // The pattern, not the address: an address may hold what somebody searched for.
    tracing::info!(request.id = %facts.id, %method, route = %pattern, status, "answered");
    Ok(answer)
}

/// Lets the request through (`None`), or answers instead.
async fn admit(
    req: &mut ServiceRequest,
    facts: &RequestFacts,
    pattern: &str,
) -> Result<Option<HttpResponse>, AppError> {
    let state = req.app_data::<web::Data<State>>().ok_or(AppError::Unknown)?.clone();
    let Some(need) = routes::need(req.method(), pattern) else {
        // Who is signed in sees the page that says so in their own frame.
        if let Some(signed) = signed_in(req, &state, facts).await? {
            req.extensions_mut().insert(signed);
        }
        return Err(AppError::NotFound);
    };
    let changes = !matches!(*req.method(), Method::GET | Method::HEAD);
    if changes && !from_our_page(req.request()) {
        return Err(AppError::ForeignForm);
    }
    if need == Need::Public {
        return Ok(None);
    }
    if need == Need::Anyone {
        if let Some(signed) = signed_in(req, &state, facts).await? {
            req.extensions_mut().insert(signed);
        }
        return Ok(None);
    }
    let Some(signed) = signed_in(req, &state, facts).await? else {
        if changes {
            let place = kept_at_lock(req, &state, facts).await?.ok_or(AppError::SignInNeeded)?;
            return Ok(Some(see_other(sign_in::address(&place.to_string(), true, true))));
        }
        let had_cookie = req.cookie(sign_in::COOKIE).is_some_and(|c| !c.value().is_empty());
        return Ok(Some(see_other(sign_in::address(&req.uri().to_string(), had_cookie, false))));
    };
    let allowed = match need {
        Need::Public | Need::Anyone | Need::SignedIn => true,
        Need::May(permission) => signed.may(permission),
    };
    let actor = signed.actor.clone();
    req.extensions_mut().insert(signed);
    if !allowed {
        let event =
            Event::execute("route").outcome(Outcome::Refused).with("route", pattern).with("method", req.method());
        state.db.write(&actor, move |tx| append(tx, event).map(drop)).await.map_err(|e: StoreError| e)?;
        return Err(AppError::NotAllowed);
    }
    Ok(None)
}

/// A form that keeps drafts and comes when its session is locked: it is kept, and one comes back to it after signing in.
async fn kept_at_lock(
    req: &mut ServiceRequest,
    state: &State,
    facts: &RequestFacts,
) -> Result<Option<Place>, AppError> {
    let Some(cookie) = req.cookie(sign_in::COOKIE).filter(|c| !c.value().is_empty()) else { return Ok(None) };
    let mut payload = req.take_payload();
    let body = read_form(req.request(), &mut payload).await?;
    Ok(lock::locked(state, facts, secrets::hash(cookie.value()), &body).await?)
}

/// A form that was refused because the same person has signed in anew since it was opened: it is kept, and shown again.
async fn not_lost(answer: ServiceResponse<BoxBody>) -> ServiceResponse<BoxBody> {
    let refused = answer.request().extensions_mut().remove::<RefusedForm>();
    let signed = answer.request().extensions().get::<Signed>().cloned();
    let state = answer.request().app_data::<web::Data<State>>().cloned();
    let (Some(RefusedForm(body)), Some(signed), Some(state)) = (refused, signed, state) else { return answer };
    let by_script = drafts::by_script(answer.request());
    match lock::before_sign_in(&state, &signed, &body, !by_script).await {
        Ok(Some((_, saved))) if by_script => ServiceResponse::new(answer.request().clone(), drafts::line(&saved)),
        Ok(Some((place, _))) => ServiceResponse::new(answer.request().clone(), see_other(place.to_string())),
        Ok(None) => answer,
        Err(error) => {
            let failed = AppError::from(error).error_response();
            ServiceResponse::new(answer.request().clone(), failed)
        }
    }
}

/// A form counts as ours when the browser says it comes from the same origin; where it does not say, the `Origin`
/// header must name our host. Without either it is refused (OWASP CSRF Prevention Cheat Sheet).
fn from_our_page(req: &HttpRequest) -> bool {
    let text = |name: &str| req.headers().get(name).and_then(|v| v.to_str().ok());
    if let Some(site) = text("sec-fetch-site") {
        return site == "same-origin";
    }
    let Some(origin) = text("origin") else { return false };
    let host = req.connection_info().host().to_owned();
    origin.split_once("://").is_some_and(|(_, of)| of == host)
}

async fn signed_in(req: &ServiceRequest, state: &State, facts: &RequestFacts) -> Result<Option<Signed>, AppError> {
    let Some(cookie) = req.cookie(sign_in::COOKIE).filter(|c| !c.value().is_empty()) else { return Ok(None) };
    let hash = secrets::hash(cookie.value());
    let (token_hash, now, idle) = (hash.clone(), Stamp::new(state.clock.now()), state.idle_minutes);
    let session = state.db.read(move |conn| store::session(conn, &token_hash, now, idle, SESSION_HOURS)).await?;
    Ok(session.map(|session| {
        let codes: Vec<&str> = session.roles.iter().map(|r| r.code()).collect();
        let words: Vec<&str> = session.roles.iter().map(|r| r.word()).collect();
        let local = now.at().with_timezone(&chrono::Local);
        let get = *req.method() == Method::GET;
        Signed {
            actor: Actor {
                service_id: Some(session.service.id),
                staff_id: Some(session.staff.id),
                name: session.staff.display_name,
                roles: codes.join("+"),
                request_id: facts.id.clone(),
                address: facts.address.clone(),
                session: Some(hash),
                shows_message: get && session.message.is_some(),
            },
            staff_id: session.staff.id,
            service: ServiceFacts {
                id: session.service.id,
                name: session.service.name,
                nation: session.service.nation,
                demo: session.service.demo,
                band_set: session.service.band_set,
                quantity_set: session.service.quantity_set,
                phone: session.service.phone,
                clinic: (session.service.clinic_opens, session.service.clinic_closes, session.service.slot_minutes),
            },
            roles: words.join(", "),
            may: permissions_of(&session.roles),
            form_token: session.form_token,
            message: session.message.filter(|_| get),
            undo: session.undo,
            lock_seconds: idle * 60,
            idle_until: Stamp::new(session.last_seen_at.at() + chrono::Duration::minutes(idle)),
            ends_at: Stamp::new(session.created_at.at() + chrono::Duration::hours(SESSION_HOURS)),
            time: local.format("%d-%b-%Y %H:%M").to_string(),
            locks_at: (local + chrono::Duration::minutes(idle)).format("%H:%M").to_string(),
            help_href: crate::help::address_for(&req.match_pattern().unwrap_or_default()),
        }
    }))
}

/// The page of an error.
#[derive(Template)]
#[template(path = "error.html")]
struct ErrorPage {
    shell: Shell,
    heading: String,
    text: String,
    back_href: String,
    back_words: String,
    request_id: String,
}

/// Turns every failure, ours and the framework's, into a page of ours.
fn failure_as_page(facts: &RequestFacts, answer: ServiceResponse<BoxBody>) -> ServiceResponse<BoxBody> {
    let status = answer.status();
    let ours = answer.response().extensions().get::<Failure>().cloned();
    let has_page = answer.headers().get(header::CONTENT_TYPE).is_some_and(|t| t.as_bytes().starts_with(b"text/html"));
    let failure = match ours {
        Some(failure) => failure,
        None if status.is_client_error() && !has_page => AppError::NotFound.failure(),
        None if status.is_server_error() && !has_page => AppError::Unknown.failure(),
        None => return answer,
    };
    // Of the demonstration also what nobody is signed in for says that it is one.
    let state = answer.request().app_data::<web::Data<State>>();
    let demo = state.is_some_and(|state| !state.demo_sign_ins.is_empty());
    let shell = answer.request().extensions().get::<Signed>().map_or_else(
        || assets::anonymous_shell(&failure.title, demo),
        |signed| signed.shell(failure.title.clone(), ""),
    );
    let page = ErrorPage {
        shell,
        heading: failure.title,
        text: failure.text,
        back_href: failure.back.0,
        back_words: failure.back.1,
        request_id: facts.id.clone(),
    };
    let status = if status.is_success() { StatusCode::INTERNAL_SERVER_ERROR } else { failure.status };
    let body = page.render().unwrap_or_else(|_| format!("Something went wrong. Number: {}", facts.id));
    let response = HttpResponse::build(status).content_type("text/html; charset=utf-8").body(body);
    ServiceResponse::new(answer.request().clone(), response)
}
