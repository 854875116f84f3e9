//! Page structs of the calibration.

use askama::Template;

use crate::skin::domains::DomainQuestion;
use crate::skin::map_view::MapDrawing;
use crate::web::form_view::ErrorSummary;
use crate::web::shell::Shell;

/// One case in the list.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct CaseRow {
    pub title: String,
    pub href: Option<String>,
    pub state: String,
    pub mine: String,
    pub reference: String,
}

/// `GET /calibration`
#[derive(Template)]
#[template(path = "skin/calibration.html")]
pub struct CasesPage {
    /// Frame.
    pub shell: Shell,
    /// How far one is.
    pub standfirst: String,
    /// The cases.
    pub rows: Vec<CaseRow>,
    /// Agreement with the reference, once all cases are answered.
    pub agreement: Option<String>,
    /// Where cases and reference come from.
    pub source: String,
    /// For the lead.
    pub results: Option<String>,
}

/// `GET /calibration/{case}`
#[derive(Template)]
#[template(path = "skin/calibration_case.html")]
pub struct CasePage {
    /// Frame.
    pub shell: Shell,
    /// What is wrong.
    pub errors: ErrorSummary,
    /// Heading.
    pub heading: String,
    /// What is seen, felt and told.
    pub text: String,
    /// What is drawn.
    pub map: MapDrawing,
    /// Where the form goes.
    pub action: String,
    /// The three domains.
    pub domains: Vec<DomainQuestion>,
    /// Said before scoring.
    pub before_scoring: String,
}

/// Agreement of two.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct PairRow {
    pub one: String,
    pub other: String,
    pub cases: String,
    pub same: String,
    pub kappa: String,
}

/// `GET /calibration/results`
#[derive(Template)]
#[template(path = "skin/calibration_results.html")]
pub struct ResultsPage {
    /// Frame.
    pub shell: Shell,
    /// Who has answered how many.
    pub standfirst: String,
    /// Everybody against the reference.
    pub against: Vec<PairRow>,
    /// Every pair.
    pub pairs: Vec<PairRow>,
    /// How to read it, with sources.
    pub reading: Vec<String>,
    /// Red flags handed on and overruled.
    pub red_flags: String,
}
