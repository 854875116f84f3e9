//! Follow-up: which reviews a stoma's dates ask for, kept in step with the facts.
//!
//! `rules` decides (pure); `store`, `protocols` and `calendar` keep; `world` works out what would change, `replan`
//! applies it. The protocols shipped stand in `protocols/`, one file each.

pub mod calendar;
pub mod handlers;
pub mod pages;
pub mod protocols;
pub mod replan;
pub mod rules;
pub mod store;
pub mod world;
