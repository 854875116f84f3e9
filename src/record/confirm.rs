//! The page between a change of facts and its writing: what would become of the planned reviews. Nothing is written until
//! it is sent again with the seal of what was shown.

use actix_web::http::StatusCode;
use serde::Serialize;

use super::edit::Loaded;
use super::pages::ConfirmPage;
use crate::db::{Conn, StoreError};
use crate::follow_up::changes::{StomaChange, seal};
use crate::follow_up::pages::DifferenceView;
use crate::follow_up::store as reviews;
use crate::follow_up::world::World;
use crate::patients::banner::banner;
use crate::patients::store::Patient;
use crate::stomas::store::Stoma;
use crate::web::{Answer, AppError, Signed, State, page};

/// What would change for a patient whose facts were these.
pub fn preview(
    conn: &mut Conn,
    patient: &Patient,
    stomas: &[Stoma],
    today: chrono::NaiveDate,
) -> Result<Vec<StomaChange>, StoreError> {
    let world = World::load(conn, patient.service_id, today)?;
    let held = reviews::of_patient(conn, patient.service_id, patient.id)?;
    stomas.iter().map(|stoma| StomaChange::of(&world, stoma, patient, &held)).collect()
}

/// The page that asks.
pub struct Asked<'a> {
    /// Heading: what is about to be saved.
    pub heading: &'a str,
    /// Where the form goes.
    pub action: String,
    /// What the button says.
    pub button: &'a str,
    /// Where to go instead.
    pub back: String,
    /// Everything that was typed.
    pub hidden: Vec<(String, String)>,
    /// The seal that came with the form; not empty when something else was shown before.
    pub shown: &'a str,
}

/// `None` when the change may be written: nothing that is there would be moved or closed (or `always` was not asked
/// for), or exactly this was shown and confirmed. Else the page to answer with.
pub fn ask(
    state: &State,
    signed: &Signed,
    loaded: &Loaded,
    changes: &[StomaChange],
    always: bool,
    asked: Asked<'_>,
) -> Option<Answer> {
    let seal = seal(changes);
    let asks = changes.iter().any(StomaChange::asks) || (always && changes.iter().any(StomaChange::changes_anything));
    if !asks || asked.shown == seal {
        return None;
    }
    let shown = ConfirmPage {
        shell: signed.shell(asked.heading, "/patients"),
        banner: banner(&loaded.0, &loaded.1, state.clock.today()),
        heading: asked.heading.to_owned(),
        notice: (!asked.shown.is_empty())
            .then(|| "The record changed since the page was made. This is what would change now.".to_owned()),
        action: asked.action,
        button: asked.button.to_owned(),
        back: asked.back,
        hidden: asked.hidden,
        seal,
        changes: changes.iter().map(DifferenceView::of).collect(),
    };
    Some(page(StatusCode::OK, &shown))
}

/// A form as hidden fields.
pub fn hidden(form: &impl Serialize) -> Result<Vec<(String, String)>, AppError> {
    let text = serde_html_form::to_string(form);
    let fields = text.ok().and_then(|text| serde_html_form::from_str(&text).ok());
    fields.ok_or(AppError::Unknown)
}
