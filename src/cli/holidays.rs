//! `roundel holidays`: which bank holidays count, and loading another table of them.

use std::path::PathBuf;
use std::sync::Arc;

use clap::Subcommand;

use super::{Ended, records, settings};
use crate::access::store::services;
use crate::audit::{Event, append};
use crate::db::{Actor, Db, StoreError};
use crate::display::{counted, short_date};
use crate::follow_up::rules::Nation;
use crate::follow_up::rules::bank_holidays::{self, BankHolidays};
use crate::follow_up::{calendar, caseload, closures};

/// Bank holidays of the four nations
#[derive(Debug, Subcommand)]
pub enum Holidays {
    /// Say which table counts: its source, the day it was made, the years it knows
    Show,
    /// Load a table (a TOML file as the program ships one); planned reviews follow it, booked ones are only marked
    Load {
        /// The file
        file: PathBuf,
        /// Only say what would change
        #[arg(long)]
        dry_run: bool,
    },
    /// Write the table that counts, as a file to start from
    Write,
}

impl Holidays {
    pub(super) fn run(self) -> Result<(), Ended> {
        let db = records(&settings()?)?;
        match self {
            Self::Show => {
                let table = db.read_now(calendar::holidays)?;
                let loaded = db.read_now(calendar::loaded_table)?;
                println!("{} ({})", table.source.source, table.source.standing.words());
                if let Some(on) = table.loaded {
                    println!("Made on {}", short_date(on));
                }
                println!("Years {} to {}", table.first_year, table.last_year);
                match loaded {
                    Some(table) => println!("Loaded on {}", short_date(table.loaded_at.at().date_naive())),
                    None => println!("As shipped with the program"),
                }
                Ok(())
            }
            Self::Write => {
                let document = db.read_now(calendar::loaded_table)?.map(|table| table.document);
                print!("{}", document.as_deref().unwrap_or(bank_holidays::SHIPPED));
                Ok(())
            }
            Self::Load { file, dry_run } => load(&db, &file, dry_run),
        }
    }
}

fn load(db: &Db, file: &std::path::Path, dry_run: bool) -> Result<(), Ended> {
    let text = std::fs::read_to_string(file).map_err(|e| Ended::Wrong(format!("{}: {e}", file.display())))?;
    let name = file.file_name().map_or_else(|| file.display().to_string(), |n| n.to_string_lossy().into_owned());
    let table = Arc::new(bank_holidays::read(&name, &text).map_err(Ended::Wrong)?);
    let made_on = table.loaded.ok_or_else(|| Ended::Wrong(format!("{name}: say with `loaded` when it was made")))?;
    say_days(&*db.read_now(calendar::holidays)?, &table);
    let (today, all) = (db.clock().today(), db.read_now(services)?);
    let mut kept = false;
    for service in all {
        let nation = Nation::from_code(&service.nation)
            .ok_or_else(|| Ended::Failed(format!("stored nation {} is not known", service.nation)))?;
        let (of, with) = (service.id, Arc::clone(&table));
        let change = db.read_now(move |conn| closures::effect_of_table(conn, of, nation, &with, today))?;
        println!(
            "{}: {} added, {} moved, {} closed, {} booked and off plan, of {}",
            service.name,
            change.added,
            change.moved,
            change.closed,
            change.off_plan,
            counted(change.changed.len(), "patient")
        );
        if dry_run {
            continue;
        }
        let (text, source, with) = (text.clone(), table.source.source.to_string(), Arc::clone(&table));
        let actor = Actor::command("holidays load", Some(service.id));
        let keep = !kept;
        db.write_now(&actor, move |tx| {
            // The first service carries the table in; each has its own reviews moved in a transaction of its own.
            if keep {
                calendar::keep_table(tx, &text, &source, made_on)?;
            }
            let now = closures::effect_of_table(tx.conn(), of, nation, &with, today)?;
            caseload::touch_changed(tx, &now);
            let event = Event::update("bank-holidays").with("made-on", made_on).about_all(now.changed);
            append(tx, event).map(drop)
        })
        .map_err(|e: StoreError| e)?;
        kept = true;
    }
    if dry_run {
        println!("Nothing was written.");
    } else if !kept {
        return Err(Ended::Failed("There is no service yet: add the first member of staff, then load.".to_owned()));
    }
    Ok(())
}

/// Says which days come and go.
fn say_days(before: &BankHolidays, after: &BankHolidays) {
    for (_, nation) in Nation::ALL {
        let (old, new) = (before.of(*nation), after.of(*nation));
        for day in new.iter().filter(|d| old.iter().all(|o| o.on != d.on)) {
            println!("{}: new {} {}", nation.words(), day.on, day.name);
        }
        for day in old.iter().filter(|d| new.iter().all(|n| n.on != d.on)) {
            println!("{}: gone {} {}", nation.words(), day.on, day.name);
        }
    }
}
