//! The demonstration: an invented service with invented people, the same for the same seed, dates counted from today.
//!
//! It writes through the same doors and rules as everybody; nothing here is used outside `roundel demo`.

mod chance;
mod history;
mod make;
mod people;
mod stories;
mod supplies;

pub use make::{ACCOUNTS, PASSWORD, make};
