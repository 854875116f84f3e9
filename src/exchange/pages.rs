//! Page structs of bringing a spreadsheet in.

use askama::Template;

use crate::web::form_view::{Choice, ErrorSummary, Field};
use crate::web::shell::Shell;

/// `GET /import`
#[derive(Template)]
#[template(path = "exchange/upload.html")]
pub struct UploadPage {
    /// Frame.
    pub shell: Shell,
    /// What is wrong.
    pub errors: ErrorSummary,
    /// The file.
    pub file: Field,
}

/// A column with the field it is taken for.
pub struct ColumnView {
    /// Heading.
    pub header: String,
    /// What the first rows hold.
    pub sample: String,
    /// Which field; the first choice leaves it out.
    pub field: Field,
    /// Choices.
    pub choices: Vec<Choice>,
}

/// A row not brought in, or a remark.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct RowView {
    pub row: String,
    pub column: String,
    pub read: String,
    pub why: String,
}

/// What was read, before anything is written; and what was written.
#[derive(Template)]
#[template(path = "exchange/check.html")]
pub struct CheckPage {
    /// Frame.
    pub shell: Shell,
    /// What is wrong with the columns.
    pub errors: ErrorSummary,
    /// Heading.
    pub heading: String,
    /// Counts in a sentence.
    pub standfirst: String,
    /// Where the form goes; none once it is done.
    pub action: Option<String>,
    /// How the file was written.
    pub how: String,
    /// Columns.
    pub columns: Vec<ColumnView>,
    /// Rows refused.
    pub problems: Vec<RowView>,
    /// Refused rows that are not listed here.
    pub more_problems: usize,
    /// Remarks.
    pub notes: Vec<RowView>,
    /// What the button says; none when nothing would be added.
    pub button: Option<String>,
}
