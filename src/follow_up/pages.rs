//! Page structs of follow-up.

use askama::Template;

use super::caseload::{CaseloadChange, MOST_SHOWN};
use super::changes::{Kind, Line, StomaChange};
use super::protocol_form::ProtocolFields;
use crate::display;
use crate::web::chart::Chart;
use crate::web::form_view::{Choice, ErrorSummary, Field};
use crate::web::shell::Shell;
use crate::web::views::Link;

/// A review with its reasons, on the page of a patient.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct PlannedView {
    pub on: String,
    pub on_iso: String,
    pub title: String,
    pub window: String,
    pub place: String,
    /// Protocol and version that made it.
    pub made_by: String,
    pub state: String,
    pub state_kind: String,
    pub reasons: Vec<String>,
}

/// One stoma's plan.
pub struct PlanView {
    /// The stoma in words.
    pub stoma: String,
    /// The protocol: title, version, source, standing.
    pub protocol: String,
    /// Its page.
    pub protocol_href: String,
    /// Where it comes from.
    pub source: String,
    /// How well that was seen.
    pub standing: String,
    /// Reviews by date.
    pub reviews: Vec<PlannedView>,
    /// Steps that wait, in words.
    pub waiting: Vec<String>,
    /// What the reader should check.
    pub notes: Vec<String>,
}

/// A step of a protocol in words.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct StepView {
    pub title: String,
    pub when: String,
    pub mode: String,
    pub only: String,
    pub note: String,
}

/// A protocol.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct ProtocolView {
    pub id: String,
    pub title: String,
    pub version: String,
    pub source: String,
    pub standing: String,
    pub address: String,
    pub note: String,
    pub state: String,
    pub used_for: String,
    pub steps: Vec<StepView>,
}

/// `GET /protocols`
#[derive(Template)]
#[template(path = "follow_up/protocols.html")]
pub struct ProtocolsPage {
    /// Frame.
    pub shell: Shell,
    /// Pages about the calendar.
    pub links: Vec<Link>,
    /// The service's own, then those shipped.
    pub protocols: Vec<ProtocolView>,
}

/// A version in the list of them.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct VersionView {
    pub number: String,
    pub state: String,
    pub href: String,
    pub current: bool,
    pub compare: Option<String>,
}

/// `GET /protocols/{code}`
#[derive(Template)]
#[template(path = "follow_up/protocol.html")]
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct ProtocolPage {
    pub shell: Shell,
    pub p: ProtocolView,
    pub pictures: Vec<Chart>,
    pub copied_from: String,
    pub followers: String,
    pub versions: Vec<VersionView>,
    /// Where each button or link leads; none when it is not for this reader or not now.
    pub copy: Option<String>,
    pub open: Option<String>,
    pub edit: Option<String>,
    pub force: Option<String>,
    pub text: String,
}

/// `GET /protocols/{code}/draft`
#[derive(Template)]
#[template(path = "follow_up/draft.html")]
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct DraftPage {
    pub shell: Shell,
    pub heading: String,
    pub code: String,
    pub f: ProtocolFields,
}

/// `GET /protocols/{code}/text`
#[derive(Template)]
#[template(path = "follow_up/text.html")]
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct ProtocolTextPage {
    pub shell: Shell,
    pub heading: String,
    pub code: String,
    pub errors: ErrorSummary,
    pub text: Field,
    pub rows: String,
    /// Row version of the draft when it may be changed here.
    pub version: Option<String>,
}

/// `GET /protocols/{code}/compare`
#[derive(Template)]
#[template(path = "follow_up/compare.html")]
pub struct ComparePage {
    /// Frame.
    pub shell: Shell,
    /// Heading.
    pub heading: String,
    /// Of which.
    pub code: String,
    /// One sentence for each difference.
    pub said: Vec<String>,
}

/// A review of a difference.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct LineView {
    pub kind: String,
    pub tag: String,
    pub title: String,
    pub was: String,
    pub becomes: String,
    pub becomes_iso: String,
    pub mode: String,
    pub reasons: Vec<String>,
}

/// A difference of one stoma.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct DifferenceView {
    pub stoma: String,
    pub protocol: String,
    pub summary: String,
    pub lines: Vec<LineView>,
    pub untouched: Vec<LineView>,
    pub besides: Vec<String>,
    pub notes: Vec<String>,
}

fn line_view(line: &Line) -> LineView {
    let (tag, word) = match line.kind {
        Kind::Added | Kind::FitsAgain => ("good", line.kind.word()),
        Kind::Moved | Kind::OffPlan => ("mind", line.kind.word()),
        Kind::Closed => ("bad", line.kind.word()),
        Kind::Untouched => ("plain", line.kind.word()),
    };
    let day = |on: Option<chrono::NaiveDate>| on.map(display::weekday_date).unwrap_or_default();
    LineView {
        kind: word.to_owned(),
        tag: tag.to_owned(),
        title: line.title.clone(),
        was: day(line.was.filter(|on| line.kind != Kind::Untouched && Some(*on) != line.becomes)),
        becomes: day(line.becomes),
        becomes_iso: line.becomes.map(|on| on.to_string()).unwrap_or_default(),
        mode: line.mode.clone(),
        reasons: line.reasons.clone(),
    }
}

/// "2 added, 1 moved, 3 untouched"
fn summary(counts: &[(Kind, usize)]) -> String {
    let said: Vec<String> =
        counts.iter().filter(|(_, n)| *n > 0).map(|(kind, n)| format!("{n} {}", kind.word())).collect();
    if said.is_empty() { "nothing".to_owned() } else { said.join("; ") }
}

impl DifferenceView {
    /// As a page shows it.
    pub fn of(change: &StomaChange) -> Self {
        let kinds = [Kind::Added, Kind::Moved, Kind::Closed, Kind::OffPlan, Kind::FitsAgain, Kind::Untouched];
        let of = |untouched: bool| {
            change.lines.iter().filter(|l| (l.kind == Kind::Untouched) == untouched).map(line_view).collect()
        };
        Self {
            stoma: change.stoma.clone(),
            protocol: change.protocol.clone(),
            summary: summary(&kinds.map(|kind| (kind, change.count(kind)))),
            lines: of(false),
            untouched: of(true),
            besides: change.besides.clone(),
            notes: change.notes.clone(),
        }
    }
}

/// A difference of a caseload.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct CaseloadView {
    pub summary: String,
    pub patients: String,
    pub looked_at: String,
    /// Address, name and stomas of the first ones.
    pub shown: Vec<(String, String, Vec<DifferenceView>)>,
    pub more: Option<String>,
    pub nothing: bool,
}

impl CaseloadView {
    /// As a page shows it.
    pub fn of(change: &CaseloadChange) -> Self {
        let counts = [
            (Kind::Added, change.added),
            (Kind::Moved, change.moved),
            (Kind::Closed, change.closed),
            (Kind::OffPlan, change.off_plan),
            (Kind::FitsAgain, change.fits_again),
        ];
        let beyond = change.changed.len().saturating_sub(change.shown.len());
        Self {
            summary: summary(&counts),
            patients: display::counted(change.changed.len(), "patient"),
            looked_at: change.looked_at.to_string(),
            shown: change
                .shown
                .iter()
                .map(|p| {
                    let stomas = p.stomas.iter().map(DifferenceView::of).collect();
                    (format!("/patients/{}/follow-up", p.patient), p.name.clone(), stomas)
                })
                .collect(),
            more: (beyond > 0).then(|| {
                format!(
                    "{} more, not listed here: the first {MOST_SHOWN} are shown.",
                    display::counted(beyond, "patient")
                )
            }),
            nothing: change.changed.is_empty(),
        }
    }
}

/// `GET /protocols/{code}/force`
#[derive(Template)]
#[template(path = "follow_up/force.html")]
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct ForcePage {
    pub shell: Shell,
    pub heading: String,
    pub title: String,
    pub code: String,
    pub errors: ErrorSummary,
    pub notice: Option<String>,
    pub version: String,
    pub seal: String,
    pub from: Field,
    /// No version was in force before.
    pub first: bool,
    pub said: Vec<String>,
    pub change: CaseloadView,
}

/// A bank holiday to come.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct HolidayView {
    pub on: String,
    pub on_iso: String,
    pub name: String,
}

/// A closure.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct ClosureView {
    pub on: String,
    pub on_iso: String,
    pub name: String,
    pub remove: Option<String>,
}

/// `GET /closures`
#[derive(Template)]
#[template(path = "follow_up/closures.html")]
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct ClosuresPage {
    pub shell: Shell,
    pub errors: ErrorSummary,
    pub nation: String,
    pub source: String,
    pub standing: String,
    pub made_on: String,
    pub loaded_on: Option<String>,
    pub years: String,
    pub ends_soon: bool,
    pub holidays: Vec<HolidayView>,
    pub closures: Vec<ClosureView>,
    pub form: Option<(Field, Field)>,
}

/// What adding or taking back a closure would do.
#[derive(Template)]
#[template(path = "follow_up/closure.html")]
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct MoveClosurePage {
    pub shell: Shell,
    pub heading: String,
    pub button: String,
    pub action: String,
    pub hidden: Vec<(String, String)>,
    pub seal: String,
    pub notice: Option<String>,
    pub change: CaseloadView,
}

/// One run of the daily task.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct RunView {
    pub day: String,
    pub day_iso: String,
    pub state: String,
    pub tag: String,
    pub times: String,
    pub looked_at: String,
    pub changed: String,
    pub missed: String,
    pub instance: String,
}

/// `GET /follow-up/runs`
#[derive(Template)]
#[template(path = "follow_up/runs.html")]
pub struct RunsPage {
    /// Frame.
    pub shell: Shell,
    /// Newest first.
    pub runs: Vec<RunView>,
}

/// A site and mode on the page of the year.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct PlaceView {
    pub code: String,
    pub name: String,
    pub slots: Field,
    pub total: String,
    pub before: Option<String>,
    pub over: String,
}

/// A week of the year ahead.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct WeekLine {
    pub on: String,
    pub on_iso: String,
    pub number: String,
    pub total: String,
    pub changed: Option<String>,
    /// Words, and whether there are more reviews than slots.
    pub cells: Vec<(String, bool)>,
}

/// `GET /follow-up/year`
#[derive(Template)]
#[template(path = "follow_up/year.html")]
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct YearPage {
    pub shell: Shell,
    pub errors: ErrorSummary,
    pub trying: bool,
    pub overdue: Option<String>,
    pub followed: (Field, Vec<Choice>),
    pub instead: (Field, Vec<Choice>),
    pub keep: bool,
    pub charts: Vec<Chart>,
    pub places: Vec<PlaceView>,
    /// Places with reviews or slots.
    pub columns: Vec<String>,
    pub weeks: Vec<WeekLine>,
}
