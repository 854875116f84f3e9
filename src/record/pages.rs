//! Page structs of the record.

use askama::Template;

use crate::drafts::Draft;
use crate::follow_up::pages::{DifferenceView, PlanView};
use crate::patients::forms::PatientFields;
use crate::skin::map_view::MapDrawing;
use crate::stomas::forms::StomaFields;
use crate::web::chart::Chart;
use crate::web::form_view::{Choice, Difference, ErrorSummary, Field};
use crate::web::shell::Shell;
use crate::web::views::{Band, Link, Pager, PatientBanner, Roundel, Score};

/// One patient found.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct FoundRow {
    pub href: String,
    pub name: String,
    pub born: String,
    pub born_iso: String,
    pub age: String,
    pub nhs: String,
    pub same_name: Option<String>,
    pub may_be: Vec<MayBe>,
    pub roundel: Roundel,
    pub stoma: String,
    pub since: String,
    pub score: Option<Score>,
    pub next: String,
    pub next_note: String,
    pub ended: Option<String>,
}

/// Another record that may be the same person as the one of a row.
pub struct MayBe {
    /// Its address.
    pub href: String,
    /// Its name.
    pub name: String,
    /// Birth date and number: "born 23-Aug-1951, NHS No. 999 000 0042".
    pub told_by: String,
    /// What is alike, in words.
    pub reason: String,
}

/// `GET /patients`
#[derive(Template)]
#[template(path = "patients/search.html")]
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct SearchPage {
    pub shell: Shell,
    pub heading: String,
    pub q: Field,
    pub register_href: Option<String>,
    pub found: String,
    pub sorted_by: String,
    pub filtered_by: Option<String>,
    pub clinical: bool,
    pub rows: Vec<FoundRow>,
    pub nothing: String,
    pub pager: Option<Pager>,
}

/// What is being registered and the records that may be the same person, side by side.
#[derive(Default)]
pub struct SideBySide {
    /// What was typed, in the order of [`SideBySide::labels`].
    pub typed: Vec<String>,
    /// What the lines are.
    pub labels: Vec<&'static str>,
    /// The records, the most alike first.
    pub records: Vec<LikelyRecord>,
    /// How many more there are than are shown.
    pub more: usize,
}

impl SideBySide {
    /// True when nobody is like the person.
    pub fn is_empty(&self) -> bool {
        self.records.is_empty()
    }

    /// The lines of the table: label, what was typed, each record's name and what it says.
    #[allow(clippy::type_complexity, reason = "read once, by the template beside it")]
    pub fn lines(&self) -> Vec<(&'static str, &str, Vec<(&str, &str)>)> {
        let of = |n: usize| {
            self.records.iter().map(|r| (r.name.as_str(), r.facts.get(n).map_or("", String::as_str))).collect()
        };
        self.labels.iter().zip(&self.typed).enumerate().map(|(n, (l, t))| (*l, t.as_str(), of(n))).collect()
    }
}

/// A record that may be the same person.
pub struct LikelyRecord {
    /// Its address.
    pub href: String,
    /// Name.
    pub name: String,
    /// Why it may be the same.
    pub reason: String,
    /// What it says, line by line.
    pub facts: Vec<String>,
}

/// Registering or correcting a patient.
#[derive(Template)]
#[template(path = "patients/form.html")]
pub struct PatientPage {
    /// Frame.
    pub shell: Shell,
    /// On a correction: whose.
    pub banner: Option<PatientBanner>,
    /// What is wrong.
    pub errors: ErrorSummary,
    /// Heading.
    pub heading: String,
    /// Sentence under it.
    pub standfirst: String,
    /// Where the form goes.
    pub action: String,
    /// Fields.
    pub patient: PatientFields,
    /// On registration: the first stoma.
    pub stoma: Option<StomaFields>,
    /// Records that may be the same person.
    pub likely: SideBySide,
    /// What the button says.
    pub button: String,
    /// Whose name is in the button.
    pub button_name: String,
    /// Hidden fields: on a correction patient and version, on a registration the form's own id.
    pub hidden: Vec<(String, String)>,
    /// What was kept of the form.
    pub draft: Draft,
    /// Where it differs from a record that was changed meanwhile.
    pub differences: Vec<Difference>,
}

/// Recording or correcting a stoma.
#[derive(Template)]
#[template(path = "patients/stoma.html")]
pub struct StomaPage {
    /// Frame.
    pub shell: Shell,
    /// Whose.
    pub banner: PatientBanner,
    /// What is wrong.
    pub errors: ErrorSummary,
    /// Heading.
    pub heading: String,
    /// Where the form goes.
    pub action: String,
    /// Id in the form, compared with the page's.
    pub patient_id: String,
    /// The form's own id: sending it twice makes one stoma.
    pub once: String,
    /// What was kept of the form.
    pub draft: Draft,
    /// Where it differs from a record that was changed meanwhile.
    pub differences: Vec<Difference>,
    /// Fields.
    pub s: StomaFields,
}

/// Ending a record.
#[derive(Template)]
#[template(path = "patients/end.html")]
pub struct EndPage {
    /// Frame.
    pub shell: Shell,
    /// Whose.
    pub banner: PatientBanner,
    /// What is wrong.
    pub errors: ErrorSummary,
    /// Where the form goes.
    pub action: String,
    /// Id of the patient, compared with the page's.
    pub patient: String,
    /// Row version.
    pub version: String,
    /// Reason.
    pub reason: Field,
    /// Its choices.
    pub reasons: Vec<Choice>,
    /// Date.
    pub on: Field,
    /// Why the record is opened again.
    pub why: Field,
    /// Ended already: how, in words.
    pub ended: Option<String>,
}

/// What a change of facts would do to the planned reviews.
#[derive(Template)]
#[template(path = "patients/confirm.html")]
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct ConfirmPage {
    pub shell: Shell,
    pub banner: PatientBanner,
    pub heading: String,
    pub notice: Option<String>,
    pub action: String,
    pub button: String,
    pub back: String,
    pub hidden: Vec<(String, String)>,
    pub seal: String,
    pub changes: Vec<DifferenceView>,
}

/// Two reviews that may be held together.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct TogetherView {
    pub words: String,
    pub window: String,
    pub button: String,
    /// Id and row version of the one whose day stays, and of the one brought to it.
    pub keep: (String, String),
    pub bring: (String, String),
}

/// `GET /patients/{id}/follow-up`
#[derive(Template)]
#[template(path = "follow_up/plan.html")]
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct FollowUpPage {
    pub shell: Shell,
    pub banner: PatientBanner,
    pub errors: ErrorSummary,
    pub parts: Vec<Link>,
    pub patient_id: String,
    pub version: String,
    pub charts: Vec<Chart>,
    pub plans: Vec<PlanView>,
    pub together: Vec<TogetherView>,
    /// Address and stoma: record that it was refashioned.
    pub refashion: Vec<(String, String)>,
    pub site: Option<(Field, Vec<Choice>)>,
}

/// A stoma on the record page.
pub struct StomaView {
    /// "End ileostomy, permanent".
    pub title: String,
    /// Correct it.
    pub href: Option<String>,
    /// Label and value.
    pub facts: Vec<(String, String)>,
}

/// One domain of the last score.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct DomainView {
    pub name: String,
    pub area: String,
    pub severity: String,
    pub points: String,
}

/// The last assessment.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct SkinView {
    pub score: Score,
    pub map: Option<MapDrawing>,
    pub facts: Vec<(String, String)>,
    pub domains: Vec<DomainView>,
    pub standing: String,
    pub source: String,
}

/// A supply line.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct LineView {
    pub item: String,
    pub detail: String,
    pub quantity: String,
    pub note: Option<String>,
}

/// A review.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct ReviewView {
    pub on: String,
    pub on_iso: String,
    pub window: String,
    pub place: String,
    pub why: String,
    pub state: String,
    pub state_kind: String,
}

/// Something that happened.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct EntryView {
    pub on: String,
    pub on_iso: String,
    pub href: String,
    pub title: String,
    pub by: String,
    pub text: String,
}

/// Why somebody should be seen, with where the limit comes from.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct ReasonView {
    pub text: String,
    pub standing: String,
    pub source: String,
}

/// A note.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct NoteView {
    pub text: String,
    pub by: String,
}

/// `GET /patients/{id}`
#[derive(Template)]
#[template(path = "patients/record.html")]
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct RecordPage {
    pub shell: Shell,
    pub banner: PatientBanner,
    pub roundel: Roundel,
    pub heading: String,
    pub standfirst: String,
    pub band: Band,
    pub reasons: Vec<ReasonView>,
    pub advice: Vec<String>,
    pub contact_href: Option<String>,
    pub acts: Vec<Link>,
    pub parts: Vec<Link>,
    pub stomas: Vec<StomaView>,
    pub clinical: bool,
    pub skin_href: String,
    pub skin: Option<SkinView>,
    pub supplies_href: Option<String>,
    pub summary_href: Option<String>,
    pub lines: Vec<LineView>,
    pub follow_up_href: String,
    pub reviews: Vec<ReviewView>,
    pub timeline: Vec<EntryView>,
    pub notes: Vec<NoteView>,
    pub access_href: Option<String>,
}

/// One line of the log.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct EventView {
    pub seq: String,
    pub at: String,
    pub who: String,
    pub roles: String,
    pub what: String,
    pub outcome: String,
    pub from: String,
    pub detail: String,
}

/// `GET /patients/{id}/access`
#[derive(Template)]
#[template(path = "patients/access.html")]
pub struct AccessPage {
    /// Frame.
    pub shell: Shell,
    /// Whose.
    pub banner: PatientBanner,
    /// Sentence under the heading.
    pub standfirst: String,
    /// Newest first.
    pub events: Vec<EventView>,
    /// Older ones.
    pub older: Option<String>,
}
