//! The service's own facts: the steps of setting it up, its name, sites, clinic hours, and what it chose to follow.
//!
//! It decides nothing clinical and keeps no patient. Who may change something has `EditService`; who sees it has
//! `SetUpService`. Every page says what a change does before it is made.

pub mod choices;
pub mod pages;
pub mod settings;
pub mod sites;
pub mod steps;
pub mod store;
pub mod welcome;
