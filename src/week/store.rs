//! The narrow row that the week's list reads of each patient, and how it is made from the facts.

use std::collections::{BTreeMap, HashMap};

use chrono::NaiveDate;
use diesel::prelude::*;

use crate::contacts::store::{self as contacts, Contact};
use crate::db::connection::MultiBackend;
use crate::db::ids::{AssessmentId, PatientId, ReviewId, ServiceId, StaffId, StomaId};
use crate::db::schema::week_rows;
use crate::db::{Conn, Doc, StoreError, Tx};
use crate::follow_up::store::Review;
use crate::follow_up::world::{Held, held};
use crate::on_each;
use crate::patients::identifiers::Identifier;
use crate::patients::names;
use crate::patients::store::{self as patients, Patient};
use crate::skin::maps;
use crate::skin::rules::MapCell;
use crate::skin::rules::map_words::by_hour;
use crate::skin::store::{self as skin, AssessmentRow, StomaFound, Symptoms};
use crate::stomas::store::Stoma;
use crate::urgency::Known;

/// What the list knows of one patient under care.
#[derive(Clone, Debug, PartialEq, Queryable, Selectable, Insertable)]
#[diesel(table_name = week_rows)]
#[diesel(check_for_backend(MultiBackend))]
pub struct WeekRow {
    /// Patient.
    pub patient_id: PatientId,
    /// Service.
    pub service_id: ServiceId,
    /// "SURNAME, Forename (Title)".
    pub name: String,
    /// Folded name for order.
    pub sort_name: String,
    /// Birth date.
    pub born_on: Option<NaiveDate>,
    /// The identifier shown, as displayed, with its label when it is no NHS number.
    pub identifier: Option<String>,
    /// The stoma the next review is for.
    pub stoma_id: Option<StomaId>,
    /// Its kind.
    pub stoma_kind: Option<String>,
    /// All stomas in words.
    pub stoma_words: String,
    /// Date of surgery of that stoma.
    pub surgery_on: Option<NaiveDate>,
    /// The next open review.
    pub review_id: Option<ReviewId>,
    /// What it is called.
    pub review_title: Option<String>,
    /// How it takes place.
    pub review_mode: Option<String>,
    /// proposed or booked.
    pub review_status: Option<String>,
    /// Its row version, for forms.
    pub review_version: Option<i32>,
    /// The day it should or will take place.
    pub due_on: Option<NaiveDate>,
    /// The day it is planned for.
    pub planned_on: Option<NaiveDate>,
    /// The day after which it is overdue: its last day, or the later day that the plan itself gave it.
    pub latest_on: Option<NaiveDate>,
    /// Booked for.
    pub booked_on: Option<NaiveDate>,
    /// At.
    pub booked_time: Option<String>,
    /// Who sees to it.
    pub assigned_to: Option<StaffId>,
    /// Last skin score.
    pub last_score: Option<i32>,
    /// The one before.
    pub previous_score: Option<i32>,
    /// Band of the last score by the set it was signed under.
    pub last_band: Option<String>,
    /// Known signals ask for more than the plan, whatever the day.
    pub urgent: bool,
    /// [`Known`].
    pub signals: Doc,
    /// Booked, but the plan says otherwise: why.
    pub off_plan: Option<String>,
}

fn known(stoma: Option<&Stoma>, held: &[Review], seen: &[AssessmentRow], contacted: bool) -> Result<Known, StoreError> {
    let mut known = Known::default();
    if let Some(last) = seen.first() {
        let symptoms: Symptoms = last.symptoms.read()?;
        let found: StomaFound = last.findings.read()?;
        let score = u32::try_from(last.score).unwrap_or(0);
        let previous = seen.get(1).and_then(|a| u32::try_from(a.score).ok());
        known = Known::of_assessment(&found, &symptoms, score, previous);
        known.assessed_on = Some(last.assessed_on);
    }
    let mut closed: Vec<&Review> =
        held.iter().filter(|r| matches!(r.status.as_str(), "fulfilled" | "noshow")).collect();
    closed.sort_by_key(|r| std::cmp::Reverse((r.closed_on, r.planned_on)));
    let missed = closed.iter().take_while(|r| r.status == "noshow").count();
    known.missed_in_a_row = u32::try_from(missed).ok().filter(|n| *n > 0);
    known.discharge_on = stoma.and_then(|s| s.discharge_on);
    known.first_contact_made = known.discharge_on.map(|_| contacted || !seen.is_empty());
    Ok(known)
}

/// What the rows of some patients are made from besides stomas and reviews.
struct Besides {
    seen: HashMap<PatientId, Vec<AssessmentRow>>,
    contacts: HashMap<PatientId, Vec<Contact>>,
    identifiers: HashMap<PatientId, Vec<Identifier>>,
    /// Maps of the last assessment of each stoma.
    maps: BTreeMap<AssessmentId, Vec<MapCell>>,
}

impl Besides {
    fn load(conn: &mut Conn, service: ServiceId, ids: &[PatientId]) -> Result<Self, StoreError> {
        let mut seen: HashMap<PatientId, Vec<AssessmentRow>> = HashMap::new();
        for row in skin::of_patients(conn, service, ids)? {
            seen.entry(row.patient_id).or_default().push(row);
        }
        let mut newest: Vec<AssessmentId> = Vec::new();
        for rows in seen.values() {
            let first = |nth: usize, a: &AssessmentRow| rows.iter().take(nth).all(|b| b.stoma_id != a.stoma_id);
            newest.extend(rows.iter().enumerate().filter(|(nth, a)| first(*nth, a)).map(|(_, a)| a.id));
        }
        let drawn = maps::of_assessments(conn, service, &newest)?;
        let mut held: HashMap<PatientId, Vec<Contact>> = HashMap::new();
        for contact in contacts::of_patients(conn, service, ids)? {
            held.entry(contact.patient_id).or_default().push(contact);
        }
        let identifiers = patients::identifiers_of_all(conn, service, ids)?;
        Ok(Self { seen, contacts: held, identifiers, maps: drawn })
    }

    /// The row of one patient; `None` when nothing is under care any more.
    fn row(&mut self, held: &Held) -> Result<Option<WeekRow>, StoreError> {
        let Held { patient, stomas, reviews } = held;
        if patient.ended_reason.is_some() {
            return Ok(None);
        }
        let under_care: Vec<&Stoma> = stomas.iter().filter(|s| s.reversed_on.is_none()).collect();
        if under_care.is_empty() && !stomas.is_empty() {
            return Ok(None);
        }
        let next = reviews.iter().filter(|r| r.is_open()).min_by_key(|r| (r.due_on(), r.id));
        let stoma =
            next.and_then(|r| under_care.iter().find(|s| Some(s.id) == r.stoma_id)).or(under_care.first()).copied();
        let mut seen = self.seen.remove(&patient.id).unwrap_or_default();
        seen.retain(|a| stoma.is_some_and(|s| s.id == a.stoma_id));
        let contacted =
            self.contacts.remove(&patient.id).unwrap_or_default().iter().any(|c| {
                c.outcome == "fulfilled" && stoma.and_then(|s| s.discharge_on).is_none_or(|on| c.held_on >= on)
            });
        let seen_before =
            stoma.is_some_and(|s| s.last_seen_on.zip(s.discharge_on).is_some_and(|(seen, home)| seen >= home));
        let mut known = known(stoma, reviews, &seen, contacted || seen_before)?;
        if let Some(cells) = seen.first().and_then(|last| self.maps.get(&last.id)) {
            known.marked = by_hour(cells).into_iter().map(|(hour, worst)| (hour, worst.code().to_owned())).collect();
        }
        let urgent = match stoma {
            Some(stoma) => known.is_urgent(&stoma.kind)?,
            None => false,
        };
        let identifiers = self.identifiers.remove(&patient.id).unwrap_or_default();
        row(patient, &identifiers, stoma, &under_care, next, &seen, &known, urgent).map(Some)
    }
}

/// Makes the row of one patient from the facts as they stand; `None` when nothing is under care any more.
pub fn derive_row(conn: &mut Conn, service: ServiceId, id: PatientId) -> Result<Option<WeekRow>, StoreError> {
    let found = held(conn, service, &[id])?;
    let one = found.first().ok_or(StoreError::NotFound)?;
    Besides::load(conn, service, &[id])?.row(one)
}

#[expect(clippy::too_many_arguments, reason = "one row from all its facts")]
fn row(
    patient: &Patient,
    identifiers: &[Identifier],
    stoma: Option<&Stoma>,
    under_care: &[&Stoma],
    next: Option<&Review>,
    seen: &[AssessmentRow],
    known: &Known,
    urgent: bool,
) -> Result<WeekRow, StoreError> {
    let identifier = identifiers.first().map(|i| match i.scheme().code() {
        "nhs" => i.display(),
        _ => format!("{} {}", i.scheme().label(), i.display()),
    });
    let words: Vec<String> = under_care.iter().map(|s| s.words()).collect();
    Ok(WeekRow {
        patient_id: patient.id,
        service_id: patient.service_id,
        name: patient.display_name(),
        sort_name: names::fold_for_search(&format!("{} {}", patient.family_name, patient.given_name)),
        born_on: patient.born_on,
        identifier,
        stoma_id: stoma.map(|s| s.id),
        stoma_kind: stoma.map(|s| s.kind.clone()),
        stoma_words: if words.is_empty() { "No stoma recorded".to_owned() } else { words.join("; ") },
        surgery_on: stoma.and_then(|s| s.surgery_on),
        review_id: next.map(|r| r.id),
        review_title: next.map(|r| r.title.clone()),
        review_mode: next.map(|r| r.mode.clone()),
        review_status: next.map(|r| r.status.clone()),
        review_version: next.map(|r| r.version),
        due_on: next.map(Review::due_on),
        planned_on: next.map(|r| r.planned_on),
        latest_on: next.map(Review::overdue_after),
        booked_on: next.and_then(|r| r.booked_on),
        booked_time: next.and_then(|r| r.booked_time.clone()),
        assigned_to: next.and_then(|r| r.assigned_to),
        last_score: seen.first().map(|a| a.score),
        previous_score: seen.get(1).map(|a| a.score),
        last_band: seen.first().map(|a| a.band.clone()),
        urgent,
        signals: Doc::of(known)?,
        off_plan: next.and_then(|r| r.off_plan.clone()),
    })
}

/// Rewrites the rows of some patients from what is held of them.
pub fn refresh_all(tx: &mut Tx<'_>, all: &[Held]) -> Result<(), StoreError> {
    let service = tx.service()?;
    let conn = tx.conn();
    let ids: Vec<PatientId> = all.iter().map(|held| held.patient.id).collect();
    let mut besides = Besides::load(conn, service, &ids)?;
    let rows: Vec<WeekRow> =
        all.iter().filter_map(|held| besides.row(held).transpose()).collect::<Result<_, StoreError>>()?;
    diesel::delete(week_rows::table.filter(week_rows::patient_id.eq_any(&ids))).execute(conn)?;
    if !rows.is_empty() {
        on_each!(conn, c => diesel::insert_into(week_rows::table).values(&rows).execute(c))?;
    }
    Ok(())
}

/// The kept row of one patient.
pub fn kept(conn: &mut Conn, service: ServiceId, id: PatientId) -> Result<Option<WeekRow>, StoreError> {
    Ok(week_rows::table
        .find(id)
        .filter(week_rows::service_id.eq(service))
        .select(WeekRow::as_select())
        .first(conn)
        .optional()?)
}

/// Kept rows of several patients: for lists elsewhere.
pub fn kept_of(conn: &mut Conn, service: ServiceId, ids: &[PatientId]) -> Result<Vec<WeekRow>, StoreError> {
    Ok(week_rows::table
        .filter(week_rows::service_id.eq(service))
        .filter(week_rows::patient_id.eq_any(ids))
        .select(WeekRow::as_select())
        .load(conn)?)
}

/// Everyone due or overdue by `until`, everyone with an urgent signal, everyone with no review at all.
pub fn candidates(conn: &mut Conn, service: ServiceId, until: NaiveDate) -> Result<Vec<WeekRow>, StoreError> {
    Ok(week_rows::table
        .filter(week_rows::service_id.eq(service))
        .filter(week_rows::due_on.le(until).or(week_rows::due_on.is_null()).or(week_rows::urgent.eq(true)))
        .select(WeekRow::as_select())
        .load(conn)?)
}

/// How many patients are under care.
pub fn under_care(conn: &mut Conn, service: ServiceId) -> Result<i64, StoreError> {
    Ok(week_rows::table.filter(week_rows::service_id.eq(service)).count().get_result(conn)?)
}
