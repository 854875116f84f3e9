//! Reading a date that a person typed, as people type them: "5 Nov 2026", "05-Nov-2026", "5/11/2026", "today", "+6w".
//!
//! Pure: the text and today's date come in, a date or a [`DateProblem`] goes out. Day first, as in the United Kingdom;
//! the page echoes what was read. It must never guess: what has two readings is refused with both of them in the answer.

use std::ops::RangeInclusive;

use chrono::{Datelike, Days, Months, NaiveDate, Weekday};
use thiserror::Error;

use crate::display::{short_date, weekday_date};

/// Two-digit years in clinical dates: from this many years ago … (local: longer than anyone has had a stoma on a caseload).
const CLINICAL_YEARS_BACK: u32 = 80;
/// … to this many years ahead (local). Together under a century, so that each two-digit year has one reading or none.
const CLINICAL_YEARS_AHEAD: u32 = 10;
/// Oldest birth date believed, in years before today (local: nobody is known to have lived longer than 122 years).
pub const OLDEST_AGE_YEARS: u32 = 122;

/// Why a typed date was refused. The words say what to type.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum DateProblem {
    /// Nothing was typed.
    #[error("Enter the date as 15 Nov 2026")]
    Empty,
    /// "Unknown", "n/k" or "?" was typed; the caller decides whether that will do.
    #[error("Leave the date empty if it is not known, or enter it as 15 Nov 2026")]
    Unknown,
    /// It does not look like a date.
    #[error("“{0}” was not understood. Enter the date as 15 Nov 2026")]
    NotADate(String),
    /// Day and month without a year.
    #[error("“{0}” has no year. Enter the date with its year, as 15 Nov 2026")]
    NoYear(String),
    /// A month or a year alone.
    #[error("“{0}” is no full date. Enter day, month and year, as 15 Nov 2026")]
    NoDay(String),
    /// A month that does not exist, though the first number could be one: month-first order.
    #[error("There is no month {month}. The day comes first: if {} is meant, enter it as {}", short_date(*.meant), spoken(*.meant))]
    MonthFirst {
        /// What was typed as month.
        month: u32,
        /// The date with the two numbers the other way round.
        meant: NaiveDate,
    },
    /// A day or month that does not exist.
    #[error("There is no {day}/{month}/{year:04}. Enter the date as 15 Nov 2026")]
    NoSuchDay {
        /// Day as typed.
        day: u32,
        /// Month as typed.
        month: u32,
        /// Year as typed.
        year: i32,
    },
    /// A two-digit year that fits more than one century.
    #[error("The year {year:02} has two readings. Enter {} or {}", spoken(*.earlier), spoken(*.later))]
    TwoReadings {
        /// The two digits.
        year: i32,
        /// The reading in the earlier century.
        earlier: NaiveDate,
        /// The reading in the later century.
        later: NaiveDate,
    },
    /// Figures alone with a two-digit year, where either of the first two may be the day.
    #[error("“{typed}” has two readings: {} or {}. Choose one, or enter the month as a word", weekday_date(*.day_first), weekday_date(*.month_first))]
    DayOrMonth {
        /// What was typed.
        typed: String,
        /// The reading with the day in front.
        day_first: NaiveDate,
        /// The reading with the month in front.
        month_first: NaiveDate,
    },
    /// A two-digit year that fits no century within the bounds.
    #[error("The year {0:02} is not clear. Enter the year with four digits, as 15 Nov 2026")]
    UnclearYear(i32),
    /// A date outside what can be meant here.
    #[error("{} cannot be right here: the date must lie between {} and {}", short_date(*.date), short_date(*.earliest), short_date(*.latest))]
    OutOfBounds {
        /// What was read.
        date: NaiveDate,
        /// First date that would do.
        earliest: NaiveDate,
        /// Last date that would do.
        latest: NaiveDate,
    },
    /// The weekday typed in front does not belong to the date.
    #[error("{} is not the weekday that was typed: {}. Check the date", short_date(*.date), weekday_date(*.date))]
    WrongWeekday {
        /// What was read.
        date: NaiveDate,
    },
}

impl DateProblem {
    /// What may have been meant, to choose from: never more than two (a common guide for clinical screens allows no more).
    pub fn readings(&self) -> Vec<NaiveDate> {
        match self {
            Self::MonthFirst { meant, .. } => vec![*meant],
            Self::TwoReadings { earlier, later, .. } => vec![*earlier, *later],
            Self::DayOrMonth { day_first, month_first, .. } => vec![*day_first, *month_first],
            _ => Vec::new(),
        }
    }
}

/// Readings of a typed clinical date to choose from, as it would be typed and as it is shown; none for a date that is
/// clear or hopeless.
pub fn offers(text: &str, today: NaiveDate) -> Vec<(String, String)> {
    let readings = read_date(text, today).err().map(|problem| problem.readings()).unwrap_or_default();
    readings.into_iter().map(|date| (short_date(date), weekday_date(date))).collect()
}

/// Reads a clinical date: within 122 years back and 10 years ahead, two-digit years within 80 back and 10 ahead.
///
/// # Errors
/// [`DateProblem`], with what to type instead.
pub fn read_date(text: &str, today: NaiveDate) -> Result<NaiveDate, DateProblem> {
    let bounds = years_before(today, OLDEST_AGE_YEARS)..=years_after(today, CLINICAL_YEARS_AHEAD);
    let window = clinical_window(today);
    let day_first = read_date_between(text, today, &bounds, &window)?;
    match month_first(text, &window) {
        Some(month_first) if month_first != day_first => {
            Err(DateProblem::DayOrMonth { typed: text.trim().to_owned(), day_first, month_first })
        }
        _ => Ok(day_first),
    }
}

/// The other reading of figures alone with a two-digit year, "05/11/26": with the month in front. With a year in four
/// figures the day comes first, as everywhere in the United Kingdom, and what was read is echoed.
fn month_first(text: &str, window: &RangeInclusive<NaiveDate>) -> Option<NaiveDate> {
    let parts: Vec<Part> = words(text.trim())?.iter().map(|word| part(word)).collect::<Option<_>>()?;
    let [Part::Number(month, 1..=2), Part::Number(day, 1..=2), Part::Number(year, 2)] = *parts.as_slice() else {
        return None;
    };
    century(day, month, i32::try_from(year).ok()?, window).ok()
}

/// Reads a birth date: not after today, at most 122 years back. A two-digit year is taken only if one century fits.
///
/// # Errors
/// [`DateProblem`], with what to type instead.
pub fn read_birth_date(text: &str, today: NaiveDate) -> Result<NaiveDate, DateProblem> {
    let bounds = years_before(today, OLDEST_AGE_YEARS)..=today;
    read_date_between(text, today, &bounds, &bounds)
}

/// The window for two-digit years of clinical dates.
pub fn clinical_window(today: NaiveDate) -> RangeInclusive<NaiveDate> {
    years_before(today, CLINICAL_YEARS_BACK)..=years_after(today, CLINICAL_YEARS_AHEAD)
}

/// Reads a date that must lie within `bounds`; a two-digit year must have exactly one reading within `window`.
///
/// # Errors
/// [`DateProblem`], with what to type instead.
pub fn read_date_between(
    text: &str,
    today: NaiveDate,
    bounds: &RangeInclusive<NaiveDate>,
    window: &RangeInclusive<NaiveDate>,
) -> Result<NaiveDate, DateProblem> {
    let typed = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let lower = typed.to_lowercase();
    let date = match lower.as_str() {
        "" => return Err(DateProblem::Empty),
        "?" | "unknown" | "not known" | "n/k" | "nk" => return Err(DateProblem::Unknown),
        "today" => today,
        "tomorrow" => today.succ_opt().unwrap_or(today),
        "yesterday" => today.pred_opt().unwrap_or(today),
        _ if lower.starts_with(['+', '-', '−']) => {
            shifted(&lower, today).ok_or_else(|| DateProblem::NotADate(typed.clone()))?
        }
        _ => written(&typed, &lower, window)?,
    };
    if bounds.contains(&date) {
        Ok(date)
    } else {
        Err(DateProblem::OutOfBounds { date, earliest: *bounds.start(), latest: *bounds.end() })
    }
}

/// "+6w", "-2d", "+3m", "+1y": counted from today, months clamped to the month's end.
fn shifted(text: &str, today: NaiveDate) -> Option<NaiveDate> {
    let sign = text.chars().next()?;
    let rest = text[sign.len_utf8()..].trim();
    let unit = rest.chars().last()?;
    let number: u32 = rest[..rest.len() - unit.len_utf8()].trim_end().parse().ok().filter(|n| *n <= 9999)?;
    let days = Days::new(u64::from(number) * if unit == 'w' { 7 } else { 1 });
    let months = Months::new(number * if unit == 'y' { 12 } else { 1 });
    match (sign, unit) {
        ('+', 'd' | 'w') => today.checked_add_days(days),
        ('+', 'm' | 'y') => today.checked_add_months(months),
        (_, 'd' | 'w') => today.checked_sub_days(days),
        (_, 'm' | 'y') => today.checked_sub_months(months),
        _ => None,
    }
}

/// One part of a written date.
#[derive(Clone, Copy)]
enum Part {
    /// A number and how many digits it was written with.
    Number(u32, usize),
    Month(u32),
}

/// A date written out, with or without the weekday in front.
fn written(typed: &str, lower: &str, window: &RangeInclusive<NaiveDate>) -> Result<NaiveDate, DateProblem> {
    let not_a_date = || DateProblem::NotADate(typed.chars().take(40).collect());
    let words = words(lower).ok_or_else(not_a_date)?;
    let (weekday, words) = match words.split_first() {
        Some((first, rest)) if weekday(first).is_some() => (weekday(first), rest),
        _ => (None, words.as_slice()),
    };
    let parts: Vec<Part> = words.iter().map(|word| part(word)).collect::<Option<_>>().ok_or_else(not_a_date)?;
    let (day, month, year, digits) = match *parts.as_slice() {
        [Part::Number(year, 4), Part::Number(month, 1..=2), Part::Number(day, 1..=2)] => (day, month, year, 4),
        [
            Part::Number(day, 1..=2),
            Part::Number(month, 1..=2) | Part::Month(month),
            Part::Number(year, digits @ (2 | 4)),
        ]
        | [Part::Month(month), Part::Number(day, 1..=2), Part::Number(year, digits @ 4)] => (day, month, year, digits),
        [Part::Number(_, 1..=2), Part::Month(_) | Part::Number(_, 1..=2)]
        | [Part::Month(_), Part::Number(_, 1..=2)] => return Err(DateProblem::NoYear(typed.to_owned())),
        [Part::Number(_, 4)] | [Part::Month(_) | Part::Number(_, 1..=2), Part::Number(_, 4)] => {
            return Err(DateProblem::NoDay(typed.to_owned()));
        }
        _ => return Err(not_a_date()),
    };
    let year = i32::try_from(year).map_err(|_| not_a_date())?;
    let date = if digits == 2 { century(day, month, year, window) } else { calendar(day, month, year) }?;
    match weekday {
        Some(weekday) if weekday != date.weekday() => Err(DateProblem::WrongWeekday { date }),
        _ => Ok(date),
    }
}

/// A two-digit year: the one century in which the date lies inside the window.
fn century(day: u32, month: u32, year: i32, window: &RangeInclusive<NaiveDate>) -> Result<NaiveDate, DateProblem> {
    let readings: Vec<Result<NaiveDate, DateProblem>> =
        [1800, 1900, 2000, 2100].iter().map(|century| calendar(day, month, century + year)).collect();
    let inside: Vec<NaiveDate> = readings.iter().flatten().copied().filter(|date| window.contains(date)).collect();
    match inside.as_slice() {
        [date] => Ok(*date),
        [earlier, later, ..] => Err(DateProblem::TwoReadings { year, earlier: *earlier, later: *later }),
        // Nothing inside: if the day exists in no century, that is the reason to give.
        [] if readings.iter().all(Result::is_err) => calendar(day, month, 2000 + year),
        [] => Err(DateProblem::UnclearYear(year)),
    }
}

fn calendar(day: u32, month: u32, year: i32) -> Result<NaiveDate, DateProblem> {
    NaiveDate::from_ymd_opt(year, month, day).ok_or_else(|| match NaiveDate::from_ymd_opt(year, day, month) {
        Some(meant) if month > 12 => DateProblem::MonthFirst { month, meant },
        _ => DateProblem::NoSuchDay { day, month, year },
    })
}

/// Cuts at blanks, hyphens, strokes, full stops and commas, and between figures and letters; the end of an ordinal ("th")
/// falls away. `None` when two separators other than blanks stand together or another character occurs.
fn words(text: &str) -> Option<Vec<String>> {
    let mut words: Vec<String> = vec![String::new()];
    let mut separators = 0;
    for c in text.chars() {
        if c.is_ascii_alphanumeric() {
            let last = words.last_mut()?;
            if last.ends_with(|l: char| l.is_ascii_digit() != c.is_ascii_digit()) {
                words.push(c.to_string());
            } else {
                last.push(c);
            }
            separators = 0;
        } else if c == ' ' || "-/.,–".contains(c) {
            separators += usize::from(c != ' ');
            if separators > 1 || words.last().is_some_and(String::is_empty) && c != ' ' && words.len() == 1 {
                return None;
            }
            words.push(String::new());
        } else {
            return None;
        }
    }
    words.retain(|word| !word.is_empty() && !["st", "nd", "rd", "th"].contains(&word.as_str()));
    Some(words)
}

fn part(word: &str) -> Option<Part> {
    if word.starts_with(|c: char| c.is_ascii_digit()) {
        return word.parse().ok().map(|number| Part::Number(number, word.len()));
    }
    month(word).map(Part::Month)
}

const MONTHS: [&str; 12] = [
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
];

/// A month by its English name or the first three letters and more of it ("sept" too).
fn month(word: &str) -> Option<u32> {
    let at = MONTHS.iter().position(|name| word.len() >= 3 && name.starts_with(word))?;
    u32::try_from(at + 1).ok()
}

fn weekday(word: &str) -> Option<Weekday> {
    if word.len() < 3 { None } else { word.parse().ok().filter(|_| month(word).is_none()) }
}

/// "15 Nov 2026", as a person would type it.
fn spoken(date: NaiveDate) -> String {
    date.format("%-d %b %Y").to_string()
}

/// The day `years` years before; the first day of the calendar if there is none.
pub fn years_before(date: NaiveDate, years: u32) -> NaiveDate {
    date.checked_sub_months(Months::new(years * 12)).unwrap_or(NaiveDate::MIN)
}

/// The day `years` years after; the last day of the calendar if there is none.
pub fn years_after(date: NaiveDate, years: u32) -> NaiveDate {
    date.checked_add_months(Months::new(years * 12)).unwrap_or(NaiveDate::MAX)
}
