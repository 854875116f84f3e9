//! Page structs of the day sheet and the downtime sheet.

use askama::Template;
use chrono::NaiveDate;

use super::shown;
use crate::display;
use crate::patients::identifiers::{Identifier, Scheme};
use crate::patients::store::Patient;
use crate::web::shell::Shell;
use crate::web::views::Band;

/// Who a row is about: name and two identifiers, as the rows of every list show them.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Who {
    pub href: String,
    pub name: String,
    pub same_name: Option<String>,
    pub born: String,
    pub born_iso: String,
    pub age: String,
    pub nhs: String,
    pub phone: Option<(String, String)>,
    /// What must be known before anybody rings: the record has ended.
    pub ended: Option<String>,
}

/// A patient for a row.
pub fn who(patient: &Patient, identifiers: &[Identifier], twin: bool, today: NaiveDate) -> Who {
    let number = identifiers.first().map(|one| match one.scheme() {
        Scheme::NhsNumber => one.display(),
        other => format!("{} {}", other.label(), one.display()),
    });
    let ended = patient.ended_reason.as_deref().map(|reason| {
        let words = match reason {
            "died" => "Has died",
            "moved-away" => "Has moved away",
            "declined" => "Has declined care",
            _ => "Record ended",
        };
        let on = patient.ended_on.map(|on| format!(", {}", display::short_date(on))).unwrap_or_default();
        format!("{words}{on}")
    });
    Who {
        href: format!("/patients/{}", patient.id),
        name: patient.display_name(),
        same_name: twin.then(|| "Same name as another here: check the date of birth".to_owned()),
        born: shown::date_or(patient.born_on, "Not known"),
        born_iso: patient.born_on.map(|on| on.to_string()).unwrap_or_default(),
        age: shown::age(patient.born_on, today),
        nhs: number.unwrap_or_else(|| "Not known".to_owned()),
        phone: patient.phone.as_deref().map(|received| {
            let digits: String = received.chars().filter(|c| c.is_ascii_digit() || *c == '+').collect();
            (display::phone(received), digits)
        }),
        ended,
    }
}

/// One booking.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct DayRow {
    pub time: String,
    pub who: Who,
    pub review: String,
    pub off_plan: Option<String>,
    pub stoma: String,
    pub since: String,
    pub with: String,
    /// Score, and when it was taken; none for roles without clinical access.
    pub score: Option<(String, String)>,
}

/// `GET /week/day`
#[derive(Template)]
#[template(path = "week/day.html")]
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct DayPage {
    pub shell: Shell,
    pub heading: String,
    pub summary: String,
    pub previous_href: String,
    pub next_href: String,
    pub clinical: bool,
    pub rows: Vec<DayRow>,
}

/// One patient of the downtime sheet.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct DowntimeRow {
    pub who: Who,
    /// When, for who is booked.
    pub time: Option<String>,
    pub review: Option<String>,
    pub band: Option<Band>,
    /// Reasons of the band, for roles with clinical access.
    pub why: Option<String>,
    pub stoma: String,
    pub skin: Option<String>,
    pub supplies: Option<String>,
}

/// `GET /week/downtime`
#[derive(Template)]
#[template(path = "week/downtime.html")]
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct DowntimePage {
    pub shell: Shell,
    pub heading: String,
    pub summary: String,
    pub clinical: bool,
    pub booked: Vec<DowntimeRow>,
    pub urgent: Vec<DowntimeRow>,
}
