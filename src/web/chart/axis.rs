//! The time axis: proportional, with marks at round times (GTAB-085).

use chrono::{Datelike, Days, Months, NaiveDate};

use super::view::Tick;
use super::{Day, number, percent};

/// Marks at most; on a narrow screen every second one is left out.
const MARKS: usize = 9;

/// Days of a mean month and year of the Gregorian calendar: 146,097 days in 400 years.
const YEAR: f64 = 365.242_5;
const MONTH: f64 = YEAR / 12.0;

/// In what an axis that counts from something is marked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// Weeks.
    Weeks,
    /// Months, each a twelfth of a year.
    Months,
    /// Years.
    Years,
}

impl Unit {
    fn days(self) -> f64 {
        match self {
            Self::Weeks => 7.0,
            Self::Months => MONTH,
            Self::Years => YEAR,
        }
    }

    fn words(self) -> &'static str {
        match self {
            Self::Weeks => "weeks",
            Self::Months => "months",
            Self::Years => "years",
        }
    }
}

/// From when to when a chart goes. Both ends are fixed by the caller; nothing is stretched to fit.
#[derive(Debug, Clone, PartialEq)]
pub struct TimeAxis {
    from: i64,
    to: i64,
    /// Day numbers with label and second line (the year, where it begins).
    marks: Vec<(f64, String, Option<String>)>,
    /// What is counted, "weeks after surgery"; empty for calendar days.
    pub(super) words: String,
    /// "05-Aug-2026 to 05-Nov-2026".
    pub(super) reach: String,
}

impl TimeAxis {
    /// Calendar days from the first to the last. Fewer than 28 days are widened towards the past, so that a single
    /// value has an axis too; ends given in the wrong order are put in order.
    pub fn dates(from: NaiveDate, to: NaiveDate) -> Self {
        let (from, to) = (from.min(to), from.max(to));
        let from = from.min(to.checked_sub_days(Days::new(28)).unwrap_or(from));
        let reach = format!("{} to {}", crate::display::short_date(from), crate::display::short_date(to));
        Self { from: number(from), to: number(to), marks: calendar_marks(from, to), words: String::new(), reach }
    }

    /// Days after something, from 0 to `days` (at least 7), marked in a unit: `since("surgery", 730, Unit::Months)`.
    pub fn since(what: &str, days: i64, unit: Unit) -> Self {
        let to = days.max(7);
        #[allow(clippy::cast_precision_loss, reason = "days of a life")]
        let units = to as f64 / unit.days();
        let steps = [1.0, 2.0, 3.0, 6.0, 12.0, 24.0, 60.0, 120.0];
        #[allow(clippy::cast_precision_loss, reason = "nine")]
        let step = steps.into_iter().find(|step| units / step < MARKS as f64).unwrap_or(240.0);
        let mut marks = Vec::new();
        let mut at = 0.0;
        while at <= units + 1e-9 {
            marks.push((at * unit.days(), super::trimmed(at, 0), None));
            at += step;
        }
        let words = format!("{} after {what}", unit.words());
        let reach = format!("0 to {} {words}", super::trimmed(units, 1));
        Self { from: 0, to, marks, words, reach }
    }

    /// Where a day lies, in per cent of the axis (GTAB-085: proportional to time).
    pub(super) fn x(&self, day: &Day) -> f64 {
        #[allow(clippy::cast_precision_loss, reason = "days of a life")]
        self.part(day.number as f64)
    }

    #[allow(clippy::cast_precision_loss, reason = "days of a life")]
    fn part(&self, number: f64) -> f64 {
        (number - self.from as f64) / (self.to - self.from).max(1) as f64 * 100.0
    }

    /// Whether a day lies on the axis.
    pub(super) fn holds(&self, day: &Day) -> bool {
        (self.from..=self.to).contains(&day.number)
    }

    /// The part of a stretch that lies on the axis, as place and width in per cent.
    pub(super) fn stretch(&self, from: &Day, to: &Day) -> Option<(f64, f64)> {
        let (a, b) = (self.x(from).max(0.0), self.x(to).min(100.0));
        (b >= a && a <= 100.0).then_some((a, b - a))
    }

    /// The marks for the template. Those too near to one end for their letters stay, but every second is `minor`.
    pub(super) fn ticks(&self) -> Vec<Tick> {
        let tick = |(nth, (at, label, below)): (usize, &(f64, String, Option<String>))| Tick {
            x: percent(self.part(*at)),
            label: label.clone(),
            below: below.clone(),
            minor: nth % 2 == 1,
        };
        self.marks.iter().enumerate().map(tick).collect()
    }
}

/// Marks on the first of months or years, or on Mondays, whichever gives at most [`MARKS`].
fn calendar_marks(from: NaiveDate, to: NaiveDate) -> Vec<(f64, String, Option<String>)> {
    let days = (to - from).num_days();
    let marks = match days {
        ..64 => mondays(from, to),
        _ => firsts(from, to, days),
    };
    let mut year = None;
    #[allow(clippy::cast_precision_loss, reason = "days of a life")]
    let mark = |(date, label): (NaiveDate, String)| {
        let begins = year != Some(date.year()) && label.len() != 4;
        year = Some(date.year());
        (number(date) as f64, label, begins.then(|| date.year().to_string()))
    };
    marks.into_iter().map(mark).collect()
}

fn mondays(from: NaiveDate, to: NaiveDate) -> Vec<(NaiveDate, String)> {
    let step = if (to - from).num_days() < 35 { 7 } else { 14 };
    let first = from.iter_days().find(|day| day.weekday() == chrono::Weekday::Mon);
    let dates = std::iter::successors(first, |day| day.checked_add_days(Days::new(step)));
    dates.take_while(|day| *day <= to).map(|day| (day, day.format("%d-%b").to_string())).collect()
}

fn firsts(from: NaiveDate, to: NaiveDate, days: i64) -> Vec<(NaiveDate, String)> {
    let most = i64::try_from(MARKS).unwrap_or(9);
    let steps: [u32; 11] = [1, 2, 3, 6, 12, 24, 60, 120, 240, 600, 1200];
    let step = steps.into_iter().find(|step| days < i64::from(*step) * 30 * most).unwrap_or(1200);
    let begin = if step < 12 { from.with_day(1) } else { NaiveDate::from_ymd_opt(from.year(), 1, 1) };
    let round = |day: &NaiveDate| {
        let month = day.month0() + u32::try_from(day.year()).unwrap_or(0) * 12;
        month.is_multiple_of(step)
    };
    let months = std::iter::successors(begin, |day| day.checked_add_months(Months::new(1)));
    let inside = months.take_while(|day| *day <= to).filter(|day| *day >= from && round(day));
    let format = if step < 12 { "%b" } else { "%Y" };
    inside.map(|day| (day, day.format(format).to_string())).collect()
}
