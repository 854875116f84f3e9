//! Skin under the adhesive: the score, its bands and what follows from it, and the assessments kept.
//!
//! `rules` decides (pure), `store` keeps what was found, who signed it and the version of the rule that scored it;
//! `map_view` draws the clock map, `domains` asks for the score, `photographs` and `calibration` are pages of their own.

pub mod calibration;
pub mod charts;
pub mod domains;
pub mod handlers;
pub mod map_view;
pub mod maps;
pub mod pages;
pub mod photographs;
pub mod rules;
pub mod store;
