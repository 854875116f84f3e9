//! Stomas of a patient: kind, construction, surgery, discharge, size, place, reversal.
//!
//! Facts only. What is planned from them stands in `follow_up`.

pub mod forms;
pub mod store;
