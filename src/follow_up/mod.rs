//! Follow-up: which reviews a stoma's dates ask for, kept in step with the facts.
//!
//! `rules` decides (pure); `store`, `protocols` and `calendar` keep; `world` works out what would change, `replan`
//! applies it. The protocols shipped stand in `protocols/`, one file each.

pub mod calendar;
pub mod caseload;
pub mod changes;
pub mod closures;
pub mod demand;
pub mod force;
pub mod offered;
pub mod pages;
pub mod picture;
pub mod protocol_form;
pub mod protocol_pages;
pub mod protocols;
pub mod replan;
pub mod roll;
pub mod rules;
pub mod runs_page;
pub mod slots;
pub mod store;
pub mod world;
pub mod year;
