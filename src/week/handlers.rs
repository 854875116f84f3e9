//! The weekly review list: who needs seeing, how soon and why, in order of urgency.

use std::collections::HashMap;

use actix_web::http::StatusCode;
use actix_web::web;
use chrono::{Datelike, Duration, NaiveDate, Weekday};
use serde::Deserialize;

use super::pages::{SlotView, WeekEntry, WeekGroup, WeekPage};
use super::shown;
use super::slots::{Diary, LOOK_AHEAD_DAYS};
use super::store::{self, WeekRow};
use crate::access::store as people;
use crate::audit::{Event, view};
use crate::db::StoreError;
use crate::db::ids::StaffId;
use crate::display;
use crate::follow_up::calendar;
use crate::follow_up::rules::WorkingDays;
use crate::follow_up::store as reviews;
use crate::patients::store as patients;
use crate::urgency::Known;
use crate::urgency::rules::{Band, Decision, ReviewDates};
use crate::web::form_view::Choice;
use crate::web::views::{Link, Pager};
use crate::web::{Answer, Permission, QueryOf, Signed, State, page};

/// Rows on a page; more are on the next.
const ROWS_PER_PAGE: usize = 100;

/// Which week, which part.
#[derive(Clone, Debug, Default, Deserialize)]
pub struct Asked {
    /// Monday of the week.
    week: Option<NaiveDate>,
    /// mine or unbooked.
    show: Option<String>,
    /// From 1.
    page: Option<usize>,
}

/// How soon a patient should be seen on a day, with the reasons.
pub fn urgency_of(row: &WeekRow, days: &WorkingDays, today: NaiveDate) -> Result<Decision, StoreError> {
    let known: Known = row.signals.read()?;
    let review = row.due_on.map(|_| ReviewDates { planned: row.planned_on, latest: row.latest_on });
    // A review booked in time is in hand: it is not overdue, whatever its window.
    let in_hand = row.booked_on.is_some_and(|on| on >= today);
    let review = review.map(|r| if in_hand { ReviewDates { latest: None, ..r } } else { r });
    known.decide(row.stoma_kind.as_deref().unwrap_or("ileostomy"), days, today, review)
}

struct Entry {
    row: WeekRow,
    decision: Decision,
    overdue: i64,
}

/// In order: band, days past the window, score, name. Nobody chooses another order, so nobody is hidden by one.
fn sort(entries: &mut [Entry]) {
    entries.sort_by(|a, b| {
        (a.decision.band, -a.overdue, -a.row.last_score.unwrap_or(0), &a.row.sort_name, a.row.patient_id).cmp(&(
            b.decision.band,
            -b.overdue,
            -b.row.last_score.unwrap_or(0),
            &b.row.sort_name,
            b.row.patient_id,
        ))
    });
}

struct Loaded {
    shown: Vec<Entry>,
    counts: HashMap<Band, usize>,
    total: usize,
    under_care: i64,
    phones: HashMap<crate::db::ids::PatientId, String>,
    staff: Vec<(StaffId, String)>,
    booked: Vec<(NaiveDate, String)>,
    days: WorkingDays,
    twins: Vec<String>,
}

/// `GET /week`
pub async fn list(state: web::Data<State>, signed: Signed, asked: QueryOf<Asked>) -> Answer {
    let asked = asked.0;
    let today = state.clock.today();
    let monday = asked.week.unwrap_or(today).week(Weekday::Mon).first_day();
    let sunday = monday + Duration::days(6);
    let this_week = today.week(Weekday::Mon).first_day();
    let service = signed.service.id;
    let (me, show, number) = (signed.staff_id, asked.show.clone(), asked.page.unwrap_or(1).max(1));
    let loaded = view(&state.db, &signed.actor, move |conn| {
        let days = calendar::of_service(conn, service)?;
        let mut entries = Vec::new();
        for row in store::candidates(conn, service, sunday)? {
            // Looking at a week to come: only what falls into it. This week and the past: everyone still open.
            if monday > this_week && row.due_on.is_none_or(|due| due < monday) {
                continue;
            }
            let wanted = match show.as_deref() {
                Some("mine") => row.assigned_to == Some(me),
                Some("unbooked") => row.booked_on.is_none(),
                _ => true,
            };
            if wanted {
                let decision = urgency_of(&row, &days, today)?;
                let overdue = row.latest_on.map_or(0, |latest| (today - latest).num_days().max(0));
                entries.push(Entry { row, decision, overdue });
            }
        }
        sort(&mut entries);
        let mut counts = HashMap::new();
        for entry in &entries {
            *counts.entry(entry.decision.band).or_insert(0) += 1;
        }
        let total = entries.len();
        let mut names: Vec<String> = entries.iter().map(|e| e.row.sort_name.clone()).collect();
        names.sort();
        let twins = names.windows(2).filter(|w| w[0] == w[1]).map(|w| w[0].clone()).collect();
        let shown: Vec<Entry> = entries.into_iter().skip((number - 1) * ROWS_PER_PAGE).take(ROWS_PER_PAGE).collect();
        let ids: Vec<_> = shown.iter().map(|e| e.row.patient_id).collect();
        let loaded = Loaded {
            counts,
            total,
            twins,
            under_care: store::under_care(conn, service)?,
            phones: patients::phones_of(conn, service, &ids)?.into_iter().collect(),
            staff: people::everybody(conn, service)?
                .into_iter()
                .filter(|s| s.disabled_at.is_none())
                .map(|s| (s.id, s.display_name))
                .collect(),
            booked: reviews::booked_slots(conn, service, today, today + Duration::days(2 * LOOK_AHEAD_DAYS))?,
            days,
            shown,
        };
        Ok((loaded, Event::read("week.list").about_all(ids).with("week", monday)))
    })
    .await?;
    let time = state.clock.now().with_timezone(&chrono::Local).time();
    let (opens, closes, minutes) = &signed.service.clinic;
    let days = loaded.days.clone();
    let booked = loaded.booked.iter().cloned();
    let mut diary = Diary::new((opens, closes, *minutes), days, booked, today, time);
    let page_of = build(&signed, loaded, &mut diary, monday, today, &asked)?;
    page(StatusCode::OK, &page_of)
}

fn address(monday: NaiveDate, show: Option<&str>, page: usize) -> String {
    let show = show.map(|s| format!("&show={s}")).unwrap_or_default();
    let page = if page > 1 { format!("&page={page}") } else { String::new() };
    format!("/week?week={monday}{show}{page}")
}

fn build(
    signed: &Signed,
    loaded: Loaded,
    diary: &mut Diary,
    monday: NaiveDate,
    today: NaiveDate,
    asked: &Asked,
) -> Result<WeekPage, StoreError> {
    let show = asked.show.as_deref().filter(|s| matches!(*s, "mine" | "unbooked"));
    let number = asked.page.unwrap_or(1).max(1);
    let total = loaded.total;
    let (under_care, counts) = (loaded.under_care, loaded.counts.clone());
    let mut groups: Vec<WeekGroup> = Vec::new();
    let Loaded { shown, phones, staff, twins, .. } = loaded;
    for entry in shown {
        let band = shown::band(entry.decision.band);
        if groups.last().is_none_or(|g| g.band.key != band.key) {
            let count = counts.get(&entry.decision.band).copied().unwrap_or(0);
            groups.push(WeekGroup {
                count: display::counted(count, "patient"),
                note: note(entry.decision.band).to_owned(),
                band,
                rows: Vec::new(),
            });
        }
        let row = entry_view(signed, entry, &phones, &staff, &twins, diary, today)?;
        if let Some(group) = groups.last_mut() {
            group.rows.push(row);
        }
    }
    let filter = |code: Option<&str>, label: &str| Link {
        href: address(monday, code, 1),
        label: label.to_owned(),
        current: show == code,
    };
    let last_page = total.div_ceil(ROWS_PER_PAGE).max(1);
    let from = (number - 1) * ROWS_PER_PAGE + 1;
    let week = monday.iso_week();
    Ok(WeekPage {
        shell: signed.shell("The week", "/week"),
        week_number: week.week().to_string(),
        heading: format!("Week of {}", display::weekday_date(monday)),
        summary: format!("{total} to see to, of {under_care} patients under care."),
        previous_href: address(monday - Duration::days(7), show, 1),
        next_href: address(monday + Duration::days(7), show, 1),
        refresh_href: address(monday, show, number),
        filters: vec![
            filter(None, "Everyone"),
            filter(Some("mine"), "With me"),
            filter(Some("unbooked"), "Not booked"),
        ],
        filtered_by: show.map(|s| if s == "mine" { "only those with you" } else { "only those not booked" }.to_owned()),
        sorted_by: "urgency, then days past the last date, score and name".to_owned(),
        changed: None,
        groups,
        nothing: "Nobody needs seeing in this week.".to_owned(),
        outcomes: vec![
            Choice::new("noshow", "Did not attend or was not brought"),
            Choice::new("fulfilled", "Took place, nothing to score"),
            Choice::new("cancelled", "Not needed any more"),
        ],
        pager: (last_page > 1).then(|| Pager {
            words: format!("{from} to {} of {total}", (number * ROWS_PER_PAGE).min(total)),
            previous: (number > 1).then(|| address(monday, show, number - 1)),
            next: (number < last_page).then(|| address(monday, show, number + 1)),
        }),
    })
}

fn note(band: Band) -> &'static str {
    match band {
        Band::SameDay => "Respond today; follow your local escalation policy",
        Band::OneWorkingDay => "Respond by the next working day",
        Band::FiveWorkingDays => "Respond within five working days",
        Band::TenWorkingDays => "Respond within ten working days",
        Band::AsPlanned => "Due in the usual way",
    }
}

fn entry_view(
    signed: &Signed,
    entry: Entry,
    phones: &HashMap<crate::db::ids::PatientId, String>,
    staff: &[(StaffId, String)],
    twins: &[String],
    diary: &mut Diary,
    today: NaiveDate,
) -> Result<WeekEntry, StoreError> {
    let Entry { row, decision, overdue } = entry;
    let known: Known = row.signals.read()?;
    let clinical = signed.may(Permission::SeeClinical);
    let waiting = row.due_on.is_none();
    let booked = row.booked_on.is_some();
    let slot = (!booked && !waiting)
        .then(|| {
            let soonest = if decision.band == Band::SameDay { today } else { today + Duration::days(1) };
            let due = row.planned_on.unwrap_or(soonest);
            // What asks for attention is offered the first free slot; the rest its planned day or the first after it.
            diary.suggest(if decision.band < Band::AsPlanned { soonest } else { soonest.max(due) })
        })
        .flatten();
    let mode = row.review_mode.clone().unwrap_or_default();
    let mut reasons: Vec<String> = Vec::new();
    if clinical {
        reasons.extend(decision.reasons.iter().map(|r| r.text.clone()));
    }
    reasons.extend(row.review_title.clone().map(|t| format!("{t} ({mode})")));
    reasons.extend(row.off_plan.clone().map(|why| format!("Off plan: {why}")));
    if waiting {
        reasons.push("No review is planned".to_owned());
    }
    let due_note = match (row.booked_on, &row.booked_time, row.latest_on) {
        (Some(_), Some(time), _) => format!("booked {time}"),
        _ if overdue > 0 => {
            format!("{} past its last date", display::counted(usize::try_from(overdue).unwrap_or(0), "day"))
        }
        (_, _, Some(latest)) => format!("by {}", display::short_date(latest)),
        _ => String::new(),
    };
    let phone = phones.get(&row.patient_id).map(|received| {
        let digits: String = received.chars().filter(|c| c.is_ascii_digit() || *c == '+').collect();
        (display::phone(received), digits)
    });
    Ok(WeekEntry {
        id: format!("row-{}", row.patient_id),
        patient: row.patient_id.to_string(),
        version: row.review_version.map(|v| v.to_string()).unwrap_or_default(),
        base: row.review_id.map(|id| format!("/reviews/{id}")),
        href: format!("/patients/{}", row.patient_id),
        contact_href: (signed.may(Permission::AssessSkin) && row.stoma_id.is_some())
            .then(|| format!("/patients/{}/contacts/new", row.patient_id)),
        same_name: twins
            .contains(&row.sort_name)
            .then(|| "Same name as another here: check the date of birth".to_owned()),
        born: shown::date_or(row.born_on, "Not known"),
        born_iso: row.born_on.map(|d| d.to_string()).unwrap_or_default(),
        age: shown::age(row.born_on, today),
        nhs: row.identifier.clone().unwrap_or_else(|| "No number recorded".to_owned()),
        phone,
        roundel: shown::roundel(
            row.stoma_kind.as_deref(),
            &row.stoma_words,
            waiting,
            if clinical { &known.marked } else { &[] },
        ),
        stoma: row.stoma_words.clone(),
        since: shown::since_surgery(row.surgery_on, today),
        score: if clinical { shown::score_of(&row, known.assessed_on) } else { None },
        due: row.due_on.map_or_else(|| "No date".to_owned(), display::weekday_date),
        due_iso: row.due_on.map(|d| d.to_string()).unwrap_or_default(),
        due_note,
        band: shown::band(decision.band),
        reasons,
        assigned: row.assigned_to.and_then(|id| staff.iter().find(|(s, _)| *s == id)).map(|(_, name)| name.clone()),
        staff: staff
            .iter()
            .map(|(id, name)| Choice::new(id.to_string(), name.clone()).checked(row.assigned_to == Some(*id)))
            .collect(),
        no_slot: match (booked, waiting) {
            (true, _) => "Booked".to_owned(),
            (_, true) => "Record a contact or set a date".to_owned(),
            _ => "No free slot in sight".to_owned(),
        },
        slot: slot.map(|s| SlotView {
            id: s.code(),
            place: if decision.band < Band::AsPlanned && decision.respond_by.is_some_and(|by| s.on > by) {
                "No free slot in time: ring first".to_owned()
            } else {
                mode
            },
            day: display::weekday_date(s.on),
            time: s.time,
        }),
        booked,
        name: row.name,
    })
}
