//! All tests in one program, so that a change links once. `tests/run` prepares what they need; see `docs/testing.md`.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests fail by panicking")]
#![allow(clippy::pedantic, clippy::zombie_processes, reason = "tests read as sentences; children end in Drop")]
#![allow(missing_docs, reason = "a test's name says what it holds")]

mod support;

mod access;
mod accessible;
mod architecture;
mod audit_log;
mod caseload_reading;
mod clinic_form;
mod commands;
mod demo_service;
mod display;
mod durability;
mod follow_up_rules;
mod help;
mod identifiers;
mod import_pages;
mod jobs;
mod likely;
mod look;
mod migrations;
mod patients;
mod print;
mod routes_guarded;
mod schema;
mod settings;
mod skin_rules;
mod staff_roles;
mod supplies_pages;
mod supply_rules;
mod urgency_rules;
mod week_list;
mod welcome;
