//! Two lists for paper. The day sheet: who is booked on a day, by time. The downtime sheet: what a clinic needs in its
//! hands when the network fails (today's bookings and everybody in an urgent band, with phone, skin, supplies and room
//! to write). Both show several patients, so neither has a banner, and each row has name and two identifiers. Both
//! are logged for every patient on them.

use std::collections::{BTreeMap, BTreeSet};

use actix_web::http::StatusCode;
use actix_web::web;
use chrono::{Duration, NaiveDate};
use serde::Deserialize;

use super::handlers::urgency_of;
use super::sheet_pages::{DayPage, DayRow, DowntimePage, DowntimeRow, who};
use super::sheet_words::{last_skin, supplies_line};
use super::shown;
use super::store::{self, WeekRow};
use crate::access::store as people;
use crate::audit::{Event, view};
use crate::db::ids::{PatientId, ServiceId, StaffId};
use crate::db::{Conn, StoreError};
use crate::display;
use crate::follow_up::calendar::{self, working_days};
use crate::follow_up::store::{self as reviews, Review};
use crate::patients::identifiers::Identifier;
use crate::patients::names;
use crate::patients::store::{self as patients, Patient};
use crate::skin::store::{self as skin, AssessmentRow};
use crate::stomas::store::{self as stomas, Stoma};
use crate::supplies::store::{self as supplies, LineRow, Prescription};
use crate::urgency::rules::{Band, Decision};
use crate::web::{Answer, Permission, QueryOf, Signed, State, page};

/// The bands that the downtime sheet takes besides the bookings (local: those that ask for an answer within a week).
pub const DOWNTIME_BANDS: [Band; 3] = [Band::SameDay, Band::OneWorkingDay, Band::FiveWorkingDays];

/// Which day.
#[derive(Clone, Debug, Default, Deserialize)]
pub struct Asked {
    /// The day; today when none is named.
    on: Option<NaiveDate>,
}

/// What both sheets say of patients.
pub struct Persons {
    patients: BTreeMap<PatientId, Patient>,
    identifiers: BTreeMap<PatientId, Vec<Identifier>>,
    stomas: Vec<Stoma>,
    /// Names that stand on the sheet more than once.
    twins: BTreeSet<String>,
}

impl Persons {
    fn load(conn: &mut Conn, service: ServiceId, ids: &[PatientId]) -> Result<Self, StoreError> {
        let all = patients::several(conn, service, ids)?;
        let mut names: Vec<String> = all.iter().map(folded).collect();
        names.sort();
        let twins = names.windows(2).filter(|pair| pair[0] == pair[1]).map(|pair| pair[0].clone()).collect();
        let mut identifiers: BTreeMap<PatientId, Vec<Identifier>> = BTreeMap::new();
        for (id, one) in patients::identifiers_of_several(conn, service, ids)? {
            identifiers.entry(id).or_default().push(one);
        }
        let patients = all.into_iter().map(|patient| (patient.id, patient)).collect();
        Ok(Self { patients, identifiers, stomas: stomas::of_patients(conn, service, ids)?, twins })
    }

    /// Patient, identifiers, and whether somebody else on the sheet has the same name.
    fn of(&self, id: PatientId) -> Result<(&Patient, &[Identifier], bool), StoreError> {
        let patient = self.patients.get(&id).ok_or(StoreError::NotFound)?;
        let identifiers = self.identifiers.get(&id).map_or(&[][..], Vec::as_slice);
        Ok((patient, identifiers, self.twins.contains(&folded(patient))))
    }

    /// The stoma of a review in words; all stomas of the patient when it names none.
    fn stoma_words(&self, review: Option<&Review>, id: PatientId) -> String {
        let of = |stoma: &&Stoma| match review.and_then(|r| r.stoma_id) {
            Some(one) => stoma.id == one,
            None => stoma.patient_id == id && stoma.reversed_on.is_none(),
        };
        let words: Vec<String> = self.stomas.iter().filter(of).map(Stoma::words).collect();
        if words.is_empty() { "Stoma not recorded".to_owned() } else { words.join("; ") }
    }

    fn surgery(&self, review: &Review, today: NaiveDate) -> String {
        let stoma = self.stomas.iter().find(|stoma| Some(stoma.id) == review.stoma_id);
        stoma.map_or_else(String::new, |stoma| shown::since_surgery(stoma.surgery_on, today))
    }
}

/// The name as the week's list orders by it and tells namesakes by it.
fn folded(patient: &Patient) -> String {
    names::fold_for_search(&format!("{} {}", patient.family_name, patient.given_name))
}

/// Unique ids in the order in which they first come.
fn unique(ids: impl IntoIterator<Item = PatientId>) -> Vec<PatientId> {
    let mut seen = BTreeSet::new();
    ids.into_iter().filter(|id| seen.insert(*id)).collect()
}

/// `GET /week/day`
pub async fn day(state: web::Data<State>, signed: Signed, asked: QueryOf<Asked>) -> Answer {
    let today = state.clock.today();
    let on = asked.0.on.unwrap_or(today);
    let service = signed.service.id;
    let clinical = signed.may(Permission::SeeClinical);
    let (booked, persons, staff, scores) = view(&state.db, &signed.actor, move |conn| {
        let booked = reviews::booked_on(conn, service, on)?;
        let ids = unique(booked.iter().map(|review| review.patient_id));
        let persons = Persons::load(conn, service, &ids)?;
        let staff: Vec<(StaffId, String)> =
            people::everybody(conn, service)?.into_iter().map(|s| (s.id, s.display_name)).collect();
        let scores = if clinical { skin::of_patients(conn, service, &ids)? } else { Vec::new() };
        Ok(((booked, persons, staff, scores), Event::read("week.day").about_all(ids).with("on", on)))
    })
    .await?;
    let mut rows = Vec::with_capacity(booked.len());
    for review in &booked {
        let (patient, identifiers, twin) = persons.of(review.patient_id)?;
        let last = scores.iter().find(|a| Some(a.stoma_id) == review.stoma_id);
        rows.push(DayRow {
            time: review.booked_time.clone().unwrap_or_else(|| "No time".to_owned()),
            who: who(patient, identifiers, twin, today),
            review: format!("{} ({})", review.title, review.mode),
            off_plan: review.off_plan.clone(),
            stoma: persons.stoma_words(Some(review), review.patient_id),
            since: persons.surgery(review, today),
            with: review
                .assigned_to
                .and_then(|id| staff.iter().find(|(one, _)| *one == id))
                .map_or_else(|| "Nobody assigned".to_owned(), |(_, name)| format!("With {name}")),
            score: clinical.then(|| last.map_or_else(|| ("Not yet scored".to_owned(), String::new()), score_words)),
        });
    }
    let days = working_days(&state.db, service).await?;
    let address = |on: NaiveDate| format!("/week/day?on={on}");
    let next = days.next_on_or_after(on + Duration::days(1));
    let mut before = on - Duration::days(1);
    while !days.is_working_day(before) && on - before < Duration::days(14) {
        before -= Duration::days(1);
    }
    let shown = DayPage {
        shell: signed.shell(format!("Day sheet, {}", display::short_date(on)), "/week"),
        heading: format!("Day sheet: {}", display::weekday_date(on)),
        summary: format!(
            "{} booked{}.",
            display::counted(rows.len(), "review"),
            if days.is_working_day(on) { "" } else { "; not a working day" }
        ),
        previous_href: address(before),
        next_href: address(next),
        clinical,
        rows,
    };
    page(StatusCode::OK, &shown)
}

fn score_words(a: &AssessmentRow) -> (String, String) {
    let band = if a.score == 0 { "clear" } else { a.band.as_str() };
    (format!("{} of 15, {band},", a.score), display::short_date(a.assessed_on))
}

struct Downtime {
    booked: Vec<Review>,
    urgent: Vec<(WeekRow, Decision)>,
    bands: BTreeMap<PatientId, Decision>,
    persons: Persons,
    skin: Vec<AssessmentRow>,
    lists: Vec<(Prescription, Vec<LineRow>)>,
}

fn load_downtime(
    conn: &mut Conn,
    service: ServiceId,
    clinical: bool,
    today: NaiveDate,
) -> Result<(Downtime, Vec<PatientId>), StoreError> {
    let days = calendar::of_service(conn, service)?;
    let booked = reviews::booked_on(conn, service, today)?;
    let expected = unique(booked.iter().map(|review| review.patient_id));
    let mut bands = BTreeMap::new();
    for row in store::kept_of(conn, service, &expected)? {
        bands.insert(row.patient_id, urgency_of(&row, &days, today)?);
    }
    let mut urgent = Vec::new();
    for row in store::candidates(conn, service, today)? {
        let decision = urgency_of(&row, &days, today)?;
        if DOWNTIME_BANDS.contains(&decision.band) && !expected.contains(&row.patient_id) {
            urgent.push((row, decision));
        }
    }
    urgent.sort_by(|(a, x), (b, y)| (x.band, &a.sort_name, a.patient_id).cmp(&(y.band, &b.sort_name, b.patient_id)));
    let ids = unique(expected.into_iter().chain(urgent.iter().map(|(row, _)| row.patient_id)));
    let persons = Persons::load(conn, service, &ids)?;
    let (skin, lists) = if clinical {
        (skin::of_patients(conn, service, &ids)?, supplies::in_force_of(conn, service, &ids)?)
    } else {
        (Vec::new(), Vec::new())
    };
    Ok((Downtime { booked, urgent, bands, persons, skin, lists }, ids))
}

impl Downtime {
    fn row(
        &self,
        id: PatientId,
        review: Option<&Review>,
        decision: Option<&Decision>,
        clinical: bool,
        today: NaiveDate,
    ) -> Result<DowntimeRow, StoreError> {
        let (patient, identifiers, twin) = self.persons.of(id)?;
        let own_skin: Vec<&AssessmentRow> = self.skin.iter().filter(|a| a.patient_id == id).collect();
        let own_lists: Vec<&[LineRow]> =
            self.lists.iter().filter(|(p, _)| p.patient_id == id).map(|(_, lines)| lines.as_slice()).collect();
        let why = |d: &Decision| d.reasons.iter().map(|reason| reason.text.clone()).collect::<Vec<_>>().join(" ");
        Ok(DowntimeRow {
            who: who(patient, identifiers, twin, today),
            time: review.map(|r| r.booked_time.clone().unwrap_or_else(|| "No time".to_owned())),
            review: review.map(|r| format!("{} ({})", r.title, r.mode)),
            band: decision.map(|d| shown::band(d.band)),
            why: decision.filter(|_| clinical).map(why).filter(|why| !why.is_empty()),
            stoma: self.persons.stoma_words(review, id),
            skin: if clinical { Some(last_skin(&own_skin, &self.persons.stomas)?) } else { None },
            supplies: clinical.then(|| supplies_line(&own_lists)),
        })
    }
}

/// `GET /week/downtime`
pub async fn downtime(state: web::Data<State>, signed: Signed) -> Answer {
    let today = state.clock.today();
    let service = signed.service.id;
    let clinical = signed.may(Permission::SeeClinical);
    let loaded = view(&state.db, &signed.actor, move |conn| {
        let (loaded, ids) = load_downtime(conn, service, clinical, today)?;
        Ok((loaded, Event::read("week.downtime").about_all(ids)))
    })
    .await?;
    let mut booked = Vec::new();
    for review in &loaded.booked {
        let decision = loaded.bands.get(&review.patient_id);
        booked.push(loaded.row(review.patient_id, Some(review), decision, clinical, today)?);
    }
    let mut urgent = Vec::new();
    for (row, decision) in &loaded.urgent {
        urgent.push(loaded.row(row.patient_id, None, Some(decision), clinical, today)?);
    }
    let bands: Vec<String> = DOWNTIME_BANDS.iter().map(|band| shown::band(*band).word).collect();
    let shown = DowntimePage {
        shell: signed.shell("Downtime sheet", "/week"),
        heading: format!("Downtime sheet: {}", display::weekday_date(today)),
        summary: format!(
            "{} booked today, {} not booked today in the bands {}.",
            booked.len(),
            urgent.len(),
            bands.join(", ")
        ),
        clinical,
        booked,
        urgent,
    };
    page(StatusCode::OK, &shown)
}
