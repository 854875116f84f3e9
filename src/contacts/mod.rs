//! Contacts: what happened, planned or not; and the clinic form in which a review is recorded.

pub mod clinic;
pub mod clinic_advice;
pub mod clinic_form;
pub mod clinic_map;
pub mod clinic_map_page;
pub mod clinic_other;
pub mod clinic_page;
pub mod clinic_stoma;
pub mod clinic_words;
pub mod clinic_work;
pub mod clinic_write;
pub mod store;
