//! Cells to values: dates in all the ways spreadsheets have them, sizes, words of status and gender, full names.
//!
//! A value that is not certain is an error in words; nothing is guessed or mended.

use std::ops::RangeInclusive;

use chrono::{Days, NaiveDate};

use super::facts::{EndWord, Gender};
use crate::dates_in::{OLDEST_AGE_YEARS, clinical_window, read_date_between, years_after, years_before};
use crate::patients::names::fold_for_search;

/// Years ahead of today in which a date can lie (local: the longest plans are yearly reviews some years on).
const YEARS_AHEAD: u32 = 10;

/// Smallest and largest width or height of a stoma on the skin that is believed, in mm (local: outside it is a slip).
const SIZE_MM: RangeInclusive<i32> = 5..=150;

/// Protrusion believed, in mm; below 0 is retracted (local).
const PROTRUSION_MM: RangeInclusive<i32> = -30..=150;

/// The cell without what spreadsheets put around it: blanks, the `'` that forces text, and `="…"`.
pub fn bare(cell: &str) -> &str {
    let cell = cell.trim();
    if let Some(quoted) = cell.strip_prefix("=\"").and_then(|rest| rest.strip_suffix('"')) {
        return quoted.trim();
    }
    match cell.strip_prefix('\'') {
        Some(rest) if rest.starts_with(|c: char| c.is_ascii_digit() || "=+-@".contains(c)) => rest,
        _ => cell,
    }
}

/// True when the cell says that the thing is not known or not there. Not for names, see [`unknown_name`].
pub fn is_unknown(cell: &str) -> bool {
    const WORDS: [&str; 15] = [
        "nk",
        "n k",
        "not known",
        "unknown",
        "unk",
        "not recorded",
        "na",
        "n a",
        "nil",
        "none",
        "tbc",
        "tba",
        "not applicable",
        "not stated",
        "null",
    ];
    // The longest of the words has 14 letters: longer cells are not worth folding.
    only_marks(cell) || (cell.len() <= 20 && WORDS.contains(&fold_for_search(cell).as_str()))
}

/// Nothing but blanks and the marks that people put for "not known".
fn only_marks(cell: &str) -> bool {
    cell.chars().all(|c| c.is_whitespace() || "?-–—./".contains(c))
}

/// True when a cell says that a name is not known. "Na", "No" and "Nil" are people's names.
pub fn unknown_name(cell: &str) -> bool {
    only_marks(cell)
        || matches!(fold_for_search(cell).as_str(), "n k" | "not known" | "unknown" | "unk" | "not recorded")
}

/// A date that was read, and whether it stood there as a spreadsheet's serial number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SheetDate {
    /// The date.
    pub date: NaiveDate,
    /// It was a serial number.
    pub serial: bool,
}

/// Which dates a column can hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DateUse {
    /// A birth date: not after today; a two-digit year only if one century fits.
    Birth,
    /// Any other.
    Clinical,
}

/// Reads a date cell that is not unknown. Day first.
///
/// # Errors
/// Why it was not taken, and what to write.
pub fn date(cell: &str, dates: DateUse, today: NaiveDate) -> Result<SheetDate, String> {
    let oldest = years_before(today, OLDEST_AGE_YEARS);
    let (bounds, window) = match dates {
        DateUse::Birth => (oldest..=today, oldest..=today),
        DateUse::Clinical => (oldest..=years_after(today, YEARS_AHEAD), clinical_window(today)),
    };
    let cell = without_time(bare(cell));
    if let Some(number) = serial_number(cell) {
        return match excel_serial(number).filter(|date| bounds.contains(date)) {
            Some(date) => Ok(SheetDate { date, serial: true }),
            None => Err("the number is no date that can be right here; write the date as 15-Nov-2024".to_owned()),
        };
    }
    // "today" and "+6w" are for forms; in a sheet they would mean another day each time it is read.
    if !cell.starts_with(|c: char| c.is_ascii_alphanumeric()) || !cell.contains(|c: char| c.is_ascii_digit()) {
        return Err("it was not understood as a date; write it as 15-Nov-2024, or leave it empty".to_owned());
    }
    match read_date_between(cell, today, &bounds, &window) {
        Ok(date) => Ok(SheetDate { date, serial: false }),
        Err(problem) => Err(problem.to_string()),
    }
}

/// The date part of "2024-03-05T00:00:00" or "05/03/2024 09:30".
fn without_time(cell: &str) -> &str {
    match cell.find(':') {
        Some(colon) => match cell[..colon].rfind([' ', 'T']) {
            Some(at) => cell[..at].trim_end_matches(',').trim_end(),
            None => cell,
        },
        None => cell,
    }
}

/// A cell of four or five digits (with a fraction for the time of day) that is not a year.
fn serial_number(cell: &str) -> Option<u32> {
    let (whole, fraction) = cell.split_once('.').unwrap_or((cell, "0"));
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    if !digits(whole) || !digits(fraction) || !(4..=5).contains(&whole.len()) {
        return None;
    }
    let number: u32 = whole.parse().ok()?;
    // 1800 to 2199 in four digits is a year, not a day of 1905.
    (!(1800..2200).contains(&number)).then_some(number)
}

/// The day of a serial number in the 1900 date system: 1 is 1 January 1900, and 60 is a 29 February 1900 that never was,
/// a fault kept by spreadsheet programs ever since (their documentation of the 1900 date system: from memory).
pub fn excel_serial(number: u32) -> Option<NaiveDate> {
    let zero = NaiveDate::from_ymd_opt(1899, 12, if number > 60 { 30 } else { 31 })?;
    match number {
        0 | 60 => None,
        _ => zero.checked_add_days(Days::new(u64::from(number))),
    }
}

/// Which order the figures of a numeric date allow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// The first number is above 12: it is the day.
    DayFirstOnly,
    /// The second number is above 12: the month must stand first.
    MonthFirstOnly,
    /// Both can be either.
    Either,
}

/// The order of a date written as figures with the year last; `None` for anything else and for equal figures.
pub fn figures_order(cell: &str) -> Option<Order> {
    let mut parts = without_time(bare(cell)).split(['/', '-', '.', ' ']).map(str::trim);
    let (first, second, year) = (parts.next()?, parts.next()?, parts.next()?);
    let small = |text: &str| (1..=2).contains(&text.len()).then(|| text.parse::<u32>().ok()).flatten();
    let (first, second) = (small(first)?, small(second)?);
    if parts.next().is_some() || !matches!(year.len(), 2 | 4) || !year.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    match (first, second) {
        (13..=31, 1..=12) => Some(Order::DayFirstOnly),
        (1..=12, 13..=31) => Some(Order::MonthFirstOnly),
        (1..=12, 1..=12) if first != second => Some(Order::Either),
        _ => None,
    }
}

/// A width, or width × height, in whole mm; a decimal of cm is taken when it says cm.
///
/// # Errors
/// What to write.
pub fn size(cell: &str) -> Result<(i32, Option<i32>), String> {
    let lower = bare(cell).to_lowercase().replace(['×', '*'], "x");
    let centimetres = lower.contains("cm");
    let parts: Vec<&str> = lower.split('x').map(str::trim).collect();
    let lengths: Vec<i32> = parts
        .iter()
        .map(|part| millimetres(part, centimetres).filter(|mm| SIZE_MM.contains(mm)))
        .collect::<Option<_>>()
        .ok_or_else(size_wanted)?;
    match lengths.as_slice() {
        [width] => Ok((*width, None)),
        [width, height] => Ok((*width, Some(*height))),
        _ => Err(size_wanted()),
    }
}

fn size_wanted() -> String {
    format!("write the width in whole mm, from {} to {}, or width x height", SIZE_MM.start(), SIZE_MM.end())
}

/// A protrusion in whole mm; "flush" is 0.
///
/// # Errors
/// What to write.
pub fn protrusion(cell: &str) -> Result<i32, String> {
    let lower = bare(cell).to_lowercase();
    if lower == "flush" {
        return Ok(0);
    }
    let wanted =
        || format!("write whole mm, from {} (retracted) to {}, or flush", PROTRUSION_MM.start(), PROTRUSION_MM.end());
    millimetres(&lower, lower.contains("cm")).filter(|mm| PROTRUSION_MM.contains(mm)).ok_or_else(wanted)
}

/// Whole millimetres of "32", "32 mm" or, when the cell speaks of cm, "3.2 cm" and "3.2".
fn millimetres(text: &str, centimetres: bool) -> Option<i32> {
    let number = text.trim_end_matches("mm").trim_end_matches("cm").trim();
    if !centimetres {
        return number.parse().ok();
    }
    let (whole, tenths) = number.split_once('.').unwrap_or((number, "0"));
    let tenths: i32 = (tenths.len() == 1).then(|| tenths.parse().ok()).flatten()?;
    let whole: i32 = whole.parse().ok().filter(|cm| (0..=100).contains(cm))?;
    Some(whole * 10 + tenths)
}

/// Gender, by the words of the UK standard for current gender (ISB 1507: read) and by the NHS codes 1 and 2, on which
/// all its lists agree (NHS Data Dictionary, person stated gender code: read).
///
/// # Errors
/// What to write.
pub fn gender(cell: &str) -> Result<Gender, String> {
    match fold_for_search(cell).as_str() {
        "m" | "male" | "man" | "1" => Ok(Gender::Male),
        "f" | "female" | "woman" | "2" => Ok(Gender::Female),
        "other" | "other specific" | "non binary" | "nonbinary" => Ok(Gender::OtherSpecific),
        "not specified" | "prefer not to say" => Ok(Gender::NotSpecified),
        _ => Err("write Female, Male, Other specific or Not specified, or leave it empty".to_owned()),
    }
}

/// What the status column said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Status {
    /// On the caseload.
    Active,
    /// The stoma of this row was reversed.
    Reversed,
    /// The whole record has ended.
    Ended(EndWord),
}

/// Reads a status. "Discharged" is not taken: from hospital or from the caseload, nobody can tell.
///
/// # Errors
/// What to write.
pub fn status(cell: &str) -> Result<Status, String> {
    match fold_for_search(cell).as_str() {
        "active" | "current" | "live" | "open" | "on caseload" => Ok(Status::Active),
        "reversed" | "stoma reversed" | "reversal done" => Ok(Status::Reversed),
        "died" | "dead" | "deceased" | "rip" | "passed away" => Ok(Status::Ended(EndWord::Died)),
        "moved" | "moved away" | "out of area" | "moved out of area" => Ok(Status::Ended(EndWord::MovedAway)),
        "declined" | "declined follow up" => Ok(Status::Ended(EndWord::Declined)),
        _ => Err("write active, reversed, died, moved or declined".to_owned()),
    }
}
