//! The administrator's page: who works here, with which roles, and one-time links. Never a default password.

use actix_web::http::StatusCode;
use actix_web::web;
use serde::Deserialize;
use validator::{Validate, ValidationErrors};

use super::member::{LAST_MANAGER, another_manages};
use super::pages::{StaffLine, StaffPage};
use super::roles::{self, Role};
use super::{secrets, store};
use crate::audit::{Event, Outcome, append, view};
use crate::db::ids::StaffId;
use crate::db::{Stamp, StoreError};
use crate::once;
use crate::web::form_view::{Choice, ErrorSummary, Field, Width};
use crate::web::{Answer, AppError, PathOf, Posted, Signed, State, page, see_other};

/// What the form for a new member of staff sends.
#[derive(Clone, Debug, Default, Deserialize, Validate)]
pub struct NewStaff {
    /// The form's own id: sending it twice makes one person.
    #[serde(default)]
    once: String,
    #[serde(default)]
    #[validate(length(min = 1, max = 80, message = "Enter the name as it should be printed"))]
    name: String,
    #[serde(default)]
    #[validate(length(
        min = 3,
        max = 80,
        message = "Enter a sign-in name of at least 3 letters, for example an email address"
    ))]
    sign_in_name: String,
    #[serde(default)]
    #[validate(length(max = 40, message = "Shorten the registration number to 40 characters"))]
    registration: String,
    #[serde(default)]
    #[validate(length(min = 1, message = "Choose at least one role"))]
    roles: Vec<String>,
}

fn message(errors: &ValidationErrors, field: &str) -> Option<String> {
    let found = errors.field_errors();
    found.get(field)?.first()?.message.as_ref().map(ToString::to_string)
}

fn words(roles: &[Role]) -> String {
    roles.iter().map(|r| r.word()).collect::<Vec<_>>().join(", ")
}

struct Shown {
    people: Vec<StaffLine>,
}

async fn load(state: &State, signed: &Signed) -> Result<Shown, AppError> {
    let service = signed.service.id;
    let now = Stamp::new(state.clock.now());
    let people = view(&state.db, &signed.actor, move |conn| {
        let mut lines = Vec::new();
        for row in store::everybody(conn, service)? {
            let roles = store::roles_of(conn, row.id)?;
            let state = if row.disabled_at.is_some() {
                "No access"
            } else if row.password_hash.is_none() {
                "Has not chosen a password yet"
            } else if row.locked_until.is_some_and(|until| until > now) {
                "Waiting after failed attempts"
            } else {
                "Has access"
            };
            lines.push(StaffLine {
                id: row.id.to_string(),
                name: row.display_name,
                sign_in_name: row.sign_in_name,
                roles: words(&roles),
                state: state.to_owned(),
                open: row.disabled_at.is_none(),
            });
        }
        Ok((lines, Event::read("staff.list")))
    })
    .await?;
    Ok(Shown { people })
}

fn build(
    signed: &Signed,
    shown: Shown,
    form: &NewStaff,
    errors: Option<&ValidationErrors>,
    link: Option<(String, String)>,
) -> StaffPage {
    let error = |field: &str| errors.and_then(|e| message(e, field));
    let name = Field::new("name", "Name").value(&form.name).width(Width::Full).error(error("name"));
    let sign_in_name = Field::new("sign_in_name", "Sign-in name")
        .value(&form.sign_in_name)
        .width(Width::Full)
        .error(error("sign_in_name"));
    let registration = Field::new("registration", "Registration number")
        .value(&form.registration)
        .optional()
        .error(error("registration"));
    let roles = Field::new("roles", "Roles").error(error("roles"));
    let role_choices = roles::ALL
        .into_iter()
        .map(|r| {
            Choice::new(r.code(), r.word()).hint(r.about()).checked(form.roles.iter().any(|code| code == r.code()))
        })
        .collect();
    let mut summary = ErrorSummary::none();
    for field in [&name, &sign_in_name, &registration, &roles] {
        summary.take(field);
    }
    StaffPage {
        shell: signed.shell(if summary.is_empty() { "Staff" } else { "Error: Staff" }, "/staff"),
        errors: summary,
        people: shown.people,
        link,
        name,
        sign_in_name,
        registration,
        roles,
        role_choices,
        once: if form.once.is_empty() { once::fresh() } else { form.once.clone() },
    }
}

/// `GET /staff`
pub async fn list(state: web::Data<State>, signed: Signed) -> Answer {
    let shown = load(&state, &signed).await?;
    page(StatusCode::OK, &build(&signed, shown, &NewStaff::default(), None, None))
}

/// `POST /staff`
pub async fn add(state: web::Data<State>, signed: Signed, form: Posted<NewStaff>) -> Answer {
    let form = form.0;
    let (sending, service) = (once::of(&form.once)?, signed.service.id);
    if let Some(made) = once::answered_already(&state.db, service, sending).await? {
        return again(&state, &signed, &made).await;
    }
    let mut checked = form.validate().err();
    let roles: Option<Vec<Role>> = form.roles.iter().map(|code| Role::from_code(code)).collect();
    if roles.is_none() {
        let error = validator::ValidationError::new("role").with_message("Choose roles of the list only".into());
        checked.get_or_insert_with(ValidationErrors::new).add("roles", error);
    }
    let wanted = form.sign_in_name.clone();
    let in_use = state.db.read(move |conn| store::staff_by_name(conn, &wanted)).await?.is_some();
    if in_use {
        let error =
            validator::ValidationError::new("taken").with_message("This sign-in name is taken. Choose another".into());
        checked.get_or_insert_with(ValidationErrors::new).add("sign_in_name", error);
    }
    let (None, Some(roles)) = (&checked, roles) else {
        // A name that is taken may be taken by the same form, written while this one was looked at.
        if let Some(made) = once::answered_already(&state.db, service, sending).await? {
            return again(&state, &signed, &made).await;
        }
        let shown = load(&state, &signed).await?;
        return page(StatusCode::UNPROCESSABLE_ENTITY, &build(&signed, shown, &form, checked.as_ref(), None));
    };
    let mut row = store::new_staff(signed.service.id, &form.sign_in_name, &form.name, Stamp::new(state.clock.now()));
    row.registration = Some(form.registration.trim().to_owned()).filter(|r| !r.is_empty());
    let (id, name) = (row.id, row.display_name.clone());
    let token = secrets::fresh()?;
    let hash = secrets::hash(&token);
    let made_before = state
        .db
        .write(&signed.actor, move |tx| {
            if let Some(made) = once::claim(tx, sending, &id.to_string())? {
                append(tx, Event::create("staff.member").outcome(Outcome::Refused).with("why", "sent twice"))?;
                return Ok(Some(made));
            }
            store::add_staff(tx, &row, &roles)?;
            store::add_link(tx, row.service_id, id, &hash)?;
            let codes: Vec<&str> = roles.iter().map(|r| r.code()).collect();
            append(tx, Event::create("staff.member").with("staff", id).with("roles", codes.join("+")))?;
            Ok::<_, StoreError>(None)
        })
        .await?;
    if let Some(made) = made_before {
        return again(&state, &signed, &made).await;
    }
    let shown = load(&state, &signed).await?;
    let link = Some((name, format!("/link/{token}")));
    page(StatusCode::OK, &build(&signed, shown, &NewStaff::default(), None, link))
}

/// The form of a new member sent again: one person, and a link that works, as the first time. The link shown then is
/// stored as a hash only, so this is a new one, and the earlier one works no more.
async fn again(state: &State, signed: &Signed, made: &str) -> Answer {
    let id: StaffId = made.parse().map_err(|_| AppError::NotFound)?;
    let service = signed.service.id;
    let member = state.db.read(move |conn| store::staff_member(conn, service, id)).await?;
    fresh_link(state, signed, member).await
}

async fn fresh_link(state: &State, signed: &Signed, member: store::StaffRow) -> Answer {
    let (service, id) = (signed.service.id, member.id);
    let token = secrets::fresh()?;
    let hash = secrets::hash(&token);
    state
        .db
        .write(&signed.actor, move |tx| {
            store::add_link(tx, service, id, &hash)?;
            append(tx, Event::create("staff.link").with("staff", id)).map(drop)
        })
        .await
        .map_err(|e: StoreError| e)?;
    let shown = load(state, signed).await?;
    let link = Some((member.display_name, format!("/link/{token}")));
    page(StatusCode::OK, &build(signed, shown, &NewStaff::default(), None, link))
}

/// What the small forms of the list send.
#[derive(Deserialize)]
pub struct Act {
    act: String,
}

/// `POST /staff/{id}`: a new link, or access taken away or given back.
pub async fn act(state: web::Data<State>, signed: Signed, path: PathOf<StaffId>, form: Posted<Act>) -> Answer {
    let id = path.into_inner();
    let service = signed.service.id;
    let member = state.db.read(move |conn| store::staff_member(conn, service, id)).await?;
    match form.0.act.as_str() {
        "link" => fresh_link(&state, &signed, member).await,
        "close" | "open" => {
            let open = form.0.act == "open";
            if !open && id == signed.staff_id {
                return Err(AppError::Conflict(
                    "You cannot take your own access away. Ask another administrator.".into(),
                ));
            }
            let done = state
                .db
                .write(&signed.actor, move |tx| {
                    let event = Event::update("staff.access").with("staff", id).with("open", open);
                    if !open && !another_manages(tx, id)? {
                        append(tx, event.outcome(Outcome::Refused).with("why", "last to manage staff"))?;
                        return Ok(false);
                    }
                    store::set_access(tx, service, id, open)?;
                    let said = if open { "has access again" } else { "has no access any more" };
                    store::say(tx, &format!("{} {said}.", member.display_name))?;
                    append(tx, event)?;
                    Ok::<_, StoreError>(true)
                })
                .await?;
            if done { Ok(see_other("/staff")) } else { Err(AppError::Conflict(format!("{LAST_MANAGER}."))) }
        }
        _ => Err(AppError::Unreadable("This act is not known. Open the page again.".to_owned())),
    }
}
