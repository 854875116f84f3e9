//! From the bytes of a file to patients and problems: the stages of this folder in order.
//!
//! Deterministic: the same bytes, column list and day give the same answer, byte for byte.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Serialize;

use super::columns::{ColumnMap, ColumnMatch, Columns, NotBroughtIn, column_name, match_headings};
use super::decode::{Encoding, decode};
use super::dialect::{Sheet, SheetRow, is_blank, take_apart};
use super::lookalikes::lookalikes;
use super::merge::{ImportedPatient, merge};
use super::problems::{FileProblem, Note, Problem, count, row_words, sentence, shortened};
use super::rows::{MonthFirst, RowRead, RowReader, Tally};
use super::values::{Order, figures_order};

/// A sheet that was read.
#[derive(Clone, Debug)]
pub struct Reading {
    /// How the text was written.
    pub encoding: Encoding,
    /// What parts the cells.
    pub delimiter: char,
    /// Columns brought in.
    pub matches: Vec<ColumnMatch>,
    /// Columns left out.
    pub not_brought_in: Vec<NotBroughtIn>,
    /// Patients, by first row.
    pub patients: Vec<ImportedPatient>,
    /// Why rows were not brought in, by row.
    pub problems: Vec<Problem>,
    /// Remarks: about the file first, then by row.
    pub notes: Vec<Note>,
    /// Rows below the headings that are not blank.
    pub rows_read: usize,
}

impl Reading {
    /// Rows that went into patients.
    pub fn rows_accepted(&self) -> usize {
        self.patients.iter().map(|patient| patient.rows.len()).sum()
    }

    /// Rows that were not brought in.
    pub fn rows_refused(&self) -> usize {
        let mut rows: Vec<u64> = self.problems.iter().map(|problem| problem.row).collect();
        rows.dedup();
        rows.len()
    }
}

/// The columns of a sheet, for a person to confirm or correct before anything is read.
#[derive(Clone, Debug, Serialize)]
pub struct Survey {
    /// How the text was written.
    pub encoding: Encoding,
    /// What parts the cells.
    pub delimiter: char,
    /// All headings, in the order of the sheet.
    pub headers: Vec<String>,
    /// Row of the headings.
    pub heading_row: u64,
    /// Columns that would be brought in.
    pub matches: Vec<ColumnMatch>,
    /// Columns that would be left out.
    pub not_brought_in: Vec<NotBroughtIn>,
    /// Fields with several columns, in words: one must be chosen.
    pub ambiguous: Vec<String>,
    /// What is missing before anything can be read, in words.
    pub missing: Vec<&'static str>,
    /// The first rows that are not blank, for a look.
    pub sample: Vec<Vec<String>>,
    /// Rows below the headings that are not blank.
    pub rows: usize,
}

/// How many rows a survey shows.
const SAMPLE_ROWS: usize = 3;

/// Looks at the columns only.
///
/// # Errors
/// [`FileProblem`] when the file is no sheet or has no headings, or the column list does not fit.
pub fn survey(bytes: &[u8], map: Option<&ColumnMap>) -> Result<Survey, FileProblem> {
    let (text, encoding) = decode(bytes)?;
    let sheet = take_apart(&text, map)?;
    let columns = match_headings(&sheet.headers, map)?;
    let filled = || sheet.rows.iter().filter(|row| !is_blank(&row.cells));
    Ok(Survey {
        encoding,
        delimiter: sheet.delimiter,
        heading_row: sheet.heading_row,
        sample: filled().take(SAMPLE_ROWS).map(|row| row.cells.iter().map(shortened).collect()).collect(),
        rows: filled().count(),
        headers: sheet.headers,
        matches: columns.matches,
        not_brought_in: columns.not_brought_in,
        ambiguous: columns.ambiguous,
        missing: columns.missing,
    })
}

/// Reads a sheet as it is on `today`: every row that is not blank is in `patients` or in `problems`.
///
/// # Errors
/// [`FileProblem`] when nothing can be read at all.
pub fn read(bytes: &[u8], map: Option<&ColumnMap>, today: NaiveDate) -> Result<Reading, FileProblem> {
    let (text, encoding) = decode(bytes)?;
    let sheet = take_apart(&text, map)?;
    let columns = match_headings(&sheet.headers, map)?;
    if !columns.ambiguous.is_empty() {
        return Err(FileProblem::TwoColumns(columns.ambiguous));
    }
    if !columns.missing.is_empty() {
        return Err(FileProblem::Missing(columns.missing));
    }
    let month_first = month_first_columns(&sheet, &columns);
    let mut notes = month_first_notes(&sheet, &month_first);
    let mut reader = RowReader::new(&columns.matches, today, month_first);
    let mut reads = Vec::with_capacity(sheet.rows.len());
    let (mut blank, mut headings_again) = (0_u64, 0_u64);
    for row in &sheet.rows {
        if is_blank(&row.cells) {
            blank += 1;
        } else if repeats_headings(row, &sheet) {
            headings_again += 1;
        } else {
            reads.push(check_shape(row, &sheet).unwrap_or_else(|| reader.read(row.number, &row.cells)));
        }
    }
    let rows_read = reads.len();
    let tally = reader.tally;
    let merged = merge(reads, today);
    notes.extend(file_notes(&sheet, &columns, &tally, blank, headings_again));
    let mut row_notes = merged.notes;
    row_notes.extend(lookalikes(&merged.patients));
    row_notes.sort_by_key(|note| note.row);
    notes.extend(row_notes);
    Ok(Reading {
        encoding,
        delimiter: sheet.delimiter,
        matches: columns.matches,
        not_brought_in: columns.not_brought_in,
        patients: merged.patients,
        problems: merged.problems,
        notes,
        rows_read,
    })
}

/// Headings printed again further down, as long sheets have them.
fn repeats_headings(row: &SheetRow, sheet: &Sheet) -> bool {
    let cells = row.cells.iter().map(|cell| cell.split_whitespace().collect::<Vec<_>>().join(" "));
    cells.eq(sheet.headers.iter().cloned())
}

/// A row whose cells cannot be trusted to stand in their columns.
fn check_shape(row: &SheetRow, sheet: &Sheet) -> Option<RowRead> {
    let width = sheet.headers.len();
    let problem = |column: usize, cell: &str, why: String| RowRead {
        row: row.number,
        keys: Vec::new(),
        facts: None,
        problems: vec![Problem {
            row: row.number,
            column: column_name(sheet.headers.get(column).map_or("", String::as_str), column),
            read: shortened(cell),
            why: sentence(&why),
        }],
        notes: Vec::new(),
    };
    let beyond = row.cells.iter().enumerate().skip(width).find(|(_, cell)| !cell.trim().is_empty());
    if let Some((column, cell)) = beyond {
        let why = format!(
            "the row has more cells than the sheet has headings; a cell with “{}” in it may lack its quotation marks",
            sheet.delimiter
        );
        return Some(problem(column, cell, why));
    }
    for (column, cell) in row.cells.iter().enumerate() {
        let swallowed = cell.lines().skip(1).filter(|line| looks_like_a_row(line, sheet)).count();
        if swallowed > 0 {
            let why = format!(
                "the cell holds {swallowed} further lines that look like rows; a quotation mark is missing or too many, and those rows were not read"
            );
            return Some(problem(column, cell, why));
        }
    }
    None
}

/// As many delimiters as a row of the sheet has; sheets of fewer than four columns are left alone.
fn looks_like_a_row(line: &str, sheet: &Sheet) -> bool {
    let between = sheet.headers.len().saturating_sub(1);
    between >= 3 && line.matches(sheet.delimiter).count() >= between
}

/// Share of month-first dates among those with a certain order from which a column is no longer trusted: one in ten
/// (local). Below it, a few dates are slips of the pen, and only they are reported.
const MONTH_FIRST_ONE_IN: usize = 10;

/// Date columns in which the month stands first, at least at times.
fn month_first_columns(sheet: &Sheet, columns: &Columns) -> BTreeMap<usize, MonthFirst> {
    let mut suspicious = BTreeMap::new();
    for found in columns.matches.iter().filter(|found| found.field.is_date()) {
        let (mut day_first, mut month_first) = (0_usize, Vec::new());
        for row in &sheet.rows {
            let cell = row.cells.get(found.column).unwrap_or_default();
            match figures_order(cell) {
                Some(Order::DayFirstOnly) => day_first += 1,
                Some(Order::MonthFirstOnly) => month_first.push((row.number, cell)),
                _ => {}
            }
        }
        if let Some((row, example)) = month_first.first()
            && month_first.len() * MONTH_FIRST_ONE_IN >= day_first
        {
            suspicious.insert(found.column, MonthFirst { row: *row, example: shortened(example) });
        }
    }
    suspicious
}

fn month_first_notes(sheet: &Sheet, suspicious: &BTreeMap<usize, MonthFirst>) -> Vec<Note> {
    let note = |(column, shown): (&usize, &MonthFirst)| Note {
        row: None,
        column: column_name(sheet.headers.get(*column).map_or("", String::as_str), *column),
        text: format!(
            "Dates with the month first were found, such as {} in row {}. Dates that can be read both ways were not taken",
            shown.example, shown.row
        ),
    };
    suspicious.iter().map(note).collect()
}

/// What is worth one remark for the whole file.
fn file_notes(sheet: &Sheet, columns: &Columns, tally: &Tally, blank: u64, headings_again: u64) -> Vec<Note> {
    let mut notes = Vec::new();
    if !sheet.above.is_empty() {
        notes.push(Note::file(format!("Text above the headings was left out ({})", row_words(&sheet.above))));
    }
    if blank > 0 {
        notes.push(Note::file(format!("Left out: {} with blank cells only", count(blank, "row", "rows"))));
    }
    if headings_again > 0 {
        let rows = count(headings_again, "row that repeats", "rows that repeat");
        notes.push(Note::file(format!("Left out: {rows} the headings")));
    }
    for (column, number) in &tally.serials {
        let header = columns.matches.iter().find(|m| m.column == *column).map_or("", |m| &m.header);
        let text = format!(
            "{} as a number and read as days since 1900, as most spreadsheets count them; compare one with the sheet",
            count(*number, "date stood", "dates stood")
        );
        notes.push(Note { row: None, column: column_name(header, *column), text });
    }
    if tally.two_lengths > 0 {
        let sizes = count(tally.two_lengths, "size", "sizes");
        notes.push(Note::file(format!("{sizes} with two lengths, read as width x height")));
    }
    if tally.test_numbers > 0 {
        let numbers = count(tally.test_numbers, "NHS number", "NHS numbers");
        notes.push(Note::file(format!("{numbers} from the range kept for tests; no patient has such a number")));
    }
    notes
}
