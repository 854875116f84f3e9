//! People and roles: staff members, the table of permissions, passwords, sign-in, sessions.
//!
//! Nothing clinical. Sessions are opaque references; only their hash is stored.

pub mod account;
pub mod member;
pub mod pages;
pub mod passwords;
pub mod places;
pub mod roles;
pub mod secrets;
pub mod sessions;
pub mod setup;
pub mod sign_in;
pub mod staff;
pub mod store;
