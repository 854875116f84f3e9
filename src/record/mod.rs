//! One patient's record, put together from the rooms below: search, registering, the record page, corrections.
//!
//! Nothing is decided here: facts come from `patients` and `stomas`, plans from `follow_up`, scores from `skin`.

pub mod access;
pub mod confirm;
pub mod edit;
pub mod follow_up;
pub mod log;
pub mod page;
pub mod pages;
pub mod register;
pub mod search;
pub mod stoma;
pub mod timeline;
