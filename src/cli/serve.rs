//! `roundel serve`: the service, until it is told to stop.

use std::io::Write;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::time::Duration;

use super::{Ended, records, settings};
use crate::app;
use crate::audit::store::head;
use crate::clock::Clock;
use crate::db::Db;
use crate::follow_up::roll;
use crate::supplies::routine::check_words;
use crate::web::State;

/// How often the head of the audit log is noted outside the database.
const HEADS_EVERY: Duration = Duration::from_hours(1);

/// When it is first looked whether the daily task is due, and how often then.
const DAILY_FIRST_AFTER: Duration = Duration::from_mins(1);
const DAILY_LOOKS_EVERY: Duration = Duration::from_mins(5);

/// Serves with the settings of the environment.
pub fn run() -> Result<(), Ended> {
    let settings = settings()?;
    let db = records(&settings)?;
    let state = State {
        db,
        clock: Clock::system(),
        idle_minutes: settings.idle_minutes,
        refuse_test_numbers: settings.refuse_test_numbers,
        demo_sign_ins: std::sync::Arc::new([]),
    };
    let heads = settings.audit_heads.clone();
    serve(state, settings.listen, heads, |address| announce(&format!("Roundel listens on http://{address}")))
}

/// Says something on standard output, if anybody still listens there: a service must not end because they do not.
pub fn announce(text: &str) {
    let mut out = std::io::stdout().lock();
    drop(writeln!(out, "{text}").and_then(|()| out.flush()));
}

/// Serves until SIGINT or SIGTERM. `bound` hears the address.
pub fn serve(
    state: State,
    listen: SocketAddr,
    heads: Option<PathBuf>,
    bound: impl FnOnce(SocketAddr),
) -> Result<(), Ended> {
    // A language that lacks a message must not come to light when a patient waits for the paper.
    check_words().map_err(Ended::Failed)?;
    actix_web::rt::System::new().block_on(async move {
        let db = state.db.clone();
        let service = app::bind(state, listen)
            .map_err(|e| Ended::Failed(format!("{listen} cannot be listened on: {e}. Choose another port.")))?;
        // The server runs before it is announced: whoever reads the address may already ask it to stop.
        let running = actix_web::rt::spawn(service.server);
        actix_web::rt::time::sleep(Duration::from_millis(5)).await;
        bound(service.address);
        let daily = db.clone();
        actix_web::rt::spawn(async move {
            // The row of a run names the instance, so that one that stopped can be told from one at work.
            let instance = format!("{}-{}", std::process::id(), uuid::Uuid::now_v7().simple());
            // Not at once: whoever waits for the start wants pages first.
            actix_web::rt::time::sleep(DAILY_FIRST_AFTER).await;
            loop {
                let (db, me) = (daily.clone(), instance.clone());
                let run = actix_web::rt::task::spawn_blocking(move || roll::run_due(&db, &me)).await;
                match run {
                    Ok(Ok(runs)) => {
                        for run in runs {
                            tracing::info!(looked_at = run.looked_at, changed = run.changed, "the daily task is done");
                        }
                    }
                    Ok(Err(error)) => tracing::error!(%error, "the daily task could not be done"),
                    Err(error) => tracing::error!(%error, "the daily task was stopped"),
                }
                actix_web::rt::time::sleep(DAILY_LOOKS_EVERY).await;
            }
        });
        if let Some(file) = heads.clone() {
            note_head(&db, &file)?;
            let db = db.clone();
            actix_web::rt::spawn(async move {
                loop {
                    actix_web::rt::time::sleep(HEADS_EVERY).await;
                    if let Err(Ended::Failed(error) | Ended::Wrong(error)) = note_head(&db, &file) {
                        tracing::error!(%error, "the head of the audit log could not be noted");
                    }
                }
            });
        }
        running.await.map_err(|e| Ended::Failed(format!("the service ended badly: {e}")))??;
        if let Some(file) = heads {
            note_head(&db, &file)?;
        }
        Ok(())
    })
}

/// Appends number and hash of the last audit event to a file that should lie on another machine: what makes a
/// shortened log noticeable.
pub fn note_head(db: &Db, file: &Path) -> Result<(), Ended> {
    let (seq, hash) = db.read_now(head)?;
    let mut out = std::fs::OpenOptions::new().create(true).append(true).open(file)?;
    writeln!(out, "{seq} {}", hex::encode(hash))?;
    out.sync_all()?;
    Ok(())
}
