//! What is said when a file or a row cannot be taken, or was taken with a remark.
//!
//! Words only; it must not know how anything is read.

use serde::Serialize;
use thiserror::Error;

/// Why a row was not brought in. A row may have several.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Problem {
    /// Row of the sheet as a spreadsheet program numbers it; the headings usually stand in row 1.
    pub row: u64,
    /// Heading of the column; "column F" when it has none; empty for the whole row.
    pub column: String,
    /// What stood in the cell, shortened to 80 characters.
    pub read: String,
    /// What is wrong and what to do.
    pub why: String,
}

/// A remark about something that was brought in.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Note {
    /// Row of the sheet; none for the whole file.
    pub row: Option<u64>,
    /// Heading of the column; empty for the whole row or file.
    pub column: String,
    /// What was noticed and what was done.
    pub text: String,
}

impl Note {
    /// A remark about the whole file.
    pub fn file(text: impl Into<String>) -> Self {
        Self { row: None, column: String::new(), text: text.into() }
    }
}

/// Why a file was refused as a whole; nothing of it was read.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum FileProblem {
    /// No bytes, or blanks only.
    #[error("The file is empty. Save the sheet as CSV and choose that file")]
    Empty,
    /// Another kind of file, recognised by its first bytes.
    #[error("This is {0}, not a CSV file. Open it, choose “Save as”, take “CSV UTF-8” and choose the new file")]
    OtherKind(&'static str),
    /// Bytes that are no text.
    #[error(
        "This is no text: there is a control character in line {line}. Save the sheet as “CSV UTF-8” and choose the new file"
    )]
    Binary {
        /// Line of the file, from 1.
        line: usize,
    },
    /// Text in an encoding that is not known here.
    #[error(
        "Line {line} has a character that is neither UTF-8 nor Windows-1252. Save the sheet as “CSV UTF-8” and choose the new file"
    )]
    Encoding {
        /// Line of the file, from 1.
        line: usize,
    },
    /// A quotation mark that opens a cell and is never closed.
    #[error("A quotation mark in row {row} is never closed, so the cells after it run together. Remove it or close it")]
    OpenQuote {
        /// Row of the sheet.
        row: u64,
    },
    /// More rows than are taken at once.
    #[error("The sheet has more than {limit} rows. Cut it into several files")]
    TooManyRows {
        /// The limit.
        limit: usize,
    },
    /// No row with headings that are known.
    #[error(
        "No row with column headings was found in the first {looked} rows. The first row must name the columns, such as Surname, Forename, Date of birth, NHS number, Stoma"
    )]
    NoHeadings {
        /// How many rows were looked at.
        looked: usize,
    },
    /// Headings were found, but without them nobody can be registered.
    #[error("There is no column for {}. Add it, or say in the column list which column it is", .0.join(", nor for "))]
    Missing(Vec<&'static str>),
    /// Several columns for one field.
    #[error("{}. Say which one to take, or rename the others", .0.join("; "))]
    TwoColumns(Vec<String>),
    /// The list of columns does not fit.
    #[error("The column list does not fit: {}", .0.join("; "))]
    Map(Vec<String>),
}

/// A cell's text for a report: one line, at most 80 characters.
pub fn shortened(cell: &str) -> String {
    let line = cell.split_whitespace().collect::<Vec<_>>().join(" ");
    match line.char_indices().nth(80) {
        Some((at, _)) => format!("{}…", &line[..at]),
        None => line,
    }
}

/// A sentence begins with a capital, wherever its words come from.
pub fn sentence(words: &str) -> String {
    let mut chars = words.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// "1 row", "2 rows".
pub fn count(number: u64, one: &str, several: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { several })
}

/// "row 5" or "rows 5, 7 and 9".
pub fn row_words(rows: &[u64]) -> String {
    let words: Vec<String> = rows.iter().map(u64::to_string).collect();
    match words.as_slice() {
        [one] => format!("row {one}"),
        [rest @ .., last] => format!("rows {} and {last}", rest.join(", ")),
        [] => "no other row".to_owned(),
    }
}
