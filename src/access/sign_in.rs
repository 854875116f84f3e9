//! Signing in and out, and the one-time link with which a new member of staff chooses a password.

use actix_web::cookie::{Cookie, SameSite};
use actix_web::http::StatusCode;
use actix_web::{HttpRequest, HttpResponse, web};
use serde::Deserialize;

use super::pages::{PasswordPage, SignInPage};
use super::{passwords, roles, secrets, setup, store};
use crate::audit::{Event, Outcome, append};
use crate::db::{Actor, Stamp, StoreError};
use crate::web::extract::{PostedBeforeSignIn, RequestFacts};
use crate::web::form_view::{ErrorSummary, Field, Width};
use crate::web::{Answer, PathOf, QueryOf, Signed, State, assets, page, see_other};

/// Name of the session cookie. `__Host-`: only this host, only over a secure connection, whole site.
pub const COOKIE: &str = "__Host-roundel";

/// Somebody who is not signed in yet.
fn nobody(facts: &RequestFacts) -> Actor {
    Actor {
        service_id: None,
        staff_id: None,
        name: "not signed in".to_owned(),
        roles: String::new(),
        request_id: facts.id.clone(),
        address: facts.address.clone(),
        session: None,
        shows_message: false,
    }
}

fn acting(facts: &RequestFacts, staff: &store::StaffRow, roles: &[roles::Role]) -> Actor {
    let codes: Vec<&str> = roles.iter().map(|r| r.code()).collect();
    Actor {
        service_id: Some(staff.service_id),
        staff_id: Some(staff.id),
        name: staff.display_name.clone(),
        roles: codes.join("+"),
        ..nobody(facts)
    }
}

fn cookie(value: String) -> Cookie<'static> {
    Cookie::build(COOKIE, value).path("/").secure(true).http_only(true).same_site(SameSite::Strict).finish()
}

/// Query of the sign-in page.
#[derive(Deserialize)]
pub struct Arriving {
    #[serde(default)]
    next: String,
    #[serde(default)]
    ended: bool,
    #[serde(default)]
    kept: bool,
    #[serde(default)]
    other: bool,
}

/// Address of the sign-in page that leads on to `next`; `ended` when a session was there, `kept` when a form was kept.
pub fn address(next: &str, ended: bool, kept: bool) -> String {
    let next = serde_html_form::to_string([("next", next)]).unwrap_or_default();
    format!("/sign-in?{next}{}{}", if ended { "&ended=true" } else { "" }, if kept { "&kept=true" } else { "" })
}

/// Only addresses of ours: no open redirect.
fn safe_next(next: &str) -> String {
    let ours =
        next.starts_with('/') && !next.starts_with("//") && !next.contains('\\') && !next.contains(char::is_control);
    if ours { next.to_owned() } else { String::new() }
}

/// Who was signed in at this screen before it locked: sign-in name and name.
type Before = Option<(String, String)>;

async fn before(state: &State, req: &HttpRequest) -> Result<Before, StoreError> {
    let Some(cookie) = req.cookie(COOKIE).filter(|c| !c.value().is_empty()) else { return Ok(None) };
    let (hash, now) = (secrets::hash(cookie.value()), Stamp::new(state.clock.now()));
    let session = state.db.read(move |conn| store::locked_session(conn, &hash, now)).await?;
    Ok(session.map(|s| (s.staff.sign_in_name, s.staff.display_name)))
}

/// What a sign-in page shows.
#[derive(Default)]
struct Shown<'a> {
    user: &'a str,
    next: &'a str,
    error: Option<String>,
    ended: bool,
    kept: bool,
    locked: Option<String>,
}

fn sign_in_page(state: &State, shown: Shown<'_>) -> SignInPage {
    let Shown { user, next, error, ended, kept, locked } = shown;
    let mut errors = ErrorSummary::none();
    let (at_user, at_password) = if locked.is_some() { (None, error) } else { (error, None) };
    let user =
        Field::new("user", "Sign-in name").value(user).autocomplete("username").error(at_user).width(Width::Full);
    let password =
        Field::new("password", "Password").autocomplete("current-password").error(at_password).width(Width::Full);
    errors.take(&user);
    errors.take(&password);
    let title = if errors.is_empty() { "Sign in" } else { "Error: Sign in" };
    SignInPage {
        shell: assets::anonymous_shell(title, !state.demo_sign_ins.is_empty()),
        errors,
        user,
        password,
        next: safe_next(next),
        notice: ended.then(|| "Your session has ended. Sign in again to go on.".to_owned()),
        locked,
        kept,
        demo_sign_ins: state.demo_sign_ins.to_vec(),
    }
}

/// `GET /sign-in`
pub async fn form(req: HttpRequest, state: web::Data<State>, query: QueryOf<Arriving>) -> Answer {
    let Arriving { next, ended, kept, other } = query.0;
    let before = if ended && !other { before(&state, &req).await? } else { None };
    let (user, locked) = before.unzip();
    let user = user.unwrap_or_default();
    let shown =
        Shown { user: &user, next: &next, ended: ended && !other, kept: kept && locked.is_some(), locked, error: None };
    page(StatusCode::OK, &sign_in_page(&state, shown))
}

/// What the sign-in form sends.
#[derive(Deserialize)]
pub struct SignIn {
    #[serde(default)]
    user: String,
    #[serde(default)]
    password: String,
    #[serde(default)]
    next: String,
    /// Set by the page of a locked screen.
    #[serde(default)]
    kept: bool,
}

/// One message whatever was wrong, so that nobody learns which names exist.
const NOT_RIGHT: &str = "The sign-in name or the password is not right";

/// `POST /sign-in`
pub async fn sign_in(
    req: HttpRequest,
    state: web::Data<State>,
    facts: RequestFacts,
    form: PostedBeforeSignIn<SignIn>,
) -> Answer {
    let form = form.0;
    // The page of a locked screen comes back as such, also when the password was wrong.
    let locked = before(&state, &req).await?.filter(|(user, _)| *user == form.user).map(|(_, name)| name);
    let again = |error: String| {
        let kept = form.kept && locked.is_some();
        let shown = Shown { user: &form.user, next: &form.next, error: Some(error), kept, locked, ended: false };
        sign_in_page(&state, shown)
    };
    let name = form.user.clone();
    let now = Stamp::new(state.clock.now());
    let found = state
        .db
        .read(move |conn| {
            let staff = store::staff_by_name(conn, &name)?;
            let roles = staff.as_ref().map(|s| store::roles_of(conn, s.id)).transpose()?.unwrap_or_default();
            Ok::<_, StoreError>((staff, roles))
        })
        .await?;
    let (staff, roles) = found;
    if let Some(until) = staff.as_ref().and_then(|s| s.locked_until).filter(|until| *until > now) {
        let wait = (until.at() - now.at()).num_seconds() + 1;
        let actor = staff.as_ref().map_or_else(|| nobody(&facts), |s| acting(&facts, s, &roles));
        let event = Event::execute("sign-in").outcome(Outcome::Refused).with("why", "too soon after failures");
        state.db.write(&actor, move |tx| append(tx, event).map(drop)).await.map_err(|e: StoreError| e)?;
        let text = format!("Too many attempts. Wait {wait} seconds, then try again");
        return page(StatusCode::TOO_MANY_REQUESTS, &again(text));
    }
    let stored = staff.as_ref().and_then(|s| s.password_hash.clone());
    let password = form.password.clone();
    let right = web::block(move || passwords::verify(&password, stored.as_deref()))
        .await
        .map_err(|_| crate::web::AppError::Busy)??;
    match staff {
        Some(staff) if right && staff.disabled_at.is_none() => {
            let reference = secrets::fresh()?;
            let token = secrets::fresh()?;
            let hash = secrets::hash(&reference);
            let actor = acting(&facts, &staff, &roles);
            let may = roles::permissions_of(&roles);
            let opened = state
                .db
                .write(&actor, move |tx| {
                    // Guesses made meanwhile may have closed the door.
                    if store::must_wait(tx, staff.id)? {
                        append(tx, Event::execute("sign-in").outcome(Outcome::Refused).with("why", "too soon"))?;
                        return Ok(None);
                    }
                    store::clear_failures(tx, staff.id)?;
                    store::open_session(tx, &staff, &hash, &token)?;
                    append(tx, Event::execute("sign-in").with("method", "password"))?;
                    setup::first_page(tx.conn(), staff.service_id, &may).map(Some)
                })
                .await
                .map_err(|e: StoreError| e)?;
            let Some(first) = opened else {
                let text = "Too many attempts. Wait a little, then try again".to_owned();
                return page(StatusCode::TOO_MANY_REQUESTS, &again(text));
            };
            let next = safe_next(&form.next);
            let mut answer = see_other(if next.is_empty() { first } else { &next });
            answer.add_cookie(&cookie(reference)).map_err(|_| crate::web::AppError::Unknown)?;
            Ok(answer)
        }
        staff => {
            let actor = staff.as_ref().map_or_else(|| nobody(&facts), |s| acting(&facts, s, &roles));
            state
                .db
                .write(&actor, move |tx| {
                    if let Some(staff) = &staff {
                        store::note_failure(tx, staff)?;
                    }
                    append(tx, Event::execute("sign-in").outcome(Outcome::Failed)).map(drop)
                })
                .await
                .map_err(|e: StoreError| e)?;
            page(StatusCode::UNPROCESSABLE_ENTITY, &again(NOT_RIGHT.to_owned()))
        }
    }
}

/// `POST /sign-out`
pub async fn sign_out(state: web::Data<State>, signed: Signed, _form: crate::web::Posted<Empty>) -> Answer {
    let hash = signed.actor.session.clone().unwrap_or_default();
    state
        .db
        .write(&signed.actor, move |tx| {
            store::end_session(tx, &hash)?;
            append(tx, Event::execute("sign-out")).map(drop)
        })
        .await
        .map_err(|e: StoreError| e)?;
    let mut answer = see_other("/sign-in");
    let mut gone = cookie(String::new());
    gone.make_removal();
    answer.add_cookie(&gone).map_err(|_| crate::web::AppError::Unknown)?;
    Ok(answer)
}

/// A form with nothing but its token.
#[derive(Deserialize)]
pub struct Empty {}

fn link_page(token: &str, name: &str, error: Option<(&str, String)>) -> PasswordPage {
    let mut errors = ErrorSummary::none();
    let at = |field: &str| error.as_ref().filter(|(f, _)| *f == field).map(|(_, text)| text.clone());
    let password = Field::new("password", "New password")
        .hint(format!("At least {} characters. Four or five unrelated words do well.", passwords::SHORTEST))
        .autocomplete("new-password")
        .width(Width::Full)
        .error(at("password"));
    let again = Field::new("again", "The same password again")
        .autocomplete("new-password")
        .width(Width::Full)
        .error(at("again"));
    errors.take(&password);
    errors.take(&again);
    PasswordPage {
        shell: assets::anonymous_shell("Choose a password", false),
        errors,
        heading: "Choose a password".to_owned(),
        intro: format!("For {name}. This page works once."),
        action: format!("/link/{token}"),
        current: None,
        password,
        again,
        facts: Vec::new(),
    }
}

/// `GET /link/{token}`
pub async fn link_form(state: web::Data<State>, path: PathOf<String>) -> Answer {
    let token = path.into_inner();
    let (hash, now) = (secrets::hash(&token), Stamp::new(state.clock.now()));
    let owner = state.db.read(move |conn| store::link_owner(conn, &hash, now)).await?;
    let owner = owner.ok_or_else(link_gone)?;
    page(StatusCode::OK, &link_page(&token, &owner.display_name, None))
}

fn link_gone() -> crate::web::AppError {
    crate::web::AppError::Unreadable(
        "This link was used already or has expired. Ask your administrator for a new one.".to_owned(),
    )
}

/// A new password, twice.
#[derive(Deserialize)]
pub struct NewPassword {
    #[serde(default)]
    pub(super) current: String,
    #[serde(default)]
    pub(super) password: String,
    #[serde(default)]
    pub(super) again: String,
}

impl NewPassword {
    /// What is wrong with it: field and words.
    pub(super) fn problem(&self, sign_in_name: &str) -> Option<(&'static str, String)> {
        if let Some(problem) = passwords::problem(&self.password, sign_in_name) {
            return Some(("password", problem));
        }
        (self.password != self.again).then(|| ("again", "Type the same password in both boxes".to_owned()))
    }
}

/// `POST /link/{token}`
pub async fn use_link(
    state: web::Data<State>,
    facts: RequestFacts,
    path: PathOf<String>,
    form: PostedBeforeSignIn<NewPassword>,
) -> Result<HttpResponse, crate::web::AppError> {
    let token = path.into_inner();
    let (hash, now) = (secrets::hash(&token), Stamp::new(state.clock.now()));
    let link = hash.clone();
    let owner = state.db.read(move |conn| store::link_owner(conn, &link, now)).await?.ok_or_else(link_gone)?;
    if let Some(problem) = form.0.problem(&owner.sign_in_name) {
        return page(StatusCode::UNPROCESSABLE_ENTITY, &link_page(&token, &owner.display_name, Some(problem)));
    }
    let password = form.0.password;
    let stored = web::block(move || passwords::hash(&password)).await.map_err(|_| crate::web::AppError::Busy)??;
    let actor = acting(&facts, &owner, &[]);
    let used = state
        .db
        .write(&actor, move |tx| {
            let used = store::use_link(tx, &hash)?;
            if used {
                store::set_password(tx, owner.id, &stored)?;
            }
            let outcome = if used { Outcome::Ok } else { Outcome::Refused };
            append(tx, Event::update("staff.password").with("by", "one-time link").outcome(outcome))?;
            Ok::<_, StoreError>(used)
        })
        .await?;
    if used { Ok(see_other("/sign-in")) } else { Err(link_gone()) }
}
