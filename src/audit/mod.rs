//! The audit log: who saw or changed what, in one chain. Append only; this room has no way to change an event.
//!
//! `event` what is said, `rules` the chain (pure), `store` appending and verifying, `handlers`/`pages` the log's page.

mod event;
pub mod rules;
pub mod store;

pub use event::{Action, Event, Outcome};
pub use store::{append, view};
