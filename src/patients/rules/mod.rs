//! Who may be whom: the one set of rules by which two records are held to be alike. Pure.
//!
//! Used where a patient is registered, where patients are looked up, and where a spreadsheet is read. It must not decide
//! that two records are one person: it says what is alike, in words and points, and a person decides.
//!
//! The comparison is the one that patient-identification guidance asks for when a record is made and when it is looked
//! up (US Office of the National Coordinator, SAFER guide on patient identification, 2016: read): sounding name,
//! initial, birth date with the usual slips of the pen, number.

mod crowd;
mod likeness;
mod phonetic;

pub use crowd::{Crowd, near_dates};
pub use likeness::{
    BirthDates, DuplicateReason, LIKELY_FROM, Names, Person, compare_birth_dates, compare_names, similarity,
};
pub use phonetic::{phonetic_key, sound_alike};
