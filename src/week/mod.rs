//! The week: who needs seeing, how soon and why; booking, ringing, deferring, recording an outcome; day sheet and
//! downtime sheet.
//!
//! Urgency is decided in `urgency`; `store` keeps one narrow row per patient, rewritten in the transaction that
//! changes any fact it derives from; how many days something is overdue is worked out when the list is read.

pub mod acts;
pub mod handlers;
pub mod pages;
pub mod sheet_pages;
pub mod sheet_words;
pub mod sheets;
pub mod shown;
pub mod slots;
pub mod store;
pub mod undo;
