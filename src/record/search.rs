//! Searching as it is typed: a name in any order, a number with or without blanks, a birth date.

use actix_web::http::StatusCode;
use actix_web::web;
use std::collections::BTreeSet;

use chrono::NaiveDate;
use serde::Deserialize;

use super::pages::{FoundRow, MayBe, SearchPage};
use crate::access::store as people;
use crate::audit::{Event, append, view};
use crate::dates_in;
use crate::db::ids::PatientId;
use crate::db::{Conn, StoreError};
use crate::display;
use crate::patients::identifiers::{Identifier, Scheme};
use crate::patients::likely::{self, Alike};
use crate::patients::names;
use crate::patients::store::{self as patients, MOST_FOUND, Patient, Sought};
use crate::stomas::store as stomas;
use crate::web::form_view::{Field, Width};
use crate::web::{Answer, Permission, Posted, Signed, State, page, see_other};
use crate::week::shown;
use crate::week::store as week;

/// What the search form sends.
#[derive(Deserialize)]
pub struct Search {
    #[serde(default)]
    q: String,
}

/// `POST /patients/search`: remembers the search and goes to its result.
pub async fn search(state: web::Data<State>, signed: Signed, form: Posted<Search>) -> Answer {
    let text: String = form.0.q.chars().take(200).collect();
    state
        .db
        .write(&signed.actor, move |tx| {
            people::keep_search(tx, text.trim())?;
            append(tx, Event::execute("patients.search")).map(drop)
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other("/patients"))
}

struct Found {
    typed: String,
    born_on: Option<NaiveDate>,
    more: bool,
    rows: Vec<FoundRow>,
}

/// `GET /patients`
pub async fn result(state: web::Data<State>, signed: Signed) -> Answer {
    let today = state.clock.today();
    let (service, session) = (signed.service.id, signed.actor.session.clone().unwrap_or_default());
    let clinical = signed.may(Permission::SeeClinical);
    let found = view(&state.db, &signed.actor, move |conn| {
        let typed = people::last_search(conn, &session)?.unwrap_or_default();
        // A day without a year or a number is no birth date; a name may begin like a month.
        let has_digit = typed.chars().any(|c| c.is_ascii_digit());
        let born_on = has_digit.then(|| dates_in::read_birth_date(&typed, today).ok()).flatten();
        let sought = Sought::read(&typed, born_on);
        let mut hits = if sought.is_empty() { Vec::new() } else { patients::search(conn, service, &sought)? };
        let most = usize::try_from(MOST_FOUND).unwrap_or(50);
        let more = hits.len() > most;
        hits.truncate(most);
        let alike = likely::alike(conn, service, &hits)?;
        let shown: BTreeSet<_> = hits.iter().map(|p| p.id).chain(alike.iter().map(|a| a.id)).collect();
        let event = Event::read("patients.found").about_all(shown).with("count", hits.len());
        Ok((Found { typed, born_on, more, rows: rows(conn, &hits, &alike, today, clinical)? }, event))
    })
    .await?;
    let count = found.rows.len();
    let filtered_by = (!found.typed.is_empty()).then(|| match found.born_on {
        Some(on) => format!("Only people born on {}", display::short_date(on)),
        None => format!("Only people whose name or number fits “{}”", found.typed),
    });
    let heading = match (found.typed.is_empty(), count, found.more) {
        (true, ..) => "Find a patient".to_owned(),
        (_, 0, _) => "Nobody found".to_owned(),
        (_, 1, _) => "1 patient".to_owned(),
        (_, n, true) => format!("The first {n} patients"),
        (_, n, false) => format!("{n} patients"),
    };
    let nothing = if found.typed.is_empty() {
        "Type part of a name, an NHS number or a date of birth.".to_owned()
    } else {
        format!("Nobody in your service fits “{}”. Try fewer letters, or the number or date of birth.", found.typed)
    };
    let page_of = SearchPage {
        shell: signed.shell("Patients", "/patients"),
        heading: "Patients".to_owned(),
        q: Field::new("q", "Name, NHS number or date of birth").value(found.typed).width(Width::Full),
        register_href: signed.may(Permission::EditPatients).then(|| "/patients/new".to_owned()),
        found: heading,
        sorted_by: if found.more { "Sorted by name. Type more to see the rest." } else { "Sorted by name" }.to_owned(),
        filtered_by,
        clinical,
        rows: found.rows,
        nothing,
        pager: None,
    };
    page(StatusCode::OK, &page_of)
}

/// At most so many records beside one row that may be the same person; the record of any of them shows the rest.
const MOST_ALIKE: usize = 3;

/// "NHS No. 999 000 0042"; another number when that is all there is.
fn number_words(number: Option<&Identifier>) -> String {
    number.map_or_else(|| "no number recorded".to_owned(), |i| format!("{} {}", i.scheme().label(), i.display()))
}

fn may_be(alike: &[Alike], of: PatientId) -> Vec<MayBe> {
    let of_row = alike.iter().filter(|a| a.of == of).take(MOST_ALIKE);
    of_row
        .map(|a| MayBe {
            href: format!("/patients/{}", a.id),
            name: names::display(&a.family, &a.given, None),
            told_by: format!(
                "born {}, {}",
                shown::date_or(a.born_on, "on a day not known"),
                number_words(a.identifier.as_ref())
            ),
            reason: a.reason.to_string(),
        })
        .collect()
}

fn rows(
    conn: &mut Conn,
    hits: &[Patient],
    alike: &[Alike],
    today: NaiveDate,
    clinical: bool,
) -> Result<Vec<FoundRow>, StoreError> {
    let Some(service) = hits.first().map(|p| p.service_id) else { return Ok(Vec::new()) };
    let ids: Vec<_> = hits.iter().map(|p| p.id).collect();
    let kept = week::kept_of(conn, service, &ids)?;
    let all = stomas::of_patients(conn, service, &ids)?;
    let numbers = patients::identifiers_of_all(conn, service, &ids)?;
    let mut rows = Vec::with_capacity(hits.len());
    for patient in hits {
        let row = kept.iter().find(|r| r.patient_id == patient.id);
        let stoma =
            all.iter().filter(|s| s.patient_id == patient.id).max_by_key(|s| (s.reversed_on.is_none(), s.surgery_on));
        let number = numbers.get(&patient.id).and_then(|held| held.first());
        let words = row.map_or_else(
            || stoma.map_or_else(|| "No stoma recorded".to_owned(), super::super::stomas::store::Stoma::words),
            |r| r.stoma_words.clone(),
        );
        let twin = hits.iter().any(|other| {
            other.id != patient.id
                && names::fold_for_search(&other.family_name) == names::fold_for_search(&patient.family_name)
                && names::fold_for_search(&other.given_name) == names::fold_for_search(&patient.given_name)
        });
        let ended = patient.ended_on.zip(patient.ended_reason.as_deref()).map(|(on, why)| {
            let word = match why {
                "died" => "Died",
                "moved-away" => "Moved away",
                _ => "Declined follow-up",
            };
            format!("{word} {}", display::short_date(on))
        });
        let reversed = stoma.and_then(|s| s.reversed_on).map(|on| format!("Reversed {}", display::short_date(on)));
        let next = row.and_then(|r| r.due_on);
        let waiting = row.is_some_and(|r| r.review_id.is_none());
        rows.push(FoundRow {
            href: format!("/patients/{}", patient.id),
            name: patient.display_name(),
            born: shown::date_or(patient.born_on, "Not known"),
            born_iso: patient.born_on.map(|d| d.to_string()).unwrap_or_default(),
            age: shown::age(patient.born_on, today),
            nhs: match number {
                Some(number) if number.scheme() == Scheme::NhsNumber => number.display(),
                Some(number) => number_words(Some(number)),
                None => "No number recorded".to_owned(),
            },
            may_be: may_be(alike, patient.id),
            same_name: twin.then(|| "Same name as another here: check the date of birth".to_owned()),
            roundel: shown::roundel(stoma.map(|s| s.kind.as_str()), &words, waiting, &[]),
            stoma: words,
            since: shown::since_surgery(stoma.and_then(|s| s.surgery_on), today),
            score: row.filter(|_| clinical).and_then(|r| shown::score_of(r, None)),
            next: next.map_or_else(|| "None planned".to_owned(), display::weekday_date),
            next_note: match (row, next) {
                (None, _) => "Not under care".to_owned(),
                (_, None) => "No date is set: see the record".to_owned(),
                (Some(row), _) => row.review_title.clone().unwrap_or_else(|| "Review".to_owned()),
            },
            ended: ended.or_else(|| reversed.filter(|_| row.is_none())),
        });
    }
    Ok(rows)
}
