//! Photographs of a stoma and the skin around it: with recorded consent, encoded anew, every view in the log.
//!
//! `picture` makes a clean picture of what was uploaded (pure), `store` keeps it in the database with the consent. It
//! must not show one from a place where it could be cached, and keeps nothing that the camera wrote into the file.

pub mod handlers;
pub mod pages;
pub mod picture;
pub mod store;
