//! Roundel: the caseload service of a stoma care nursing team. The map of the crate, from the top floor down; a room may
//! use the rooms below it and none above (a test holds it to that).
//!
//! * **Top:** `main` and [`cli`] (one file per subcommand), [`app`] (bind), [`routes`] (every route with what it needs),
//!   [`gate`] (enforces that list), [`derive`] (what is made anew when a fact changes), [`demo`] (the invented service).
//! * **Pages over several rooms:** [`week`] (the list and its acts), [`record`] (one patient, search, the log),
//!   [`exchange`] (a spreadsheet brought in), [`service`] (setting the service up and changing its facts), [`help`].
//! * **The visit:** [`contacts`] (what happened, the clinic form).
//! * **How soon:** [`urgency`].
//! * **The engines and their pages:** [`follow_up`], [`skin`], [`supplies`]. What decides is in `rules`, pure.
//! * **Facts:** [`patients`], [`stomas`]; above them [`drafts`] (what was typed and not saved).
//! * **People and the log:** [`access`], then [`audit`]; beside them [`once`] (a form sent twice
//!   makes one thing) and [`undo`] (an act taken back).
//! * **Ground:** [`print`] (paper), [`db`] (the two doors), [`web`] (pages in general), [`config`], [`clock`], and the
//!   small pure helpers [`display`], [`dates_in`], [`provenance`], [`json_input`], [`words`] (what a patient reads).

pub mod access;
pub mod app;
pub mod audit;
pub mod cli;
pub mod clock;
pub mod config;
pub mod contacts;
pub mod dates_in;
pub mod db;
pub mod demo;
pub mod derive;
pub mod display;
pub mod drafts;
pub mod exchange;
pub mod follow_up;
pub mod gate;
pub mod help;
pub mod json_input;
pub mod once;
pub mod patients;
pub mod print;
pub mod provenance;
pub mod record;
pub mod routes;
pub mod service;
pub mod skin;
pub mod stomas;
pub mod supplies;
pub mod undo;
pub mod urgency;
pub mod web;
pub mod week;
pub mod words;
