//! The one writer of an SQLite file: a thread that takes waiting writes together and commits them as one.
//!
//! Group commit is what pays for `synchronous=FULL`: sixty-four waiting writers share one flush to disk. Each
//! write still stands or falls alone, in a savepoint of its own. An answer is given only after the commit.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::mpsc::{Receiver, Sender, channel};

use super::connection::{Conn, Manager};
use super::dialect;
use super::error::StoreError;

/// How many waiting writes share one commit. More gains nothing measurable and makes the first wait longer.
const MOST_TOGETHER: usize = 64;

/// One write: runs on the writer's connection inside the open transaction and hands back what to tell its caller
/// once the outcome of the commit is known.
pub type Job = Box<dyn FnOnce(&mut Conn) -> Answer + Send>;
/// Tells the caller the outcome; given the commit's own outcome.
pub type Answer = Box<dyn FnOnce(Result<(), StoreError>) + Send>;

/// Hands writes to the thread. The thread ends when the last of these is dropped.
#[derive(Clone)]
pub struct Writer {
    jobs: Sender<Job>,
}

impl Writer {
    /// Starts the thread on an opened connection.
    pub fn start(manager: Manager, conn: Conn) -> std::io::Result<Self> {
        let (jobs, waiting) = channel();
        std::thread::Builder::new().name("writer".to_owned()).spawn(move || serve(&manager, conn, &waiting))?;
        Ok(Self { jobs })
    }

    /// Queues one write.
    pub fn queue(&self, job: Job) -> Result<(), StoreError> {
        self.jobs.send(job).map_err(|_| StoreError::Busy("the writer has stopped".to_owned()))
    }
}

fn serve(manager: &Manager, first: Conn, waiting: &Receiver<Job>) {
    let mut conn = Some(first);
    while let Ok(job) = waiting.recv() {
        let mut jobs = vec![job];
        jobs.extend(waiting.try_iter().take(MOST_TOGETHER - 1));
        if conn.is_none() {
            conn = manager.open().map_err(|error| tracing::error!(%error, "the writer cannot open the database")).ok();
        }
        let Some(open) = conn.as_mut() else { continue }; // dropping the jobs tells their callers "busy"
        if !commit_together(open, jobs) {
            conn = None;
        }
    }
}

/// Runs the jobs in one transaction; false when the connection must not be used again.
fn commit_together(conn: &mut Conn, jobs: Vec<Job>) -> bool {
    if let Err(error) = dialect::begin_write(conn) {
        tracing::warn!(%error, "a write could not begin");
        return true; // the jobs are dropped, their callers are told "busy"
    }
    let mut answers = Vec::with_capacity(jobs.len());
    for job in jobs {
        if let Ok(answer) = catch_unwind(AssertUnwindSafe(|| job(conn))) {
            answers.push(answer);
        } else {
            tracing::error!("a write panicked; everything in its group is taken back");
            dialect::roll_back(conn);
            return false;
        }
    }
    let committed = dialect::commit(conn);
    let usable = committed.is_ok();
    if !usable {
        dialect::roll_back(conn);
    }
    let failure = committed.err().map(|e| e.to_string());
    for answer in answers {
        answer(failure.clone().map_or(Ok(()), |text| Err(StoreError::Busy(text))));
    }
    usable
}
