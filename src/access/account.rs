//! One's own account: what one may do, and changing the password.

use actix_web::http::StatusCode;
use actix_web::web;

use super::pages::PasswordPage;
use super::sign_in::NewPassword;
use super::{passwords, store};
use crate::audit::{Event, Outcome, append, view};
use crate::db::{Stamp, StoreError};
use crate::web::form_view::{ErrorSummary, Field, Width};
use crate::web::{Answer, AppError, Posted, Signed, State, page, see_other};

fn account_page(signed: &Signed, sign_in_name: &str, error: Option<(&str, String)>) -> PasswordPage {
    let mut errors = ErrorSummary::none();
    let field = |name: &str, label: &str, token: &str| {
        let text = error.as_ref().filter(|(f, _)| *f == name).map(|(_, text)| text.clone());
        Field::new(name, label).autocomplete(token).width(Width::Full).error(text)
    };
    let current = field("current", "Present password", "current-password");
    let password = field("password", "New password", "new-password")
        .hint(format!("At least {} characters. Four or five unrelated words do well.", passwords::SHORTEST));
    let again = field("again", "The same new password again", "new-password");
    for f in [&current, &password, &again] {
        errors.take(f);
    }
    PasswordPage {
        shell: signed.shell(if errors.is_empty() { "Account" } else { "Error: Account" }, "/account"),
        errors,
        heading: "Your account".to_owned(),
        intro: "Changing the password ends all your sessions; sign in again with the new one.".to_owned(),
        action: "/account/password".to_owned(),
        current: Some(current),
        password,
        again,
        facts: vec![
            ("Name".to_owned(), signed.actor.name.clone()),
            ("Sign-in name".to_owned(), sign_in_name.to_owned()),
            ("Roles".to_owned(), signed.roles.clone()),
            ("Service".to_owned(), signed.service.name.clone()),
        ],
    }
}

/// `GET /account`
pub async fn account(state: web::Data<State>, signed: Signed) -> Answer {
    let (service, id) = (signed.service.id, signed.staff_id);
    let me = view(&state.db, &signed.actor, move |conn| {
        Ok((store::staff_member(conn, service, id)?, Event::read("staff.account")))
    })
    .await?;
    page(StatusCode::OK, &account_page(&signed, &me.sign_in_name, None))
}

/// `POST /account/password`
pub async fn change_password(state: web::Data<State>, signed: Signed, form: Posted<NewPassword>) -> Answer {
    let (service, id) = (signed.service.id, signed.staff_id);
    let me = state.db.read(move |conn| store::staff_member(conn, service, id)).await?;
    let form = form.0;
    // A session left open is no place to guess from: the same waiting as at the door.
    if me.locked_until.is_some_and(|until| until > Stamp::new(state.clock.now())) {
        let problem = ("current", "Too many attempts. Wait a little, then try again".to_owned());
        return page(StatusCode::TOO_MANY_REQUESTS, &account_page(&signed, &me.sign_in_name, Some(problem)));
    }
    let (current, stored) = (form.current.clone(), me.password_hash.clone());
    let right =
        web::block(move || passwords::verify(&current, stored.as_deref())).await.map_err(|_| AppError::Busy)??;
    let problem = if right {
        form.problem(&me.sign_in_name)
    } else {
        Some(("current", "This is not your present password".to_owned()))
    };
    if let Some(problem) = problem {
        if !right {
            let event = Event::update("staff.password").outcome(Outcome::Failed);
            let row = me.clone();
            state
                .db
                .write(&signed.actor, move |tx| {
                    store::note_failure(tx, &row)?;
                    append(tx, event).map(drop)
                })
                .await
                .map_err(|e: StoreError| e)?;
        }
        return page(StatusCode::UNPROCESSABLE_ENTITY, &account_page(&signed, &me.sign_in_name, Some(problem)));
    }
    let hash = web::block(move || passwords::hash(&form.password)).await.map_err(|_| AppError::Busy)??;
    state
        .db
        .write(&signed.actor, move |tx| {
            store::set_password(tx, id, &hash)?;
            append(tx, Event::update("staff.password").with("by", "owner")).map(drop)
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other("/sign-in?ended=true"))
}
