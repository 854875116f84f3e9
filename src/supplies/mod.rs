//! Supplies: catalogue of generic items, prescriptions by version, the summary for GP and dispenser.
//!
//! `rules` decides quantities and findings (pure); a signed prescription is never changed.

pub mod catalogue;
pub mod draft;
pub mod draft_page;
pub mod forms;
pub mod order;
pub mod pages;
pub mod paper;
pub mod patient_paper;
pub mod patient_words;
pub mod quantities;
pub mod routine;
pub mod routine_sheet;
pub mod rules;
pub mod signing;
pub mod store;
pub mod summary;
