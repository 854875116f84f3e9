//! Roundel
#![allow(missing_docs)]
pub mod audit;
pub mod clock;
pub mod db;
pub mod json_input;
pub mod provenance;
pub mod config;
pub mod web;
pub mod access;
pub mod app;
pub mod gate;
pub mod routes;
pub mod contacts;
pub mod dates_in;
pub mod derive;
pub mod display;
pub mod follow_up;
pub mod patients;
pub mod skin;
pub mod stomas;
pub mod supplies;
pub mod week;
