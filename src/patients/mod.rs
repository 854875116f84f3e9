//! Patients: who they are, their identifiers, search, duplicates, and how a record ends.
//! `rules` tells who may be whom; `likely` asks the records for it.
//!
//! No stoma, no review: the pages that put a patient together with those stand in `record`.

pub mod banner;
pub mod forms;
pub mod identifiers;
pub mod likely;
pub mod names;
pub mod parts;
pub mod rules;
pub mod store;
