//! The command line: one file per subcommand. Exit 0 done, 1 it does not hold or failed, 2 the input is wrong.

mod audit;
mod backup;
mod demo;
mod healthcheck;
mod holidays;
mod import;
mod migrate;
mod rules;
mod serve;
mod staff;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Parser, Subcommand};

use crate::clock::Clock;
use crate::config::Settings;
use crate::db::{Address, Db};

/// Caseload service of a stoma care nursing team.
///
/// Not a medical device. It keeps the record and works out dates, scores and quantities from published tables; it
/// diagnoses nothing and replaces no judgement.
#[derive(Debug, Parser)]
#[command(name = "roundel", version, max_term_width = 100)]
pub struct CommandLine {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Make an invented service and serve it on this machine, to look at and to learn with
    Demo(demo::Demo),
    /// Serve the pages (settings from ROUNDEL_* variables or the file that `ROUNDEL_CONFIG` names)
    Serve,
    /// Bring the database up to this program's version
    Migrate,
    /// Staff members
    #[command(subcommand)]
    Staff(staff::Staff),
    /// Bring a spreadsheet in
    #[command(subcommand)]
    Import(import::Import),
    /// Bank holidays of the four nations
    #[command(subcommand)]
    Holidays(holidays::Holidays),
    /// The audit log
    #[command(subcommand)]
    Audit(audit::Audit),
    /// Replay one decision: JSON on standard input, JSON on standard output
    Rules(rules::Rules),
    /// Write a consistent copy of the database to FILE, while it is served
    Backup {
        /// The copy; must not exist yet
        file: PathBuf,
    },
    /// Put a copy back; refuses to overwrite a database
    Restore {
        /// The copy
        file: PathBuf,
    },
    /// Ask a running service whether it is ready
    Healthcheck {
        /// Address of its /readyz, as 127.0.0.1:8080; what `ROUNDEL_LISTEN` or the settings file says if left out
        address: Option<String>,
    },
}

/// Why a command ends badly.
#[derive(Debug)]
pub enum Ended {
    /// It does not hold, or failed: exit 1.
    Failed(String),
    /// The input is wrong: exit 2.
    Wrong(String),
}

impl From<crate::db::StoreError> for Ended {
    fn from(error: crate::db::StoreError) -> Self {
        Self::Failed(error.to_string())
    }
}

impl From<std::io::Error> for Ended {
    fn from(error: std::io::Error) -> Self {
        Self::Failed(error.to_string())
    }
}

/// Runs a command; what goes wrong is one clear sentence on standard error.
pub fn run(line: CommandLine) -> ExitCode {
    let done = match line.command {
        Command::Demo(demo) => demo.run(),
        Command::Serve => serve::run(),
        Command::Migrate => migrate::run(),
        Command::Staff(staff) => staff.run(),
        Command::Import(import) => import.run(),
        Command::Holidays(holidays) => holidays.run(),
        Command::Audit(audit) => audit.run(),
        Command::Rules(rules) => rules.run(),
        Command::Backup { file } => backup::backup(&file),
        Command::Restore { file } => backup::restore(&file),
        Command::Healthcheck { address } => address
            .map_or_else(|| settings().map(|s| s.listen.to_string()), Ok)
            .and_then(|address| healthcheck::run(&address)),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(Ended::Failed(text)) => say(&text, 1),
        Err(Ended::Wrong(text)) => say(&text, 2),
    }
}

fn say(text: &str, code: u8) -> ExitCode {
    if !text.is_empty() {
        eprintln!("{text}");
    }
    ExitCode::from(code)
}

/// The settings, or all that is wrong with them.
fn settings() -> Result<Settings, Ended> {
    Settings::from_environment().map_err(|errors| Ended::Wrong(errors.join("\n")))
}

/// The records named by the settings.
fn records(settings: &Settings) -> Result<Db, Ended> {
    open(settings.database.clone(), settings.migrate)
}

fn open(address: Address, migrate: bool) -> Result<Db, Ended> {
    Ok(Db::open(address, Clock::system(), migrate, crate::derive::derive)?)
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    #[test]
    fn the_command_line_is_sound() {
        super::CommandLine::command().debug_assert();
    }
}
