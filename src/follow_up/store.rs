//! All queries on reviews. What keeps them in step with the facts stands in `replan`.

use chrono::NaiveDate;
use diesel::prelude::*;

use crate::db::connection::MultiBackend;
use crate::db::ids::{PatientId, ReviewId, ServiceId, StaffId, StomaId};
use crate::db::schema::reviews;
use crate::db::{Conn, Doc, Stamp, StoreError, Tx};
use crate::on_each;
use crate::stomas::store::Stoma;

/// Rows of one statement: PostgreSQL takes 65,535 values, a review has 27.
const WRITTEN_TOGETHER: usize = 500;

/// A review.
#[derive(Clone, Debug, PartialEq, Queryable, Selectable, Insertable, AsChangeset, Identifiable)]
#[diesel(table_name = reviews, treat_none_as_null = true)]
#[diesel(check_for_backend(MultiBackend))]
pub struct Review {
    /// Id.
    pub id: ReviewId,
    /// Service.
    pub service_id: ServiceId,
    /// For whom.
    pub patient_id: PatientId,
    /// For which stoma.
    pub stoma_id: Option<StomaId>,
    /// Protocol that made it, or `by-hand`.
    pub protocol_id: String,
    /// Its version.
    pub protocol_version: i32,
    /// Step of the protocol; none when made by hand.
    pub step: Option<String>,
    /// Occurrence of the step.
    pub occurrence: i32,
    /// What it is called.
    pub title: String,
    /// clinic, phone, home, ward, video.
    pub mode: String,
    /// The date the offset gave.
    pub nominal_on: NaiveDate,
    /// First day allowed.
    pub earliest_on: Option<NaiveDate>,
    /// Last day allowed.
    pub latest_on: NaiveDate,
    /// The day it is planned for.
    pub planned_on: NaiveDate,
    /// HL7 FHIR R4 Appointment: proposed, booked, fulfilled, noshow, cancelled, entered-in-error.
    pub status: String,
    /// Why, in words.
    pub reasons: Doc,
    /// Booked for this day …
    pub booked_on: Option<NaiveDate>,
    /// … at this time, `HH:MM`.
    pub booked_time: Option<String>,
    /// Who sees to it.
    pub assigned_to: Option<StaffId>,
    /// Why it was deferred.
    pub deferred_reason: Option<String>,
    /// A person chose its day.
    pub by_hand: bool,
    /// Closed by a change of facts, not by a person.
    pub closed_by_plan: bool,
    /// Booked, but the plan now says otherwise: why.
    pub off_plan: Option<String>,
    /// Why it was closed.
    pub closed_reason: Option<String>,
    /// When.
    pub closed_on: Option<NaiveDate>,
    /// Row version.
    pub version: i32,
    /// Made.
    pub created_at: Stamp,
    /// Last changed.
    pub updated_at: Stamp,
}

impl Review {
    /// Still to take place.
    pub fn is_open(&self) -> bool {
        matches!(self.status.as_str(), "proposed" | "booked")
    }

    /// The day after which it is overdue. A review that the plan itself gave a later day than its last one (its time had
    /// passed when it was planned, or its day was no working day) is overdue after that day, not by months; one that a
    /// person deferred stays measured by its last day.
    pub fn overdue_after(&self) -> NaiveDate {
        if self.by_hand { self.latest_on } else { self.latest_on.max(self.planned_on) }
    }

    /// The day on which it should or will take place.
    pub fn due_on(&self) -> NaiveDate {
        self.booked_on.unwrap_or(self.planned_on)
    }
}

/// Reviews of a patient, by planned day.
pub fn of_patient(conn: &mut Conn, service: ServiceId, patient: PatientId) -> Result<Vec<Review>, StoreError> {
    Ok(reviews::table
        .filter(reviews::service_id.eq(service))
        .filter(reviews::patient_id.eq(patient))
        .order((reviews::planned_on, reviews::id))
        .select(Review::as_select())
        .load(conn)?)
}

/// Reviews of several patients.
pub fn of_patients(conn: &mut Conn, service: ServiceId, patients: &[PatientId]) -> Result<Vec<Review>, StoreError> {
    Ok(reviews::table
        .filter(reviews::service_id.eq(service))
        .filter(reviews::patient_id.eq_any(patients))
        .order((reviews::planned_on, reviews::id))
        .select(Review::as_select())
        .load(conn)?)
}

/// A review of this service.
pub fn find(conn: &mut Conn, service: ServiceId, id: ReviewId) -> Result<Review, StoreError> {
    Ok(reviews::table.find(id).filter(reviews::service_id.eq(service)).select(Review::as_select()).first(conn)?)
}

/// Adds one review made by hand.
pub fn add(tx: &mut Tx<'_>, review: &Review) -> Result<(), StoreError> {
    diesel::insert_into(reviews::table).values(review).execute(tx.conn())?;
    tx.touch(review.patient_id);
    Ok(())
}

/// Adds many at once.
pub fn add_all(tx: &mut Tx<'_>, added: &[Review]) -> Result<(), StoreError> {
    for some in added.chunks(WRITTEN_TOGETHER) {
        on_each!(tx.conn(), c => diesel::insert_into(reviews::table).values(some).execute(c))?;
    }
    Ok(())
}

/// Replaces a review; `changed` carries the version that was shown.
pub fn replace(tx: &mut Tx<'_>, changed: Review) -> Result<(), StoreError> {
    replaced(tx, changed).map(drop)
}

/// The same, and answers the review as it stands now.
pub fn replaced(tx: &mut Tx<'_>, changed: Review) -> Result<Review, StoreError> {
    let now = tx.now();
    let shown = changed.version;
    let patient = changed.patient_id;
    let after = Review { version: shown + 1, updated_at: now, ..changed };
    let target = reviews::table.find(after.id).filter(reviews::version.eq(shown));
    if diesel::update(target).set(&after).execute(tx.conn())? != 1 {
        return Err(StoreError::Stale);
    }
    tx.touch(patient);
    Ok(after)
}

/// A review made by a person for a day of their choice.
pub fn by_hand(
    stoma: &Stoma,
    title: &str,
    mode: &str,
    on: NaiveDate,
    reasons: &[String],
    now: Stamp,
) -> Result<Review, StoreError> {
    Ok(Review {
        id: ReviewId::new(),
        service_id: stoma.service_id,
        patient_id: stoma.patient_id,
        stoma_id: Some(stoma.id),
        protocol_id: "by-hand".to_owned(),
        protocol_version: 1,
        step: None,
        occurrence: 1,
        title: title.to_owned(),
        mode: mode.to_owned(),
        nominal_on: on,
        earliest_on: None,
        latest_on: on,
        planned_on: on,
        status: "proposed".to_owned(),
        reasons: Doc::of(&reasons)?,
        booked_on: None,
        booked_time: None,
        assigned_to: None,
        deferred_reason: None,
        by_hand: true,
        closed_by_plan: false,
        off_plan: None,
        closed_reason: None,
        closed_on: None,
        version: 1,
        created_at: now,
        updated_at: now,
    })
}

/// Times booked in a span of days, for suggesting a free slot.
pub fn booked_slots(
    conn: &mut Conn,
    service: ServiceId,
    from: NaiveDate,
    to: NaiveDate,
) -> Result<Vec<(NaiveDate, String)>, StoreError> {
    let rows: Vec<(Option<NaiveDate>, Option<String>)> = reviews::table
        .filter(reviews::service_id.eq(service))
        .filter(reviews::status.eq("booked"))
        .filter(reviews::booked_on.between(from, to))
        .select((reviews::booked_on, reviews::booked_time))
        .load(conn)?;
    Ok(rows.into_iter().filter_map(|(on, time)| on.zip(time)).collect())
}

/// Reviews booked for a day, by time.
pub fn booked_on(conn: &mut Conn, service: ServiceId, on: NaiveDate) -> Result<Vec<Review>, StoreError> {
    Ok(reviews::table
        .filter(reviews::service_id.eq(service))
        .filter(reviews::status.eq("booked"))
        .filter(reviews::booked_on.eq(on))
        .order((reviews::booked_time, reviews::id))
        .select(Review::as_select())
        .load(conn)?)
}
