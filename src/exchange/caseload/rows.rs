//! One row of the sheet: its cells to facts, with every problem found and not only the first.
//!
//! A wrong identity or clinical value refuses the row; free text and contact details never do. It must not compare rows:
//! that is `merge`.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use csv::StringRecord;

use super::columns::{ColumnMatch, column_name};
use super::facts::{CaseloadRow, IdentityKey, ImportedStoma, PersonFacts, identity_keys};
use super::fields::Field;
use super::plausible::{self, DateOf};
use super::problems::{Note, Problem, sentence, shortened};
use super::values::{self, DateUse, Order};
use crate::patients::names::tidy;

/// A row after reading.
#[derive(Clone, Debug)]
pub struct RowRead {
    /// Row of the sheet.
    pub row: u64,
    /// Keys of the person, as far as they could be read.
    pub keys: Vec<IdentityKey>,
    /// The facts; none when there is a problem.
    pub facts: Option<CaseloadRow>,
    /// What is wrong with the row.
    pub problems: Vec<Problem>,
    /// Remarks.
    pub notes: Vec<Note>,
}

/// A date column in which some dates stand month first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MonthFirst {
    /// A row that shows it.
    pub row: u64,
    /// What stands there.
    pub example: String,
}

/// How often something happened that is worth one remark for the whole file.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Serial numbers read as dates, by column.
    pub serials: BTreeMap<usize, u64>,
    /// Sizes of two lengths.
    pub two_lengths: u64,
    /// Numbers of the test range.
    pub test_numbers: u64,
}

/// What all rows have in common while they are read.
pub struct RowReader<'m> {
    /// The column of each field, at the field's place.
    columns: Vec<Option<&'m ColumnMatch>>,
    pub(super) today: NaiveDate,
    /// Date columns (place) with month-first dates.
    month_first: BTreeMap<usize, MonthFirst>,
    /// Counted over all rows.
    pub tally: Tally,
}

impl<'m> RowReader<'m> {
    /// For a sheet with these columns, as seen on `today`.
    pub fn new(columns: &'m [ColumnMatch], today: NaiveDate, month_first: BTreeMap<usize, MonthFirst>) -> Self {
        let mut by_field = vec![None; Field::ALL.len()];
        for found in columns {
            if let Some(place) = by_field.get_mut(found.field as usize) {
                *place = Some(found);
            }
        }
        Self { columns: by_field, today, month_first, tally: Tally::default() }
    }

    /// Reads one row.
    pub fn read(&mut self, row: u64, cells: &StringRecord) -> RowRead {
        let mut one = OneRow { reader: self, row, cells, problems: Vec::new(), notes: Vec::new() };
        one.check_names_whole();
        let person = one.person();
        let stoma = one.stoma();
        let (person, stoma) = one.status(person, stoma);
        one.check_dates(&person, stoma.as_ref());
        one.check_identified(&person);
        let keys = identity_keys(&person);
        let (problems, notes) = (one.problems, one.notes);
        let facts = match stoma {
            Some(stoma) if problems.is_empty() => Some(CaseloadRow { row, person, stoma }),
            _ => None,
        };
        RowRead { row, keys, facts, problems, notes }
    }
}

/// A row being read.
pub(super) struct OneRow<'r, 'm> {
    pub(super) reader: &'r mut RowReader<'m>,
    pub(super) row: u64,
    cells: &'r StringRecord,
    problems: Vec<Problem>,
    notes: Vec<Note>,
}

impl OneRow<'_, '_> {
    pub(super) fn column(&self, field: Field) -> Option<&ColumnMatch> {
        self.reader.columns.get(field as usize).copied().flatten()
    }

    /// The cell of a field, without blanks around it; empty when there is no such column.
    pub(super) fn cell(&self, field: Field) -> &str {
        self.column(field).and_then(|m| self.cells.get(m.column)).map_or("", values::bare)
    }

    pub(super) fn name_of(&self, field: Field) -> String {
        self.column(field).map_or_else(|| field.title().to_owned(), |m| column_name(&m.header, m.column))
    }

    pub(super) fn problem(&mut self, field: Field, why: impl Into<String>) {
        let (column, read) = (self.name_of(field), shortened(self.cell(field)));
        self.problems.push(Problem { row: self.row, column, read, why: sentence(&why.into()) });
    }

    pub(super) fn note(&mut self, field: Field, text: impl Into<String>) {
        self.notes.push(Note { row: Some(self.row), column: self.name_of(field), text: sentence(&text.into()) });
    }

    /// A value that must hold when it is there.
    pub(super) fn value<T>(&mut self, field: Field, read: impl Fn(&str) -> Result<T, String>) -> Option<T> {
        let cell = self.cell(field);
        if values::is_unknown(cell) {
            return None;
        }
        match read(cell) {
            Ok(value) => Some(value),
            Err(why) => {
                self.problem(field, why);
                None
            }
        }
    }

    /// Free text on one line; none when empty or "not known".
    pub(super) fn text(&self, field: Field) -> Option<String> {
        let cell = self.cell(field);
        if values::is_unknown(cell) { None } else { Some(tidy(cell)) }
    }

    pub(super) fn date(&mut self, field: Field, dates: DateUse) -> Option<NaiveDate> {
        let today = self.reader.today;
        let column = self.column(field)?.column;
        if let Some(shown) = self.reader.month_first.get(&column)
            && values::figures_order(self.cell(field)) == Some(Order::Either)
        {
            let why = format!(
                "this column has dates with the month first (row {}: {}), so day and month of this one are not certain; write the month as a word",
                shown.row, shown.example
            );
            self.problem(field, why);
            return None;
        }
        let read = self.value(field, |cell| values::date(cell, dates, today))?;
        if read.serial {
            *self.reader.tally.serials.entry(column).or_default() += 1;
        }
        Some(read.date)
    }

    /// Names and text that an earlier conversion has damaged.
    fn check_names_whole(&mut self) {
        for field in [Field::FamilyName, Field::GivenName, Field::FullName] {
            let cell = self.cell(field);
            if cell.contains('\u{fffd}') || saved_twice(cell) {
                self.problem(field, "letters of this name were lost when the sheet was saved; write the name again");
            } else if cell.contains(['\n', '\r']) {
                self.problem(field, "there is a line break inside the name; write it on one line");
            }
        }
    }

    /// Dates that cannot be true together.
    fn check_dates(&mut self, person: &PersonFacts, stoma: Option<&ImportedStoma>) {
        for (date, why) in plausible::contradictions(person, stoma, self.reader.today) {
            let choices = match date {
                DateOf::Field(field) => [field, field],
                DateOf::End => [Field::DeathDate, Field::StatusDate],
                DateOf::Reversed => [Field::StatusDate, Field::ReversalDate],
            };
            // The one of the two that has something in it.
            let first_is_blank = values::is_unknown(self.cell(choices[0]));
            self.problem(choices[usize::from(first_is_blank)], why);
        }
    }

    /// A name alone does not tell who somebody is.
    fn check_identified(&mut self, person: &PersonFacts) {
        if person.birth_date.is_none() && person.identifiers.is_empty() && self.problems.is_empty() {
            self.problem(Field::BirthDate, "there is neither a birth date nor a patient number; one of them is needed");
        }
    }
}

/// "FranÃ§ois": UTF-8 that was once read as Windows-1252. "Ã" and "Â" stand before a capital in real names, or at the end.
fn saved_twice(name: &str) -> bool {
    let mut chars = name.chars().peekable();
    while let Some(c) = chars.next() {
        let next_is_mark = chars.peek().is_some_and(|next| {
            matches!(
                next,
                '\u{a0}'
                    ..='\u{bf}'
                        | 'ƒ'
                        | '€'
                        | '‚'
                        | '„'
                        | '…'
                        | '†'
                        | '‡'
                        | 'ˆ'
                        | '‰'
                        | 'Š'
                        | '‹'
                        | 'Œ'
                        | 'Ž'
                        | '‘'
                        | '’'
                        | '“'
                        | '”'
                        | '•'
                        | '–'
                        | '—'
                        | '˜'
                        | '™'
                        | 'š'
                        | '›'
                        | 'œ'
                        | 'ž'
                        | 'Ÿ'
            )
        });
        if matches!(c, 'Ã' | 'Â' | 'Å' | 'Ä') && next_is_mark {
            return true;
        }
    }
    false
}
