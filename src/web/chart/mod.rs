//! One chart for all pages: values over time ([`Plot`]) and what happened when ([`Timeline`]), as positions and prepared
//! texts for the macro in `templates/parts/chart.html`.
//!
//! Pure view code: it draws what it is given, decides nothing and knows no feature, clock or database. The rules it keeps
//! are those of the common user interface design guide "Displaying Graphs and Tables" (NHS, 2009 to 2013: read in a
//! transcription), named by their numbers (`GTAB-…`) beside the code and in the tests.
//!
//! Lengths: across in per cent of the plot, so that a chart fits every width and its time axis stays proportional; down in
//! `rem`, so that it grows with the reader's letters.

mod axis;
mod lanes;
mod plot;
#[cfg(test)]
mod tests;
pub mod view;

use chrono::NaiveDate;

pub use axis::{TimeAxis, Unit};
pub use lanes::{Lane, Mark, MarkKind, Timeline};
pub use plot::{Draw, Plot, Scale, Series};
pub use view::Chart;

use crate::display;

/// A moment on the time axis: a day, or a number of days after something.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Day {
    number: i64,
    /// "05-Nov-2026", or "6 weeks".
    words: String,
    /// "2026-11-05"; empty for a number of days after something.
    iso: String,
}

impl Day {
    /// A calendar day.
    pub fn on(date: NaiveDate) -> Self {
        Self { number: number(date), words: display::short_date(date), iso: date.to_string() }
    }

    /// So many days after the start of an axis made with [`TimeAxis::since`]; `words` as a reader would say it, "6 weeks".
    pub fn after(days: i64, words: impl Into<String>) -> Self {
        Self { number: days, words: words.into(), iso: String::new() }
    }
}

impl From<NaiveDate> for Day {
    fn from(date: NaiveDate) -> Self {
        Self::on(date)
    }
}

/// One value of a series. `None` is "not asked": the line is broken there, and the table says so.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// When.
    pub day: Day,
    /// The value in the unit of the scale.
    pub value: Option<f64>,
}

impl Reading {
    /// A value on a day.
    pub fn new(day: impl Into<Day>, value: Option<f64>) -> Self {
        Self { day: day.into(), value }
    }
}

/// Something that happened, marked by a letter above the plot and told below it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    /// When.
    pub day: Day,
    /// What, "Surgery".
    pub words: String,
}

impl Event {
    /// Something that happened on a day.
    pub fn new(day: impl Into<Day>, words: impl Into<String>) -> Self {
        Self { day: day.into(), words: words.into() }
    }
}

/// A stretch of time, such as the window of a review.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Span {
    /// First day.
    pub from: Day,
    /// Last day.
    pub to: Day,
    /// What it is, "window of the 6 week review".
    pub words: String,
}

impl Span {
    /// A stretch from the first to the last day.
    pub fn new(from: impl Into<Day>, to: impl Into<Day>, words: impl Into<String>) -> Self {
        Self { from: from.into(), to: to.into(), words: words.into() }
    }
}

/// The number that stands for a calendar day.
fn number(date: NaiveDate) -> i64 {
    (date - NaiveDate::MIN).num_days()
}

/// A length across, in per cent of the plot.
fn percent(value: f64) -> String {
    format!("{}%", trimmed(value, 2))
}

/// A length down, in `rem`.
fn rem(value: f64) -> String {
    format!("{}rem", trimmed(value, 3))
}

/// A number without trailing zeros.
fn trimmed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// The letter of the nth event: A to Z, then A2 and so on.
fn letter(nth: usize) -> String {
    let letter = char::from(b'A' + u8::try_from(nth % 26).unwrap_or(0));
    match nth / 26 {
        0 => letter.to_string(),
        round => format!("{letter}{}", round + 1),
    }
}

/// Events in the order of time with their letters, and how many lie outside the axis.
fn events(axis: &TimeAxis, given: &[Event]) -> (Vec<view::EventView>, usize) {
    let mut sorted: Vec<&Event> = given.iter().collect();
    sorted.sort_by_key(|event| event.day.number);
    let inside = sorted.iter().filter(|event| axis.holds(&event.day));
    let views: Vec<view::EventView> = inside
        .enumerate()
        .map(|(nth, event)| view::EventView {
            x: percent(axis.x(&event.day)),
            letter: letter(nth),
            words: event.words.clone(),
            on: event.day.words.clone(),
            on_iso: event.day.iso.clone(),
        })
        .collect();
    let outside = sorted.len() - views.len();
    (views, outside)
}
