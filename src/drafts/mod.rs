//! Drafts: what somebody typed into a form and has not saved. Kept on the server, for its author alone.
//!
//! A form takes part by naming its place (`forms`), showing a [`Draft`] in its page and dropping it when it is saved;
//! see "A draft for a form" in DEVELOPERS.md. A draft is never committed by itself, and nothing derives from it.

pub mod forms;
pub mod handlers;
pub mod lock;
pub mod store;

use serde::de::DeserializeOwned;

pub use forms::Place;
pub use store::{drop_at, kept};

use crate::audit::Event;
use crate::db::StoreError;
use crate::display;
use store::DraftRow;

/// What was kept of a form.
#[derive(Clone, Debug)]
pub struct Kept(DraftRow);

impl Kept {
    /// The form as it was typed. A field that the form no longer has is left out.
    pub fn form<T: DeserializeOwned>(&self) -> Result<T, StoreError> {
        let pairs = store::pairs(&self.0.body)?;
        let text = serde_html_form::to_string(&pairs).map_err(|e| StoreError::Backend(e.to_string()))?;
        serde_html_form::from_str(&text).map_err(|e| StoreError::Backend(format!("a draft: {e}")))
    }

    /// Notes in the event of the view that a draft was read.
    pub fn noted(kept: Option<&Self>, event: Event) -> Event {
        match kept {
            Some(kept) => event.with("draft", kept.0.id),
            None => event,
        }
    }

    /// "Wed 25-Nov-2026 at 10:42": when it was last kept.
    pub fn when(&self) -> String {
        let local = self.0.saved_at.at().with_timezone(&chrono::Local);
        format!("{} at {}", display::weekday_date(local.date_naive()), local.format("%H:%M"))
    }
}

/// The draft of a page, as `templates/parts/draft.html` shows it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Draft {
    /// Where the form lives; its hidden field `draft_at`. Empty: this page keeps no draft.
    pub place: String,
    /// When what stands in the form was kept, if the form was filled from a draft.
    pub from: Option<String>,
}

impl Draft {
    /// For a form at this place, filled from what was kept, if anything was.
    pub fn at(place: &Place, kept: Option<&Kept>) -> Self {
        Self { place: place.to_string(), from: kept.map(Kept::when) }
    }
}
