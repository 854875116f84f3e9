//! The steps of setting a service up: what is done, what is left, where each is done. None must be done.

use actix_web::http::StatusCode;
use actix_web::web;
use serde::Deserialize;

use super::pages::{ChosenView, StepView, WelcomePage};
use super::steps::{self, Known, ToDo};
use super::{choices, store};
use crate::access::setup::{self, Step};
use crate::access::store::{Service, service};
use crate::access::{places, store as people};
use crate::audit::{Event, append, view};
use crate::db::ids::ServiceId;
use crate::db::{Conn, StoreError};
use crate::display::counted;
use crate::follow_up::offered::{self, Offered};
use crate::web::{Answer, AppError, Permission, Posted, Signed, State, page, see_other};

/// What is known of the service for its steps.
pub fn known(conn: &mut Conn, id: ServiceId) -> Result<Known, StoreError> {
    Ok(Known {
        said: setup::done(conn, id)?,
        sites: places::of_service(conn, id)?.iter().filter(|site| site.closed_at.is_none()).count(),
        patients: store::patients(conn, id)?,
        people: store::colleagues(conn, id)?.0,
    })
}

struct Found {
    known: Known,
    of: Service,
    sites: Vec<String>,
    protocols: Vec<Offered>,
    waiting: usize,
}

fn load(conn: &mut Conn, id: ServiceId) -> Result<Found, StoreError> {
    let sites = places::of_service(conn, id)?;
    Ok(Found {
        known: known(conn, id)?,
        of: service(conn, id)?,
        sites: sites.into_iter().filter(|site| site.closed_at.is_none()).map(|site| site.name).collect(),
        protocols: offered::protocols(conn, id)?,
        waiting: store::colleagues(conn, id)?.1,
    })
}

fn facts(step: ToDo, found: &Found) -> Vec<ChosenView> {
    let (of, known) = (&found.of, &found.known);
    match step {
        ToDo::Facts => {
            let hours = format!("{} to {}, slots of {} minutes", of.clinic_opens, of.clinic_closes, of.slot_minutes);
            let phone = of.phone.clone().unwrap_or_else(|| "No telephone number, so none stands on prints".to_owned());
            vec![
                ChosenView::plain("Name", &of.name),
                ChosenView::plain("Nation", choices::nation_words(&of.nation)),
                ChosenView::plain("Clinic", hours),
                ChosenView::plain("Phone", phone),
            ]
        }
        ToDo::Sites if found.sites.is_empty() => vec![ChosenView::plain("", "None named yet.")],
        ToDo::Sites => vec![ChosenView::plain("", found.sites.join(", "))],
        ToDo::Protocols => choices::protocols_in_use(of, &found.protocols),
        ToDo::Quantities => vec![choices::quantities_in_use(of)],
        ToDo::Bands => vec![choices::bands_in_use(of)],
        ToDo::Import if known.patients == 0 => vec![ChosenView::plain("", "Nobody is on record yet.")],
        ToDo::Import => {
            let count = usize::try_from(known.patients).unwrap_or_default();
            vec![ChosenView::plain("", format!("{} on record.", counted(count, "patient")))]
        }
        ToDo::Colleagues if known.people < 2 => vec![ChosenView::plain("", "You are the only one with access.")],
        ToDo::Colleagues => {
            let waiting = match found.waiting {
                0 => String::new(),
                n => format!(" {n} of them have not chosen a password yet."),
            };
            vec![ChosenView::plain("", format!("{} people have access.{waiting}", known.people))]
        }
    }
}

/// `GET /welcome`
pub async fn steps(state: web::Data<State>, signed: Signed) -> Answer {
    let id = signed.service.id;
    let found = view(&state.db, &signed.actor, move |conn| Ok((load(conn, id)?, Event::read("service.steps")))).await?;
    let of_step = |(number, step): (usize, ToDo)| {
        let done = step.is_done(&found.known);
        let (permission, who) = step.needs();
        let may = signed.may(permission);
        StepView {
            number: number + 1,
            title: step.title(),
            sentence: step.sentence(),
            done,
            facts: facts(step, &found),
            act: may.then(|| (step.href(), if done { "Look again or change it" } else { step.title() })),
            who: (!may).then_some(who),
        }
    };
    let shown = WelcomePage {
        shell: signed.shell("Setting up", "/service"),
        words: steps::words(&found.known),
        steps: ToDo::ALL.into_iter().enumerate().map(of_step).collect(),
        finished: steps::left(&found.known) == 0,
        put_away: found.known.said.iter().any(|code| code == Step::PutAway.code()),
        week: signed.may(Permission::WorkTheWeek),
    };
    page(StatusCode::OK, &shown)
}

/// What the form under the steps sends.
#[derive(Deserialize)]
pub struct Act {
    #[serde(default)]
    act: String,
}

/// `POST /welcome`: puts the steps away, or takes them out again.
pub async fn act(state: web::Data<State>, signed: Signed, form: Posted<Act>) -> Answer {
    let away = match form.0.act.as_str() {
        "put-away" => true,
        "take-out" => false,
        _ => return Err(AppError::Unreadable("This act is not known. Open the page again.".to_owned())),
    };
    state
        .db
        .write(&signed.actor, move |tx| {
            if away {
                setup::settle(tx, Step::PutAway)?;
                people::say(tx, "The steps are put away. They stay under Service.")?;
            } else {
                setup::take_out(tx)?;
                people::say(tx, "The steps come first again after signing in.")?;
            }
            append(tx, Event::update("service.steps").with("put-away", away)).map(drop)
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other(if away { "/" } else { "/welcome" }))
}
