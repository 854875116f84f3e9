//! `roundel audit verify`: recomputes the chain.

use std::path::PathBuf;

use chrono::NaiveDate;
use clap::{Args, Subcommand};
use indicatif::{ProgressBar, ProgressStyle};

use super::{Ended, records, settings};
use crate::audit::store::{NotedHead, VerifyError, verify};

/// The audit log.
#[derive(Debug, Subcommand)]
pub enum Audit {
    /// Recompute the chain; exit 1 and the first bad event if it does not hold
    Verify(Verify),
}

/// What to verify.
#[derive(Debug, Args)]
pub struct Verify {
    /// Begin with the first event of this day (YYYY-MM-DD); what came before is taken as given
    #[arg(long)]
    from: Option<NaiveDate>,
    /// File of heads noted outside the database (`ROUNDEL_AUDIT_HEADS`); without it, a log shortened together with its own
    /// head row is not noticed
    #[arg(long)]
    heads: Option<PathBuf>,
}

impl Audit {
    /// Runs it.
    pub fn run(self) -> Result<(), Ended> {
        let Self::Verify(wanted) = self;
        let settings = settings()?;
        let noted = match wanted.heads.or_else(|| settings.audit_heads.clone()) {
            Some(file) => read_heads(
                &std::fs::read_to_string(&file)
                    .map_err(|e| Ended::Wrong(format!("{} cannot be read: {e}", file.display())))?,
            )?,
            None => Vec::new(),
        };
        let db = records(&settings)?;
        let bar = ProgressBar::new(0).with_style(ProgressStyle::default_bar());
        let found = db.read_now(|conn| {
            Ok::<_, crate::db::StoreError>(verify(conn, wanted.from, &noted, |done, total| {
                bar.set_length(u64::try_from(total).unwrap_or(0));
                bar.set_position(u64::try_from(done).unwrap_or(0));
            }))
        })?;
        bar.finish_and_clear();
        match found {
            Ok(ok) if ok.last < ok.first => {
                println!("The log has no event from that day on; its head is event {}.", ok.last);
                Ok(())
            }
            Ok(ok) => {
                println!(
                    "The chain holds: events {} to {}, head {}, {} noted heads agree.",
                    ok.first,
                    ok.last,
                    hex::encode(ok.head),
                    noted.iter().filter(|(seq, _)| *seq >= ok.first).count()
                );
                Ok(())
            }
            Err(VerifyError::Broken(broken)) => Err(Ended::Failed(format!("The chain does not hold: {broken}"))),
            Err(VerifyError::Store(error)) => Err(error.into()),
        }
    }
}

fn read_heads(text: &str) -> Result<Vec<NotedHead>, Ended> {
    text.lines()
        .enumerate()
        .filter(|(_, line)| !line.trim().is_empty())
        .map(|(i, line)| {
            let mut parts = line.split_whitespace();
            let seq = parts.next().and_then(|n| n.parse().ok());
            let hash = parts.next().and_then(|h| hex::decode(h).ok());
            seq.zip(hash).ok_or_else(|| Ended::Wrong(format!("line {} of the heads is no head", i + 1)))
        })
        .collect()
}
