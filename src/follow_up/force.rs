//! Putting a draft into force from a day: only the lead may, and sees first what it would do to the caseload.

use std::sync::Arc;

use actix_web::http::StatusCode;
use actix_web::web;
use chrono::NaiveDate;
use serde::Deserialize;

use super::caseload::{CaseloadChange, Whom, compare, touch_changed};
use super::pages::{CaseloadView, ForcePage};
use super::protocol_pages::{Found, own_draft};
use super::protocols::{self, Own, Version};
use super::rules::step_words;
use super::world::World;
use crate::access::store::say;
use crate::audit::{Event, append, view};
use crate::db::StoreError;
use crate::web::form_view::{ErrorSummary, Field};
use crate::web::{Answer, AppError, PathOf, Posted, Signed, State, page, see_other};
use crate::{dates_in, display};

/// What the form sends.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct ForceForm {
    version: i32,
    from: String,
    /// The seal of what was shown; empty on the first sending.
    seal: String,
}

struct Loaded {
    own: Own,
    draft: Version,
    versions: Vec<Version>,
    change: CaseloadChange,
}

/// Loads the draft with what it would change today, logged as seen.
async fn load(state: &State, signed: &Signed, code: String) -> Result<Loaded, AppError> {
    let (service, today) = (signed.service.id, state.clock.today());
    // Worked out by a reader, for a caseload takes its time and a view is a write; then logged before it is shown.
    let sought = code.clone();
    let (found, change) = state
        .db
        .read(move |conn| {
            let found = Found::load(conn, service, &sought)?;
            let change = match found.draft() {
                Some(draft) => {
                    let text = Arc::new(draft.protocol()?);
                    let world = World::load(conn, service, today)?.with_protocol(&sought, text);
                    compare(conn, &world, &Whom::Following(sought.clone()))?
                }
                None => CaseloadChange::default(),
            };
            Ok::<_, StoreError>((found, change))
        })
        .await?;
    let seen: Vec<_> = change.shown.iter().map(|c| c.patient).collect();
    let event = Event::read("protocol.force").with("protocol", code).about_all(seen);
    view(&state.db, &signed.actor, move |_| Ok(((), event))).await?;
    let (own, draft, versions) = own_draft(found)?;
    Ok(Loaded { own, draft, versions, change })
}

fn build(
    signed: &Signed,
    loaded: &Loaded,
    form: &ForceForm,
    error: Option<String>,
    notice: Option<String>,
    today: NaiveDate,
) -> Result<ForcePage, StoreError> {
    let protocol = loaded.draft.protocol()?;
    let counting = protocols::counting(&loaded.versions, today);
    let said = match counting {
        Some(before) => step_words::compare(&before.protocol()?, &protocol),
        None => Vec::new(),
    };
    let from = Field::new("from", "In force from").value(&form.from).hint("today, or 1 Feb 2027").error(error);
    let mut errors = ErrorSummary::none();
    errors.take(&from);
    let heading = format!("Put version {} into force", loaded.draft.number);
    Ok(ForcePage {
        shell: signed
            .shell(if errors.is_empty() { heading.clone() } else { format!("Error: {heading}") }, "/protocols"),
        heading,
        title: protocol.title,
        code: loaded.own.code.clone(),
        errors,
        notice,
        version: loaded.draft.version.to_string(),
        seal: loaded.change.seal.clone(),
        from,
        first: counting.is_none(),
        said,
        change: CaseloadView::of(&loaded.change),
    })
}

/// `GET /protocols/{code}/force`
pub async fn form(state: web::Data<State>, signed: Signed, path: PathOf<String>) -> Answer {
    let loaded = load(&state, &signed, path.into_inner()).await?;
    let form = ForceForm { version: loaded.draft.version, ..ForceForm::default() };
    page(StatusCode::OK, &build(&signed, &loaded, &form, None, None, state.clock.today())?)
}

/// The day typed, or what is wrong with it.
fn read_from(form: &ForceForm, versions: &[Version], today: NaiveDate) -> Result<NaiveDate, String> {
    let from = dates_in::read_date(&form.from, today).map_err(|problem| problem.to_string())?;
    if from < today {
        return Err("A version comes into force today or later".to_owned());
    }
    match versions.iter().filter_map(|v| v.in_force_from.map(|on| (on, v.number))).max() {
        Some((on, number)) if from < on => Err(format!(
            "Version {number} comes into force on {}: choose that day or a later one",
            display::short_date(on)
        )),
        _ => Ok(from),
    }
}

/// `POST /protocols/{code}/force`: in one transaction the version comes into force and the reviews follow it. From a
/// later day the daily task brings the reviews in step on that day.
pub async fn force(state: web::Data<State>, signed: Signed, path: PathOf<String>, form: Posted<ForceForm>) -> Answer {
    let (code, form, today) = (path.into_inner(), form.0, state.clock.today());
    let loaded = load(&state, &signed, code.clone()).await?;
    if form.version != loaded.draft.version {
        return Err(StoreError::Stale.into());
    }
    let from = match read_from(&form, &loaded.versions, today) {
        Ok(from) => from,
        Err(words) => {
            let shown = build(&signed, &loaded, &form, Some(words), None, today)?;
            return page(StatusCode::UNPROCESSABLE_ENTITY, &shown);
        }
    };
    if form.seal != loaded.change.seal {
        let notice = "The records changed since this page was made. This is what would change now.".to_owned();
        return page(StatusCode::OK, &build(&signed, &loaded, &form, None, Some(notice), today)?);
    }
    let Loaded { own, draft, change, .. } = loaded;
    let to = format!("/protocols/{code}");
    let service = signed.service.id;
    state
        .db
        .write(&signed.actor, move |tx| {
            protocols::put_in_force(tx, draft.id, form.version, from)?;
            let mut about = Vec::new();
            if from <= today {
                let world = World::load(tx.conn(), service, today)?;
                let now = compare(tx.conn(), &world, &Whom::Following(own.code.clone()))?;
                if now.seal != change.seal {
                    return Err(StoreError::Stale);
                }
                touch_changed(tx, &now);
                about = now.changed;
            }
            let (when, changed) = (display::short_date(from), about.len());
            say(
                tx,
                &if from <= today {
                    format!("Version {} is in force; reviews of {changed} patients follow it.", draft.number)
                } else {
                    format!("Version {} comes into force on {when}; reviews follow it from that day.", draft.number)
                },
            )?;
            let event = Event::update("protocol.force")
                .with("protocol", own.code.clone())
                .with("version", draft.number)
                .with("from", from)
                .with("patients", changed)
                .about_all(about);
            append(tx, event).map(drop)
        })
        .await?;
    Ok(see_other(to))
}
