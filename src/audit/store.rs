//! Appending events and following the chain. There is no function that changes or removes an event.

use chrono::{NaiveDate, NaiveTime};
use diesel::prelude::*;

use super::event::Event;
use super::rules::{Broken, Canonical, Hash, Walk};
use crate::db::connection::MultiBackend;
use crate::db::ids::{EventId, PatientId, ServiceId, StaffId};
use crate::db::schema::{audit_events, audit_head, audit_subjects};
use crate::db::{Actor, Conn, Db, Stamp, StoreError, Tx};
use crate::on_each;

/// An event as it stands in the log.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = audit_events)]
#[diesel(check_for_backend(MultiBackend))]
pub struct EventRow {
    /// Number in the log, from 1.
    pub seq: i64,
    /// Id.
    pub id: EventId,
    /// Service, if any.
    pub service_id: Option<ServiceId>,
    /// When, UTC.
    pub at: Stamp,
    /// Who, if a person.
    pub staff_id: Option<StaffId>,
    /// Name at the time.
    pub staff_name: String,
    /// Role codes joined by `+`.
    pub roles: String,
    /// C, R, U, D or E.
    pub action: String,
    /// What.
    pub what: String,
    /// ok, refused, failed.
    pub outcome: String,
    /// Request id.
    pub request_id: String,
    /// From where.
    pub address: String,
    /// Details, JSON text exactly as hashed.
    pub detail: String,
    /// Hash of the event before.
    pub prev_hash: Vec<u8>,
    /// This event's hash.
    pub hash: Vec<u8>,
}

#[derive(Clone, Copy, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = audit_subjects)]
#[diesel(check_for_backend(MultiBackend))]
struct SubjectRow {
    seq: i64,
    service_id: ServiceId,
    patient_id: PatientId,
}

/// How many subject rows go into one statement: both databases cap the values of a statement (SQLite 32,766).
const SUBJECTS_PER_STATEMENT: usize = 5_000;

/// Appends one event inside the caller's transaction, chained to the one before.
pub fn append(tx: &mut Tx<'_>, event: Event) -> Result<i64, StoreError> {
    let actor = tx.actor();
    let at = tx.now();
    let conn = tx.conn();
    let (last, before): (i64, Vec<u8>) = audit_head::table.select((audit_head::seq, audit_head::hash)).first(conn)?;
    let seq = last + 1;
    let mut patients = event.patients;
    patients.sort_unstable();
    patients.dedup();
    if !patients.is_empty() && actor.service_id.is_none() {
        return Err(StoreError::NotFound); // patients belong to a service; nobody acts on them without one
    }
    let mut row = EventRow {
        seq,
        id: EventId::new(),
        service_id: actor.service_id,
        at,
        staff_id: actor.staff_id,
        staff_name: actor.name.clone(),
        roles: actor.roles.clone(),
        action: event.action.letter().to_owned(),
        what: event.what.to_owned(),
        outcome: event.outcome.code().to_owned(),
        request_id: actor.request_id.clone(),
        address: actor.address.clone(),
        detail: serde_json::Value::Object(event.detail).to_string(),
        prev_hash: before,
        hash: Vec::new(),
    };
    let names: Vec<String> = patients.iter().map(ToString::to_string).collect();
    row.hash = hash_of(&row, &names)?.to_vec();
    diesel::insert_into(audit_events::table).values(&row).execute(conn)?;
    if let Some(service_id) = actor.service_id {
        let subjects: Vec<SubjectRow> =
            patients.into_iter().map(|patient_id| SubjectRow { seq, service_id, patient_id }).collect();
        for part in subjects.chunks(SUBJECTS_PER_STATEMENT) {
            on_each!(conn, c => diesel::insert_into(audit_subjects::table).values(part).execute(c))?;
        }
    }
    diesel::update(audit_head::table.find(1))
        .set((audit_head::seq.eq(seq), audit_head::hash.eq(&row.hash)))
        .execute(conn)?;
    tx.count_event();
    Ok(seq)
}

/// Loads something to be shown and notes in the log, in the same transaction, that it was seen; answers only when the
/// event is on disk.
pub async fn view<T, F>(db: &Db, actor: &Actor, load: F) -> Result<T, StoreError>
where
    T: Send + 'static,
    F: FnOnce(&mut Conn) -> Result<(T, Event), StoreError> + Send + 'static,
{
    db.write(actor, move |tx| {
        let (value, event) = load(tx.conn())?;
        append(tx, event).map_err(|error| {
            tracing::error!(%error, "a view could not be logged; the page is withheld");
            StoreError::Busy("the audit log cannot be written".to_owned())
        })?;
        Ok(value)
    })
    .await
}

fn hash_of(row: &EventRow, patients: &[String]) -> Result<Hash, StoreError> {
    let before = &row.prev_hash;
    let before: Hash =
        before.as_slice().try_into().map_err(|_| StoreError::Backend("the audit head has no hash".to_owned()))?;
    Ok(with_canonical(row, patients, |event| event.hash(&before)))
}

fn with_canonical<T>(row: &EventRow, patients: &[String], f: impl FnOnce(&Canonical<'_>) -> T) -> T {
    let service = row.service_id.map(|id| id.to_string()).unwrap_or_default();
    let staff = row.staff_id.map(|id| id.to_string()).unwrap_or_default();
    f(&Canonical {
        seq: row.seq,
        id: &row.id.to_string(),
        service: &service,
        at: &row.at.canonical(),
        staff: &staff,
        staff_name: &row.staff_name,
        roles: &row.roles,
        action: &row.action,
        what: &row.what,
        outcome: &row.outcome,
        request_id: &row.request_id,
        address: &row.address,
        detail: &row.detail,
        patients,
    })
}

/// What a verification found when the log holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Verified {
    /// Number of the first event checked.
    pub first: i64,
    /// Number of the last event, which is the head.
    pub last: i64,
    /// Hash of the head.
    pub head: Hash,
}

/// Why a verification did not end well.
#[derive(Debug, thiserror::Error)]
pub enum VerifyError {
    /// The log does not hold.
    #[error(transparent)]
    Broken(#[from] Broken),
    /// It could not be read.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl From<diesel::result::Error> for VerifyError {
    fn from(error: diesel::result::Error) -> Self {
        Self::Store(error.into())
    }
}

/// A head noted earlier and elsewhere: number and hash.
pub type NotedHead = (i64, Vec<u8>);

const EVENTS_PER_READ: i64 = 2_000;

/// Recomputes the chain, from the first event of `from` (its predecessor's hash taken as given) or from the start,
/// and compares its end with the head row and every passed number with `noted` heads. `progress` hears how far it is.
pub fn verify(
    conn: &mut Conn,
    from: Option<NaiveDate>,
    noted: &[NotedHead],
    mut progress: impl FnMut(i64, i64),
) -> Result<Verified, VerifyError> {
    let (head_seq, head_hash): (i64, Vec<u8>) =
        audit_head::table.select((audit_head::seq, audit_head::hash)).first(conn)?;
    let mut walk = start_of(conn, from)?;
    let first = walk.last().0 + 1;
    loop {
        let after = walk.last().0;
        let rows: Vec<EventRow> = audit_events::table
            .filter(audit_events::seq.gt(after))
            .order(audit_events::seq)
            .limit(EVENTS_PER_READ)
            .select(EventRow::as_select())
            .load(conn)?;
        let (Some(low), Some(high)) = (rows.first().map(|r| r.seq), rows.last().map(|r| r.seq)) else { break };
        let subjects: Vec<SubjectRow> = audit_subjects::table
            .filter(audit_subjects::seq.between(low, high))
            .order((audit_subjects::seq, audit_subjects::patient_id))
            .select(SubjectRow::as_select())
            .load(conn)?;
        let mut subjects = subjects.into_iter().peekable();
        for row in &rows {
            let mut patients = Vec::new();
            while let Some(subject) = subjects.next_if(|s| s.seq <= row.seq) {
                if Some(subject.service_id) != row.service_id {
                    return Err(Broken::Edited(subject.seq).into());
                }
                if subject.seq == row.seq {
                    patients.push(subject.patient_id.to_string());
                }
            }
            with_canonical(row, &patients, |event| walk.step(event, &row.prev_hash, &row.hash))?;
            if let Some((seq, _)) = noted.iter().find(|(seq, hash)| *seq == row.seq && *hash != row.hash) {
                return Err(Broken::WrongHead(*seq).into());
            }
        }
        progress(walk.last().0, head_seq);
    }
    let last = walk.finish(head_seq, &head_hash)?;
    if let Some((seq, _)) = noted.iter().find(|(seq, _)| *seq > last) {
        return Err(Broken::Truncated { last, head: *seq }.into());
    }
    Ok(Verified { first, last, head: walk.last().1 })
}

fn start_of(conn: &mut Conn, from: Option<NaiveDate>) -> Result<Walk, VerifyError> {
    let Some(from) = from else { return Ok(Walk::from_start()) };
    let midnight = Stamp::new(from.and_time(NaiveTime::MIN).and_utc());
    let before: Option<(i64, Vec<u8>)> = audit_events::table
        .filter(audit_events::at.lt(midnight))
        .order(audit_events::seq.desc())
        .select((audit_events::seq, audit_events::hash))
        .first(conn)
        .optional()?;
    Ok(match before {
        Some((seq, hash)) => {
            let hash = hash.as_slice().try_into().map_err(|_| Broken::Edited(seq))?;
            Walk::after(seq, hash)
        }
        None => Walk::from_start(),
    })
}

/// The head: number and hash of the last event.
pub fn head(conn: &mut Conn) -> Result<(i64, Vec<u8>), StoreError> {
    Ok(audit_head::table.select((audit_head::seq, audit_head::hash)).first(conn)?)
}

/// What an auditor asks for.
#[derive(Clone, Debug, Default)]
pub struct Question {
    /// Only this staff member's acts.
    pub staff: Option<StaffId>,
    /// Only what begins so.
    pub what: Option<String>,
    /// Only this outcome.
    pub outcome: Option<String>,
    /// Only before this number: the next page.
    pub before: Option<i64>,
}

/// How many events a page shows.
pub const EVENTS_PER_PAGE: i64 = 100;

/// The newest events of a service that answer the question.
pub fn events(conn: &mut Conn, service: ServiceId, question: &Question) -> Result<Vec<EventRow>, StoreError> {
    let mut query = audit_events::table.filter(audit_events::service_id.eq(service)).into_boxed();
    if let Some(staff) = question.staff {
        query = query.filter(audit_events::staff_id.eq(staff));
    }
    if let Some(what) = &question.what {
        query = query.filter(audit_events::what.like(format!("{what}%")));
    }
    if let Some(outcome) = &question.outcome {
        query = query.filter(audit_events::outcome.eq(outcome.clone()));
    }
    if let Some(before) = question.before {
        query = query.filter(audit_events::seq.lt(before));
    }
    Ok(query.order(audit_events::seq.desc()).limit(EVENTS_PER_PAGE).select(EventRow::as_select()).load(conn)?)
}

/// Who saw or changed a patient's record, newest first.
pub fn events_about(
    conn: &mut Conn,
    service: ServiceId,
    patient: PatientId,
    before: Option<i64>,
) -> Result<Vec<EventRow>, StoreError> {
    let mut query = audit_subjects::table
        .inner_join(audit_events::table.on(audit_events::seq.eq(audit_subjects::seq)))
        .filter(audit_subjects::service_id.eq(service))
        .filter(audit_subjects::patient_id.eq(patient))
        .into_boxed();
    if let Some(before) = before {
        query = query.filter(audit_subjects::seq.lt(before));
    }
    Ok(query.order(audit_subjects::seq.desc()).limit(EVENTS_PER_PAGE).select(EventRow::as_select()).load(conn)?)
}
