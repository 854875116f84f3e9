//! All tests in one program, so that a change links once. `tests/run` prepares what they need; see `docs/testing.md`.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests fail by panicking")]
#![allow(clippy::pedantic, clippy::zombie_processes, reason = "tests read as sentences; children end in Drop")]
#![allow(missing_docs, reason = "a test's name says what it holds")]

mod support;

mod access;
mod accessible;
mod architecture;
mod audit_log;
mod calibration;
mod caseload_reading;
mod clinic_form;
mod clinic_map;
mod commands;
mod demo_service;
mod display;
mod drafts;
mod durability;
mod enhanced;
mod follow_up_pages;
mod follow_up_rules;
mod help;
mod identifiers;
mod import_pages;
mod jobs;
mod likely;
mod look;
mod map_in_browser;
mod migrations;
mod patient_words;
mod patients;
mod photographs;
mod print;
mod printed;
mod routes_guarded;
mod routine_pages;
mod schema;
mod settings;
mod sheets;
mod skin_rules;
mod staff_roles;
mod supplies_pages;
mod supply_rules;
mod twice;
mod undo;
mod urgency_rules;
mod week_list;
mod welcome;
