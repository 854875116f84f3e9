//! The year ahead in numbers: open reviews by week, site and mode, as they stand and as they would be under another
//! protocol, worked out over the caseload without writing anything.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use chrono::{Datelike, Duration, NaiveDate, Weekday};
use diesel::prelude::*;

use super::caseload::{Whom, for_each};
use super::rules::{Protocol, WorkingDays};
use super::slots;
use super::store::Review;
use super::world::{Held, World};
use crate::db::ids::{PatientId, ServiceId, SiteId};
use crate::db::schema::{patients, reviews};
use crate::db::{Conn, StoreError};

/// Weeks looked ahead.
pub const WEEKS: usize = 52;

/// A site and a mode; no site: patients for whom none is set.
pub type Place = (Option<SiteId>, String);

/// Reviews of each of the [`WEEKS`] by place. What is overdue counts in the first week.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Demand {
    /// Counts by place.
    pub weeks: BTreeMap<Place, Vec<u32>>,
    /// Of the first week: due before it began.
    pub overdue: u32,
}

impl Demand {
    fn count(&mut self, monday: NaiveDate, place: Place, on: NaiveDate, by: i32) {
        let week = (on - monday).num_days().div_euclid(7);
        let at = usize::try_from(week.max(0)).unwrap_or(0);
        if at >= WEEKS {
            return;
        }
        let weeks = self.weeks.entry(place).or_insert_with(|| vec![0; WEEKS]);
        if let Some(count) = weeks.get_mut(at) {
            *count = count.saturating_add_signed(by);
        }
        if week < 0 {
            self.overdue = self.overdue.saturating_add_signed(by);
        }
    }

    /// All reviews of one week.
    pub fn of_week(&self, week: usize) -> u32 {
        self.weeks.values().filter_map(|counts| counts.get(week)).sum()
    }
}

/// The Monday of the week of a day.
pub fn monday(today: NaiveDate) -> NaiveDate {
    today.week(Weekday::Mon).first_day()
}

/// As the record stands.
pub fn as_planned(conn: &mut Conn, service: ServiceId, today: NaiveDate) -> Result<Demand, StoreError> {
    let monday = monday(today);
    let until = monday + Duration::weeks(52);
    let sites = Sites::load(conn, service)?;
    let rows: Vec<(PatientId, NaiveDate, Option<NaiveDate>, String)> = reviews::table
        .filter(reviews::service_id.eq(service))
        .filter(reviews::status.eq_any(["proposed", "booked"]))
        .filter(reviews::planned_on.lt(until).or(reviews::booked_on.lt(until)))
        .select((reviews::patient_id, reviews::planned_on, reviews::booked_on, reviews::mode))
        .load(conn)?;
    let mut demand = Demand::default();
    for (patient, planned, booked, mode) in rows {
        demand.count(monday, (sites.of(patient), mode), booked.unwrap_or(planned), 1);
    }
    Ok(demand)
}

/// Where patients are usually seen. A service with one site sees everybody there.
struct Sites {
    only: Option<SiteId>,
    set: HashMap<PatientId, SiteId>,
}

impl Sites {
    fn load(conn: &mut Conn, service: ServiceId) -> Result<Self, StoreError> {
        let rows: Vec<(PatientId, Option<SiteId>)> = patients::table
            .filter(patients::service_id.eq(service))
            .filter(patients::site_id.is_not_null())
            .select((patients::id, patients::site_id))
            .load(conn)?;
        let only = match slots::sites(conn, service)?.as_slice() {
            [(id, _)] => Some(*id),
            _ => None,
        };
        Ok(Self { only, set: rows.into_iter().filter_map(|(id, site)| site.map(|site| (id, site))).collect() })
    }

    fn of(&self, patient: PatientId) -> Option<SiteId> {
        self.set.get(&patient).copied().or(self.only)
    }
}

/// As it would be if everybody who follows the protocol `followed` followed this one from today.
pub fn what_if(
    conn: &mut Conn,
    world: &World,
    followed: &str,
    instead: Arc<Protocol>,
    now: &Demand,
) -> Result<Demand, StoreError> {
    let monday = monday(world.today);
    let world = world.clone().with_protocol(followed, instead);
    let mut demand = now.clone();
    let sites = Sites::load(conn, world.service)?;
    for_each(conn, world.service, &Whom::Following(followed.to_owned()), |held| {
        let Held { patient, stomas, reviews } = &held;
        for stoma in stomas.iter().filter(|s| s.protocol_id == followed) {
            let (_, change) = world.difference(stoma, patient, reviews)?;
            let find = |id: uuid::Uuid| reviews.iter().find(|r| r.id.0 == id);
            let mut take = |review: &Review, by: i32| {
                demand.count(monday, (sites.of(patient.id), review.mode.clone()), review.due_on(), by);
            };
            for id in change.moved.iter().map(|m| m.id).chain(change.closed.iter().map(|c| c.id)) {
                if let Some(review) = find(id) {
                    take(review, -1);
                }
            }
            for fresh in change.moved.iter().map(|m| &m.to).chain(&change.added) {
                demand.count(monday, (sites.of(patient.id), fresh.mode.code().to_owned()), fresh.planned, 1);
            }
        }
        Ok(())
    })?;
    Ok(demand)
}

/// Slots of a week: those of a usual week of five days, less the days that are closed, rounded down.
pub fn slots_of_week(usual: u32, days: &WorkingDays, monday: NaiveDate) -> u32 {
    let open = (0..5).filter(|day| days.is_working_day(monday + Duration::days(*day))).count();
    usual * u32::try_from(open).unwrap_or(0) / 5
}

/// The number of the ISO week.
pub fn week_number(monday: NaiveDate) -> u32 {
    monday.iso_week().week()
}
