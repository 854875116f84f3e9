//! Help: what each page is for, the jobs step by step, how to take something back, and a printable guide for each role.
//!
//! Words only, kept in `topics.toml` and `guides.toml`: no patient, no setting, no database. Who is not signed in may read
//! it, because somebody who cannot sign in needs it most.

pub mod handlers;
pub mod pages;
pub mod words;

pub use words::address_for;
