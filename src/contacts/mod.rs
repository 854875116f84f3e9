//! Contacts: what happened, planned or not; and the clinic form in which a review is recorded.

pub mod clinic;
pub mod clinic_form;
pub mod clinic_page;
pub mod store;
