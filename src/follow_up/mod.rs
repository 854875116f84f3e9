//! Follow-up: which reviews a stoma's dates ask for, kept in step with the facts.
//!
//! `rules` decides (pure), `store` keeps. The protocols shipped stand in `protocols/`, one file each.

pub mod handlers;
pub mod offered;
pub mod pages;
pub mod rules;
pub mod store;
