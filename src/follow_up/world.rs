//! What reviews are planned from, loaded once for many patients: calendar, protocols in force, the day; and what a
//! change of any of it would do to one patient, without writing.

use std::collections::HashMap;
use std::sync::Arc;

use chrono::{Months, NaiveDate};

use super::rules::{
    Anchors, Construction, Difference, DifferenceRequest, EndReason, Ended, Existing, Mode, NotAdded, Permanence, Plan,
    PlanRequest, PlannedReview, Protocol, Status, StomaFacts, StomaKind, SurgeryType, WorkingDays, difference, plan,
    shipped_by_id,
};
use super::store::{self, Review};
use super::{calendar, protocols};
use crate::db::ids::{PatientId, ServiceId};
use crate::db::{Conn, StoreError};
use crate::patients::store::{self as patients, Patient};
use crate::stomas::store::{self as stomas, Stoma};

/// How far ahead reviews are planned, in months: two yearly ones are always in sight, and the daily task keeps at
/// least 18 months of them (local).
pub const MONTHS_AHEAD: u32 = 24;

/// Everything a plan depends on besides the patient.
#[derive(Clone, Debug)]
pub struct World {
    /// Whose.
    pub service: ServiceId,
    /// Working days.
    pub days: WorkingDays,
    /// The civil date.
    pub today: NaiveDate,
    /// Own protocols by code, in the version in force.
    own: HashMap<String, Arc<Protocol>>,
}

fn unreadable(what: &str, code: &str) -> StoreError {
    StoreError::Backend(format!("stored {what} {code} is not known"))
}

impl World {
    /// As it is on a day.
    pub fn load(conn: &mut Conn, service: ServiceId, today: NaiveDate) -> Result<Self, StoreError> {
        Ok(Self {
            service,
            days: calendar::of_service(conn, service)?,
            today,
            own: protocols::in_force(conn, service, today)?,
        })
    }

    /// The same with another calendar.
    #[must_use]
    pub fn with_days(mut self, days: WorkingDays) -> Self {
        self.days = days;
        self
    }

    /// The same with another text under the id of a protocol.
    #[must_use]
    pub fn with_protocol(mut self, id: &str, protocol: Arc<Protocol>) -> Self {
        self.own.insert(id.to_owned(), protocol);
        self
    }

    /// A protocol by the id that stomas keep: the service's own in force, or a shipped one.
    pub fn protocol(&self, id: &str) -> Result<&Protocol, StoreError> {
        let own = self.own.get(id).map(Arc::as_ref);
        own.or_else(|| shipped_by_id(id)).ok_or_else(|| unreadable("protocol", id))
    }

    /// The last day for which reviews are planned.
    pub fn until(&self) -> NaiveDate {
        self.today.checked_add_months(Months::new(MONTHS_AHEAD)).unwrap_or(self.today)
    }

    /// A stoma's plan from its facts.
    pub fn plan(
        &self,
        stoma: &Stoma,
        patient: &Patient,
        last_completed: Option<NaiveDate>,
    ) -> Result<Plan, StoreError> {
        Ok(plan(&PlanRequest {
            days: &self.days,
            until: self.until(),
            stoma: facts(stoma)?,
            anchors: Anchors {
                surgery: stoma.surgery_on,
                discharge: stoma.discharge_on,
                last_completed,
                reversal: stoma.reversal_on,
            },
            protocol: self.protocol(&stoma.protocol_id)?,
            ended: ended(stoma, patient)?,
        }))
    }

    /// What the facts would change in a stoma's reviews; `held` are all reviews of the patient.
    pub fn difference(
        &self,
        stoma: &Stoma,
        patient: &Patient,
        held: &[Review],
    ) -> Result<(Plan, Difference), StoreError> {
        let fresh = self.plan(stoma, patient, last_completed(stoma, held))?;
        let of_stoma = || held.iter().filter(|r| r.stoma_id == Some(stoma.id));
        let records: Vec<Existing> = of_stoma().map(existing).collect::<Result<_, _>>()?;
        let mut change = difference(&DifferenceRequest {
            stoma: stoma.id.0,
            existing: &records,
            plan: &fresh,
            today: self.today,
            days: &self.days,
            taken_on: Some(stoma.taken_on),
        });
        self.leave_out_the_past(stoma, held, &mut change);
        Ok((fresh, change))
    }
}

impl World {
    /// One open review for the past, not five: of the steps whose time has gone by, only the latest is added, and none
    /// when the patient was seen since its last day or a later step has had its turn. So neither a record that comes
    /// with a past nor another protocol calls in people for what is long over.
    fn leave_out_the_past(&self, stoma: &Stoma, held: &[Review], change: &mut Difference) {
        let seen = last_completed(stoma, held);
        let later = held
            .iter()
            .filter(|r| {
                r.stoma_id == Some(stoma.id)
                    && matches!(r.status.as_str(), "proposed" | "booked" | "fulfilled" | "noshow")
            })
            .map(|r| r.nominal_on)
            .filter(|on| *on <= self.today)
            .max();
        let latest = change.added.iter().filter(|r| r.latest < self.today).map(|r| r.nominal).max();
        let (kept, past) = std::mem::take(&mut change.added).into_iter().partition(|r| {
            let over = seen.is_some_and(|on| on >= r.latest) || later.is_some_and(|on| on > r.nominal);
            r.latest >= self.today || (Some(r.nominal) == latest && !over)
        });
        change.added = kept;
        change.not_added.extend(past.into_iter().map(|r: PlannedReview| NotAdded {
            step: r.step,
            occurrence: r.occurrence,
            nominal: r.nominal,
            reason: "its time has passed, and the patient was seen since or a later review stands for it".to_owned(),
        }));
    }
}

fn facts(stoma: &Stoma) -> Result<StomaFacts, StoreError> {
    Ok(StomaFacts {
        kind: StomaKind::from_code(&stoma.kind).ok_or_else(|| unreadable("kind", &stoma.kind))?,
        construction: Construction::from_code(&stoma.construction),
        permanence: Permanence::from_code(&stoma.permanence),
        surgery: SurgeryType::from_code(&stoma.surgery),
    })
}

/// How and when the follow-up of a stoma ended: the record's end, or the stoma's.
fn ended(stoma: &Stoma, patient: &Patient) -> Result<Option<Ended>, StoreError> {
    let of_stoma = stoma.reversed_on.map(|on| {
        let reason = if stoma.refashioned_as.is_some() { EndReason::Refashioned } else { EndReason::Reversed };
        Ended { reason, on }
    });
    let of_record = match (&patient.ended_reason, patient.ended_on) {
        (Some(reason), Some(on)) => {
            Some(Ended { reason: EndReason::from_code(reason).ok_or_else(|| unreadable("end", reason))?, on })
        }
        _ => None,
    };
    Ok(of_record.or(of_stoma))
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

/// A patient with what reviews are planned from.
#[derive(Clone, Debug)]
pub struct Held {
    /// Who.
    pub patient: Patient,
    /// All stomas, those not reversed first, then the newest surgery first.
    pub stomas: Vec<Stoma>,
    /// All reviews.
    pub reviews: Vec<Review>,
}

/// Several patients of a service, in the order of their ids.
pub fn held(conn: &mut Conn, service: ServiceId, ids: &[PatientId]) -> Result<Vec<Held>, StoreError> {
    let mut of_stomas: HashMap<PatientId, Vec<Stoma>> = HashMap::with_capacity(ids.len());
    for stoma in stomas::of_patients(conn, service, ids)? {
        of_stomas.entry(stoma.patient_id).or_default().push(stoma);
    }
    let mut of_reviews: HashMap<PatientId, Vec<Review>> = HashMap::with_capacity(ids.len());
    for review in store::of_patients(conn, service, ids)? {
        of_reviews.entry(review.patient_id).or_default().push(review);
    }
    let found = patients::find_all(conn, service, ids)?;
    Ok(found
        .into_iter()
        .map(|patient| {
            let mut stomas = of_stomas.remove(&patient.id).unwrap_or_default();
            stomas::put_in_order(&mut stomas);
            Held { stomas, reviews: of_reviews.remove(&patient.id).unwrap_or_default(), patient }
        })
        .collect())
}
