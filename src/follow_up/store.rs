//! All queries on reviews, and keeping them in step with the facts they are planned from.

use chrono::{Months, NaiveDate};
use diesel::prelude::*;

use super::rules::{
    Anchors, Construction, Difference, DifferenceRequest, EndReason, Ended, Existing, Mode, Nation, Permanence, Plan,
    PlanRequest, PlannedReview, Protocol, Status, StomaFacts, StomaKind, SurgeryType, WorkingDays, difference, plan,
    shipped_by_id,
};
use crate::access::store as services;
use crate::db::connection::MultiBackend;
use crate::db::ids::{PatientId, ReviewId, ServiceId, StaffId, StomaId};
use crate::db::schema::reviews;
use crate::db::{Conn, Doc, Stamp, StoreError, Tx};
use crate::on_each;
use crate::patients::store::{self as patients, Patient};
use crate::stomas::store::{self as stomas, Stoma};

/// How far ahead reviews are planned, in months. Two yearly reviews are always in sight.
pub const MONTHS_AHEAD: u32 = 24;

/// A review.
#[derive(Clone, Debug, Queryable, Selectable, Insertable, AsChangeset, Identifiable)]
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

/// Replaces a review; `changed` carries the version that was shown.
pub fn replace(tx: &mut Tx<'_>, changed: Review) -> Result<(), StoreError> {
    let now = tx.now();
    let shown = changed.version;
    let patient = changed.patient_id;
    let after = Review { version: shown + 1, updated_at: now, ..changed };
    let target = reviews::table.find(after.id).filter(reviews::version.eq(shown));
    if diesel::update(target).set(&after).execute(tx.conn())? != 1 {
        return Err(StoreError::Stale);
    }
    tx.touch(patient);
    Ok(())
}

/// The nation's calendar, or an error of the stored service.
pub fn working_days(nation: &str) -> Result<WorkingDays, StoreError> {
    let nation = Nation::from_code(nation).ok_or_else(|| unreadable("nation", nation))?;
    Ok(WorkingDays::new(nation, &[]))
}

fn unreadable(what: &str, code: &str) -> StoreError {
    StoreError::Backend(format!("stored {what} {code} is not known"))
}

/// The protocol of a stoma.
pub fn protocol(stoma: &Stoma) -> Result<&'static Protocol, StoreError> {
    shipped_by_id(&stoma.protocol_id).ok_or_else(|| unreadable("protocol", &stoma.protocol_id))
}

/// A stoma's plan from its facts, as of `today`.
pub fn plan_of(
    stoma: &Stoma,
    patient: &Patient,
    nation: &str,
    last_completed: Option<NaiveDate>,
    today: NaiveDate,
) -> Result<Plan, StoreError> {
    let protocol = protocol(stoma)?;
    let ended = match (&patient.ended_reason, patient.ended_on, stoma.reversed_on) {
        (Some(reason), Some(on), _) => {
            Some(Ended { reason: EndReason::from_code(reason).ok_or_else(|| unreadable("end", reason))?, on })
        }
        (_, _, Some(on)) => Some(Ended { reason: EndReason::Reversed, on }),
        _ => None,
    };
    let request = PlanRequest {
        nation: Nation::from_code(nation).ok_or_else(|| unreadable("nation", nation))?,
        closures: &[],
        until: today.checked_add_months(Months::new(MONTHS_AHEAD)).unwrap_or(today),
        stoma: StomaFacts {
            kind: StomaKind::from_code(&stoma.kind).ok_or_else(|| unreadable("kind", &stoma.kind))?,
            construction: Construction::from_code(&stoma.construction),
            permanence: Permanence::from_code(&stoma.permanence),
            surgery: SurgeryType::from_code(&stoma.surgery),
        },
        anchors: Anchors {
            surgery: stoma.surgery_on,
            discharge: stoma.discharge_on,
            last_completed,
            reversal: stoma.reversal_on,
        },
        protocol,
        ended,
    };
    Ok(plan(&request))
}

/// The last day on which the patient was seen for this stoma: a review that took place, or as told when they came.
pub fn last_completed(stoma: &Stoma, existing: &[Review]) -> Option<NaiveDate> {
    let done = existing.iter().filter(|r| r.stoma_id == Some(stoma.id) && r.status == "fulfilled");
    done.filter_map(|r| r.closed_on.or(Some(r.due_on()))).chain(stoma.last_seen_on).max()
}

fn existing(review: &Review) -> Result<Existing, StoreError> {
    Ok(Existing {
        id: review.id.0,
        stoma: review.stoma_id.map(|id| id.0).unwrap_or_default(),
        step: review.step.clone(),
        occurrence: u32::try_from(review.occurrence).unwrap_or(1),
        nominal: review.nominal_on,
        planned: review.due_on(),
        earliest: review.earliest_on,
        latest: review.latest_on,
        mode: Mode::from_code(&review.mode).ok_or_else(|| unreadable("mode", &review.mode))?,
        status: Status::from_code(&review.status).ok_or_else(|| unreadable("status", &review.status))?,
        by_hand: review.by_hand,
        closed_by_plan: review.closed_by_plan,
    })
}

/// What the facts of today would change in a stoma's reviews.
pub fn difference_of(
    stoma: &Stoma,
    patient: &Patient,
    nation: &str,
    held: &[Review],
    today: NaiveDate,
) -> Result<(Plan, Difference), StoreError> {
    let fresh = plan_of(stoma, patient, nation, last_completed(stoma, held), today)?;
    let records: Vec<Existing> = held.iter().map(existing).collect::<Result<_, _>>()?;
    let days = working_days(nation)?;
    let mut change = difference(&DifferenceRequest {
        stoma: stoma.id.0,
        existing: &records,
        plan: &fresh,
        today,
        days: &days,
        taken_on: Some(stoma.taken_on),
    });
    // A record that comes with a past: of the steps whose time has gone by, only the latest is due now.
    if !held.iter().any(|r| r.stoma_id == Some(stoma.id)) {
        let latest_past = change.added.iter().filter(|r| r.latest < today).map(|r| r.nominal).max();
        change.added.retain(|r| r.latest >= today || Some(r.nominal) == latest_past);
    }
    Ok((fresh, change))
}

/// Brings a patient's planned reviews in step with the facts. Running it twice changes nothing the second time.
pub fn replan(tx: &mut Tx<'_>, patient_id: PatientId) -> Result<(), StoreError> {
    let today = tx.now().at().with_timezone(&chrono::Local).date_naive();
    replan_as_of(tx, patient_id, today)
}

/// The same as it would have been on another day: for invented histories.
pub fn replan_as_of(tx: &mut Tx<'_>, patient_id: PatientId, today: NaiveDate) -> Result<(), StoreError> {
    let service_id = tx.service()?;
    let conn = tx.conn();
    let nation = services::service(conn, service_id)?.nation;
    let patient = patients::find(conn, service_id, patient_id)?;
    let stomas = stomas::of_patient(conn, service_id, patient_id)?;
    let held = of_patient(conn, service_id, patient_id)?;
    for stoma in &stomas {
        let (_, change) = difference_of(stoma, &patient, &nation, &held, today)?;
        apply(tx, stoma, &held, change, today)?;
    }
    Ok(())
}

fn title_of(protocol: &Protocol, step: &str) -> String {
    protocol.step(step).and_then(|s| s.title.clone()).unwrap_or_else(|| step.to_owned())
}

fn put_plan(review: &mut Review, fresh: &PlannedReview) -> Result<(), StoreError> {
    fresh.mode.code().clone_into(&mut review.mode);
    review.nominal_on = fresh.nominal;
    review.earliest_on = fresh.earliest;
    review.latest_on = fresh.latest;
    review.planned_on = fresh.planned;
    review.reasons = Doc::of(&fresh.reasons)?;
    Ok(())
}

fn apply(
    tx: &mut Tx<'_>,
    stoma: &Stoma,
    held: &[Review],
    change: Difference,
    today: NaiveDate,
) -> Result<(), StoreError> {
    let protocol = protocol(stoma)?;
    let now = tx.now();
    let find = |id: uuid::Uuid| held.iter().find(|r| r.id.0 == id).cloned().ok_or(StoreError::NotFound);
    let mut added = Vec::with_capacity(change.added.len());
    for fresh in &change.added {
        let mut review = Review {
            id: ReviewId::new(),
            service_id: stoma.service_id,
            patient_id: stoma.patient_id,
            stoma_id: Some(stoma.id),
            protocol_id: protocol.id.clone(),
            protocol_version: i32::try_from(protocol.version).unwrap_or(1),
            step: Some(fresh.step.clone()),
            occurrence: i32::try_from(fresh.occurrence).unwrap_or(1),
            title: title_of(protocol, &fresh.step),
            mode: String::new(),
            nominal_on: fresh.nominal,
            earliest_on: None,
            latest_on: fresh.latest,
            planned_on: fresh.planned,
            status: "proposed".to_owned(),
            reasons: Doc(serde_json::Value::Null),
            booked_on: None,
            booked_time: None,
            assigned_to: None,
            deferred_reason: None,
            by_hand: false,
            closed_by_plan: false,
            off_plan: None,
            closed_reason: None,
            closed_on: None,
            version: 1,
            created_at: now,
            updated_at: now,
        };
        put_plan(&mut review, fresh)?;
        added.push(review);
    }
    if !added.is_empty() {
        on_each!(tx.conn(), c => diesel::insert_into(reviews::table).values(&added).execute(c))?;
    }
    for moved in change.moved {
        let mut review = find(moved.id)?;
        put_plan(&mut review, &moved.to)?;
        review.by_hand = moved.by_hand;
        replace(tx, review)?;
    }
    for closed in change.closed {
        let review = Review {
            status: "cancelled".to_owned(),
            closed_by_plan: true,
            closed_reason: Some(closed.reason),
            closed_on: Some(today),
            ..find(closed.id)?
        };
        replace(tx, review)?;
    }
    for review in held.iter().filter(|r| r.stoma_id == Some(stoma.id) && r.status == "booked") {
        let off = change.off_plan.iter().find(|o| o.id == review.id.0).map(|o| o.reason.clone());
        if off != review.off_plan {
            replace(tx, Review { off_plan: off, ..review.clone() })?;
        }
    }
    Ok(())
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
