//! `roundel demo`: an invented service on this machine only.

use std::fmt::Write;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;

use clap::Args;
use indicatif::ProgressBar;

use super::{Ended, open, serve};
use crate::clock::Clock;
use crate::config::IDLE_MINUTES;
use crate::db::Address;
use crate::demo::{ACCOUNTS, PASSWORD, make};
use crate::web::State;

/// What the demonstration is made of.
#[derive(Debug, Args)]
pub struct Demo {
    /// Port on this machine; 0 takes any free one
    #[arg(long, default_value_t = 8080)]
    port: u16,
    /// Folder for the database; made if it is not there
    #[arg(long, default_value = "demo-data")]
    data: PathBuf,
    /// Invented patients
    #[arg(long, default_value_t = 48, value_parser = clap::value_parser!(u32).range(24..=50_000))]
    patients: u32,
    /// Another seed gives other people
    #[arg(long, default_value_t = 1)]
    seed: u64,
}

impl Demo {
    /// Makes the service on the first run, then serves it.
    pub fn run(self) -> Result<(), Ended> {
        std::fs::create_dir_all(&self.data)
            .map_err(|e| Ended::Wrong(format!("{} cannot be made: {e}", self.data.display())))?;
        let db = open(Address::Sqlite(self.data.join("demo.db")), true)?;
        let bar = ProgressBar::new(u64::from(self.patients));
        let made = make(&db, self.patients as usize, self.seed, |done, _| bar.set_position(done as u64))?;
        bar.finish_and_clear();
        let sign_ins: Vec<(String, String, String)> = ACCOUNTS
            .iter()
            .map(|(name, _, role)| ((*name).to_owned(), PASSWORD.to_owned(), role.word().to_owned()))
            .collect();
        let state = State {
            db,
            clock: Clock::system(),
            idle_minutes: IDLE_MINUTES,
            refuse_test_numbers: false,
            demo_sign_ins: sign_ins.into(),
        };
        // Loopback only: invented people need no guard, and nothing real may be typed in.
        let listen = SocketAddr::from((Ipv4Addr::LOCALHOST, self.port));
        serve::serve(state, listen, None, |address| {
            let mut said =
                if made { "The invented service is made.\n" } else { "The invented service was there already.\n" }
                    .to_owned();
            let _ = writeln!(said, "Open http://{address}/ and sign in:");
            for (name, _, role) in ACCOUNTS {
                let _ = writeln!(said, "  {name:<14} password “{PASSWORD}”  ({})", role.word());
            }
            said.push_str("Invented people only. Stop with Ctrl-C.");
            serve::announce(&said);
        })
    }
}
