//! How soon a patient should be seen: from signals to a band, a date and the reasons in words.
//!
//! Pure: no database, no HTTP, no clock, no configuration; "today", the working days and the thresholds come as
//! arguments. It sorts a list by what was reported; it must not diagnose, name a drug or replace a clinician's
//! judgement. The bands are a local proposal until a lead nurse signs them off: no UK bands for a nurse's list are
//! published.

pub mod band;
pub mod request;
pub mod signals;
pub mod thresholds;
mod thresholds_file;
pub mod urgency;

pub use band::Band;
pub use request::decide;
pub use signals::{Bleeding, Prolapse, Separation, Signal, Signals, StomaColour};
pub use thresholds::{Thresholds, ThresholdsError, shipped};
pub use urgency::{Decision, Reason, ReviewDates, decide_urgency};

/// The version of these rules; kept with every decision, together with the version of the thresholds.
pub const RULE_VERSION: &str = "urgency-1";

/// JSON Schema of what [`decide`] takes.
pub const SCHEMA: &str = include_str!("schema.json");
