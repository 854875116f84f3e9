//! Page structs of the week.

use askama::Template;

use crate::web::form_view::Choice;
use crate::web::shell::Shell;
use crate::web::views::{Band, Link, Pager, Roundel, Score};

/// A slot as the row offers it.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct SlotView {
    pub id: String,
    pub day: String,
    pub time: String,
    pub place: String,
}

/// One patient of the list.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct WeekEntry {
    pub id: String,
    pub version: String,
    /// Id of the patient, compared with the review's when the row's forms are sent.
    pub patient: String,
    /// Address of the review's acts; none when nothing is planned.
    pub base: Option<String>,
    pub href: String,
    pub contact_href: Option<String>,
    pub name: String,
    pub same_name: Option<String>,
    pub born: String,
    pub born_iso: String,
    pub age: String,
    pub nhs: String,
    pub phone: Option<(String, String)>,
    pub roundel: Roundel,
    pub stoma: String,
    pub since: String,
    pub score: Option<Score>,
    pub due: String,
    pub due_iso: String,
    pub due_note: String,
    pub band: Band,
    pub reasons: Vec<String>,
    pub assigned: Option<String>,
    pub staff: Vec<Choice>,
    pub slot: Option<SlotView>,
    pub booked: bool,
    pub no_slot: String,
}

/// Everyone of one band.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct WeekGroup {
    pub band: Band,
    pub count: String,
    pub note: String,
    pub rows: Vec<WeekEntry>,
}

/// `GET /week`
#[derive(Template)]
#[template(path = "week/list.html")]
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct WeekPage {
    pub shell: Shell,
    pub week_number: String,
    pub heading: String,
    pub summary: String,
    pub previous_href: String,
    pub next_href: String,
    pub refresh_href: String,
    pub filters: Vec<Link>,
    pub filtered_by: Option<String>,
    pub sorted_by: String,
    pub changed: Option<String>,
    pub groups: Vec<WeekGroup>,
    pub nothing: String,
    pub outcomes: Vec<Choice>,
    pub pager: Option<Pager>,
}
