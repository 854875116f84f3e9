//! Reading a clinic's own caseload spreadsheet (CSV), as it is: odd headings, odd dates, two stomas in two rows.
//!
//! Pure: bytes in, [`Reading`] out. Nothing here writes a record, asks a clock or guesses: each row of the sheet ends up
//! in a patient or in the list of problems with row, column, what was read and why. The stages, each in its file:
//! `decode` (bytes to text) → `dialect` (text to cells) → `columns` (headings to fields) → `values`, `full_names` and
//! `stoma_words` (cell to value) → `rows` and `plausible` (cells to one row's facts) → `merge` (rows to patients) → `lookalikes`;
//! `read` joins them.

pub mod columns;
pub mod decode;
pub mod dialect;
pub mod facts;
pub mod fields;
pub mod full_names;
pub mod lookalikes;
pub mod merge;
pub mod plausible;
pub mod problems;
pub mod read;
mod row_person;
mod row_stoma;
pub mod rows;
pub mod stoma_words;
pub mod values;

pub use columns::{ColumnMap, ColumnMatch, How, NotBroughtIn};
pub use facts::{Allergies, EndWord, Ended, Gender, ImportedStoma};
pub use fields::Field;
pub use merge::ImportedPatient;
pub use problems::{FileProblem, Note, Problem};
pub use read::{Reading, Survey, read, survey};
