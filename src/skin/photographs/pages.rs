//! Page struct of a patient's photographs.

use askama::Template;

use crate::web::form_view::{ErrorSummary, Field, Question};
use crate::web::shell::Shell;
use crate::web::views::{Link, PatientBanner};

/// One photograph.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct PhotographView {
    pub id: String,
    pub src: Option<String>,
    pub alt: String,
    pub on: String,
    pub what: String,
    pub consent: String,
    pub by: String,
    pub width: i32,
    pub height: i32,
    pub removed: Option<String>,
    pub remove: Option<String>,
    pub reason: Field,
}

/// The form that adds one.
#[allow(missing_docs, reason = "one field per question of the form")]
pub struct AddForm {
    pub action: String,
    pub once: String,
    pub file: Field,
    pub taken_on: Field,
    pub stoma: Option<Question>,
    pub what: Field,
    pub consent: Question,
    pub consent_note: Field,
}

/// `GET /patients/{id}/photographs`
#[derive(Template)]
#[template(path = "skin/photographs.html")]
pub struct PhotographsPage {
    /// Frame.
    pub shell: Shell,
    /// Whose.
    pub banner: PatientBanner,
    /// Parts of the record.
    pub parts: Vec<Link>,
    /// What is wrong.
    pub errors: ErrorSummary,
    /// The newest first.
    pub photographs: Vec<PhotographView>,
    /// For those who may add.
    pub add: Option<AddForm>,
}
