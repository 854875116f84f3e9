//! `roundel import caseload FILE.csv`: a clinic's spreadsheet, every row accepted or reported.

use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use indicatif::{ProgressBar, ProgressStyle};

use super::{Ended, records, settings};
use crate::access::store::services;
use crate::db::{Actor, Stamp};
use crate::display::counted;
use crate::exchange::bring_in::{self, Outcome};
use crate::exchange::caseload::{ColumnMap, Reading, read};

/// What can be brought in.
#[derive(Debug, Subcommand)]
pub enum Import {
    /// A clinic's caseload spreadsheet, saved as CSV
    Caseload(Caseload),
}

/// Which file, and how.
#[derive(Debug, Args)]
pub struct Caseload {
    /// The file
    file: PathBuf,
    /// Say what would be brought in and what is refused, and write nothing
    #[arg(long)]
    dry_run: bool,
    /// TOML file that says which heading is which field, as "Op date" = "`surgery_date`"
    #[arg(long)]
    map: Option<PathBuf>,
    /// Name of the service, where there are several
    #[arg(long)]
    service: Option<String>,
}

impl Import {
    /// Runs it.
    pub fn run(self) -> Result<(), Ended> {
        let Self::Caseload(wanted) = self;
        wanted.run()
    }
}

fn bytes(file: &Path) -> Result<Vec<u8>, Ended> {
    std::fs::read(file).map_err(|e| Ended::Wrong(format!("{} cannot be read: {e}", file.display())))
}

impl Caseload {
    fn run(self) -> Result<(), Ended> {
        let sheet = bytes(&self.file)?;
        let map = match &self.map {
            None => None,
            Some(file) => {
                let text = String::from_utf8(bytes(file)?)
                    .map_err(|_| Ended::Wrong(format!("{} is no UTF-8 text", file.display())))?;
                Some(ColumnMap::parse(&text).map_err(|e| Ended::Wrong(e.to_string()))?)
            }
        };
        let settings = settings()?;
        let db = records(&settings)?;
        let today = db.clock().today();
        let reading = read(&sheet, map.as_ref(), today).map_err(|e| Ended::Wrong(e.to_string()))?;
        let held = db.read_now(services)?;
        let service = match (&self.service, held.as_slice()) {
            (_, []) => {
                return Err(Ended::Wrong("there is no service yet: make one with `roundel staff add`".to_owned()));
            }
            (Some(name), held) => held.iter().find(|s| s.name == *name).cloned(),
            (None, [only]) => Some(only.clone()),
            (None, _) => {
                return Err(Ended::Wrong("there are several services: name one with --service \"…\"".to_owned()));
            }
        };
        let service = service.ok_or_else(|| Ended::Wrong("there is no service of this name".to_owned()))?;
        report_reading(&reading);
        let refuse = settings.refuse_test_numbers && !service.demo;
        let outcome = if self.dry_run {
            let now = Stamp::new(db.clock().now());
            db.read_now(|conn| bring_in::rehearse(conn, &reading, service.id, today, now, refuse))?
        } else {
            let style = ProgressStyle::with_template("{bar:40} {pos} of {len} patients");
            let bar = ProgressBar::new(0).with_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()));
            let shown = bar.clone();
            let actor = Actor::command("import caseload", Some(service.id));
            let outcome = db.write_now(&actor, move |tx| {
                let progress = Box::new(move |done: usize, total: usize| {
                    shown.set_length(total as u64);
                    shown.set_position(done as u64);
                });
                bring_in::bring_in(tx, &reading, today, refuse, progress)
            })?;
            bar.finish_and_clear();
            outcome
        };
        report_outcome(&outcome, self.dry_run);
        if outcome.problems.is_empty() { Ok(()) } else { Err(Ended::Failed(String::new())) }
    }
}

fn report_reading(reading: &Reading) {
    println!("Read as {}, cells parted by “{}”.", reading.encoding.words(), reading.delimiter);
    println!("Columns brought in:");
    for m in &reading.matches {
        println!("  {} → {}", m.header, m.field.code().replace('_', " "));
    }
    for left in &reading.not_brought_in {
        println!("  {} is left out: {}", left.header, left.why);
    }
    for note in &reading.notes {
        match note.row {
            Some(row) => println!("Row {row}: {}", note.text),
            None => println!("{}", note.text),
        }
    }
}

fn report_outcome(outcome: &Outcome, dry_run: bool) {
    for p in &outcome.problems {
        let column = if p.column.is_empty() { String::new() } else { format!(", {}", p.column) };
        println!("Row {}{column}: “{}”: {}", p.row, p.read, p.why);
    }
    let said = if dry_run { "would be added" } else { "added" };
    println!(
        "{} {said}, {} there already, {} {said} to those, {} refused.",
        counted(outcome.added, "patient"),
        outcome.there_already,
        counted(outcome.stomas_added, "stoma"),
        counted(outcome.rows_refused(), "row")
    );
    if dry_run {
        println!("Nothing was written.");
    }
}
