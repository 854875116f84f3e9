//! Rolling on: the daily task that keeps reviews planned ahead, brings protocols into force on their day and mends what a
//! stopped change left behind. A row in the database decides which instance runs it, so it runs once a day however
//! many serve; one that stopped half-way is taken over.

use chrono::{Duration, NaiveDate};
use diesel::prelude::*;

use super::world::{World, held};
use crate::access::store::services;
use crate::audit::{Event, append};
use crate::db::connection::MultiBackend;
use crate::db::ids::{PatientId, RunId, ServiceId};
use crate::db::schema::task_runs;
use crate::db::{Actor, Conn, Db, Stamp, StoreError, Tx};
use crate::patients::store as patients;

/// The task's name in the table.
pub const TASK: &str = "follow-up";
/// Patients looked at together: a part is read, and what changes is written in one short transaction, so that pages do
/// not wait for the whole caseload.
const TOGETHER: i64 = 500;
/// A run that has not been heard of for so long has stopped: another instance takes it over.
const SILENT_MINUTES: i64 = 10;

/// One run for one service and day.
#[derive(Clone, Debug, Queryable, Selectable, Insertable, AsChangeset, Identifiable)]
#[diesel(table_name = task_runs, treat_none_as_null = true)]
#[diesel(check_for_backend(MultiBackend))]
pub struct Run {
    /// Id.
    pub id: RunId,
    /// Service.
    pub service_id: ServiceId,
    /// [`TASK`].
    pub task: String,
    /// The day it was due.
    pub for_day: NaiveDate,
    /// Which instance runs it.
    pub instance: String,
    /// When it began.
    pub started_at: Stamp,
    /// When it last said that it goes on.
    pub beat_at: Stamp,
    /// When it was done.
    pub finished_at: Option<Stamp>,
    /// Days before it on which nothing ran, because no instance served.
    pub days_missed: i32,
    /// Patients looked at.
    pub looked_at: i32,
    /// Patients whose reviews changed.
    pub changed: i32,
}

/// Runs of a service, newest first.
pub fn runs(conn: &mut Conn, service: ServiceId, most: i64) -> Result<Vec<Run>, StoreError> {
    Ok(task_runs::table
        .filter(task_runs::service_id.eq(service))
        .order(task_runs::for_day.desc())
        .limit(most)
        .select(Run::as_select())
        .load(conn)?)
}

/// Takes the day's run for this instance; `None` when it is done or another instance is at it. Writes queue one behind
/// the other in both databases, so two instances cannot both find the row missing.
fn claim(tx: &mut Tx<'_>, instance: &str, today: NaiveDate) -> Result<Option<Run>, StoreError> {
    let (service, now) = (tx.service()?, tx.now());
    let last = runs(tx.conn(), service, 1)?.into_iter().next();
    if let Some(run) = last.clone().filter(|run| run.for_day >= today) {
        let silent = run.beat_at.at() + Duration::minutes(SILENT_MINUTES) < now.at();
        if run.finished_at.is_some() || run.for_day > today || (!silent && run.instance != instance) {
            return Ok(None);
        }
        // Begun anew from the front: what is in step already costs only the reading.
        let taken = Run { instance: instance.to_owned(), beat_at: now, looked_at: 0, ..run };
        diesel::update(task_runs::table.find(taken.id)).set(&taken).execute(tx.conn())?;
        return Ok(Some(taken));
    }
    let missed = last.map_or(0, |run| (today - run.for_day).num_days() - 1);
    let run = Run {
        id: RunId::new(),
        service_id: service,
        task: TASK.to_owned(),
        for_day: today,
        instance: instance.to_owned(),
        started_at: now,
        beat_at: now,
        finished_at: None,
        days_missed: i32::try_from(missed).unwrap_or(i32::MAX),
        looked_at: 0,
        changed: 0,
    };
    diesel::insert_into(task_runs::table).values(&run).execute(tx.conn())?;
    Ok(Some(run))
}

fn actor(service: ServiceId) -> Actor {
    Actor::command("daily task", Some(service))
}

/// Runs what is due today, for every service. Answers the runs that this instance made.
pub fn run_due(db: &Db, instance: &str) -> Result<Vec<Run>, StoreError> {
    let today = db.clock().today();
    let mut made = Vec::new();
    for service in db.read_now(services)? {
        let me = instance.to_owned();
        // Looked up without writing first: most of the time there is nothing to do.
        let done = db.read_now(|conn| runs(conn, service.id, 1))?;
        if done.first().is_some_and(|run| run.for_day >= today && run.finished_at.is_some()) {
            continue;
        }
        let claimed = db.write_now(&actor(service.id), move |tx| {
            let claimed = claim(tx, &me, today)?;
            append(tx, Event::update("follow-up.daily").with("claimed", claimed.is_some()))?;
            Ok::<_, StoreError>(claimed)
        })?;
        if let Some(run) = claimed {
            made.push(carry_out(db, run, today)?);
        }
    }
    Ok(made)
}

/// Goes through the caseload in parts.
fn carry_out(db: &Db, mut run: Run, today: NaiveDate) -> Result<Run, StoreError> {
    let service = run.service_id;
    let mut after: Option<PatientId> = None;
    loop {
        let (last, looked_at, changing) = db.read_now(|conn| due(conn, service, today, after))?;
        after = last;
        run.looked_at += i32::try_from(looked_at).unwrap_or(0);
        run.changed += i32::try_from(changing.len()).unwrap_or(0);
        let done = last.is_none();
        let mut next = run.clone();
        run = db.write_now(&actor(service), move |tx| {
            next.beat_at = tx.now();
            next.finished_at = done.then(|| tx.now());
            let mine = task_runs::table.find(next.id).filter(task_runs::instance.eq(next.instance.clone()));
            if diesel::update(mine).set(&next).execute(tx.conn())? != 1 {
                // Another instance took it over meanwhile: it finishes the work.
                return Err(StoreError::Stale);
            }
            for patient in &changing {
                tx.touch(*patient);
            }
            let event = Event::update("follow-up.daily")
                .with("looked-at", next.looked_at)
                .with("changed", next.changed)
                .with("done", done)
                .about_all(changing);
            append(tx, event)?;
            Ok::<_, StoreError>(next)
        })?;
        if done {
            return Ok(run);
        }
    }
}

/// The next part: its last patient (none when there is none left), how many were looked at, who is not in step.
fn due(
    conn: &mut Conn,
    service: ServiceId,
    today: NaiveDate,
    after: Option<PatientId>,
) -> Result<(Option<PatientId>, usize, Vec<PatientId>), StoreError> {
    let world = World::load(conn, service, today)?;
    let ids = patients::ids_after(conn, service, after, TOGETHER)?;
    let mut changing = Vec::new();
    for held in held(conn, service, &ids)? {
        let mut out_of_step = false;
        for stoma in &held.stomas {
            let (_, change) = world.difference(stoma, &held.patient, &held.reviews)?;
            let marked = held.reviews.iter().any(|r| {
                let off = change.off_plan.iter().find(|o| o.id == r.id.0).map(|o| &o.reason);
                r.stoma_id == Some(stoma.id) && r.status == "booked" && off != r.off_plan.as_ref()
            });
            out_of_step |= marked || !change.changes_nothing();
        }
        if out_of_step {
            changing.push(held.patient.id);
        }
    }
    Ok((ids.last().copied(), ids.len(), changing))
}
