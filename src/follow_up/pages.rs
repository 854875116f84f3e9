//! Page structs of follow-up.

use askama::Template;

use crate::web::form_view::ErrorSummary;
use crate::web::shell::Shell;
use crate::web::views::PatientBanner;

/// A review with its reasons.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct PlannedView {
    pub on: String,
    pub on_iso: String,
    pub title: String,
    pub window: String,
    pub place: String,
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

/// `GET /patients/{id}/follow-up`
#[derive(Template)]
#[template(path = "follow_up/plan.html")]
pub struct FollowUpPage {
    /// Frame.
    pub shell: Shell,
    /// Whose.
    pub banner: PatientBanner,
    /// Nothing is typed here yet.
    pub errors: ErrorSummary,
    /// One per stoma, and one for reviews of none.
    pub plans: Vec<PlanView>,
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
    pub used_for: String,
    pub steps: Vec<StepView>,
}

/// `GET /protocols`
#[derive(Template)]
#[template(path = "follow_up/protocols.html")]
pub struct ProtocolsPage {
    /// Frame.
    pub shell: Shell,
    /// All that are shipped.
    pub protocols: Vec<ProtocolView>,
}
