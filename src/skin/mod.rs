//! Skin under the adhesive: the score, its bands and what follows from it, and the assessments kept.
//!
//! `rules` decides (pure), `store` keeps what was found, who signed it and the version of the rule that scored it.

pub mod charts;
pub mod handlers;
pub mod pages;
pub mod rules;
pub mod store;
