//! Urgency: from what the record knows to how soon somebody should be seen, with the reasons in words.
//!
//! `rules` decides (pure); `known` gathers the signals that a record holds. The week and the clinic form both ask here.

pub mod known;
pub mod rules;

pub use known::{Known, RedFlag, Urgency, urgency_of_findings};
