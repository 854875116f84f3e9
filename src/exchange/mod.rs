//! What comes in from elsewhere and goes out to it. So far: a clinic's caseload spreadsheet.

pub mod bring_in;
pub mod caseload;
pub mod handlers;
pub mod pages;
