//! Sites: added, renamed, closed, opened again. None is removed, because what took place there stays true.

use actix_web::http::StatusCode;
use actix_web::web;
use serde::Deserialize;

use super::settings::{LONGEST_NAME, Typed, build, load};
use crate::access::places;
use crate::access::setup;
use crate::access::store::say;
use crate::audit::{Event, append};
use crate::db::StoreError;
use crate::db::ids::SiteId;
use crate::web::{Answer, AppError, PathOf, Posted, Signed, State, page, see_other};

/// What the forms of a site send.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct SiteForm {
    name: String,
    act: String,
}

/// The name tidied, or what is wrong with it. `others` are the names that other sites of the service have.
fn name(typed: &str, others: &[&str]) -> Result<String, String> {
    let name = typed.split_whitespace().collect::<Vec<_>>().join(" ");
    if name.is_empty() {
        return Err("Enter the name of the site as it should be printed".to_owned());
    }
    if name.chars().count() > LONGEST_NAME {
        return Err("Shorten the name of the site to 80 characters".to_owned());
    }
    if others.iter().any(|other| other.to_lowercase() == name.to_lowercase()) {
        return Err("Another site of your service has this name. Choose one that tells them apart".to_owned());
    }
    Ok(name)
}

/// The page again, with what was typed at the site's field.
async fn again(state: &State, signed: &Signed, field: String, typed: String, text: String) -> Answer {
    let loaded = load(state, signed).await?;
    let typed = Typed { facts: None, site: Some((field.clone(), typed)), wrong: vec![(field, text)] };
    page(StatusCode::UNPROCESSABLE_ENTITY, &build(signed, &loaded, &typed))
}

/// `POST /service/sites`
pub async fn add(state: web::Data<State>, signed: Signed, form: Posted<SiteForm>) -> Answer {
    let id = signed.service.id;
    let held = state.db.read(move |conn| places::of_service(conn, id)).await?;
    let others: Vec<&str> = held.iter().map(|site| site.name.as_str()).collect();
    let name = match name(&form.0.name, &others) {
        Ok(name) => name,
        Err(text) => return again(&state, &signed, "new_site".to_owned(), form.0.name, text).await,
    };
    let on = state
        .db
        .write(&signed.actor, move |tx| {
            let site = places::add(tx, &name)?;
            say(tx, &format!("The site {name} is added."))?;
            append(tx, Event::create("service.site").with("site", site))?;
            setup::way_on(tx.conn(), id, "/service")
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other(on))
}

/// `POST /service/sites/{id}`
pub async fn act(state: web::Data<State>, signed: Signed, path: PathOf<SiteId>, form: Posted<SiteForm>) -> Answer {
    let (id, site) = (signed.service.id, path.into_inner());
    let (of, held) = state
        .db
        .read(move |conn| Ok::<_, StoreError>((places::find(conn, id, site)?, places::of_service(conn, id)?)))
        .await?;
    let form = form.0;
    match form.act.as_str() {
        "rename" => {
            let others: Vec<&str> = held.iter().filter(|s| s.id != site).map(|s| s.name.as_str()).collect();
            let name = match name(&form.name, &others) {
                Ok(name) => name,
                Err(text) => return again(&state, &signed, format!("site-{site}"), form.name, text).await,
            };
            state
                .db
                .write(&signed.actor, move |tx| {
                    places::rename(tx, site, &name)?;
                    say(tx, &format!("{} is now called {name}.", of.name))?;
                    append(tx, Event::update("service.site").with("site", site).with("act", "rename")).map(drop)
                })
                .await
                .map_err(|e: StoreError| e)?;
        }
        "close" | "open" => {
            let open = form.act == "open";
            state
                .db
                .write(&signed.actor, move |tx| {
                    places::set_open(tx, site, open)?;
                    let said = if open { "is open again" } else { "is closed" };
                    say(tx, &format!("The site {} {said}.", of.name))?;
                    append(tx, Event::update("service.site").with("site", site).with("act", form.act)).map(drop)
                })
                .await
                .map_err(|e: StoreError| e)?;
        }
        _ => return Err(AppError::Unreadable("This act is not known. Open the page again.".to_owned())),
    }
    Ok(see_other("/service"))
}
