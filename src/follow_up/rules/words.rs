//! Dates and counts in words for the reasons: "Wed 15-Apr-2026", "3 months".
//!
//! Own formatters because a page of reasons is made for every patient of a caseload: chrono's are several times slower.
//! It must not decide anything.

use std::fmt;

use chrono::{Datelike, NaiveDate, Weekday};

const MONTHS: [&str; 12] = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

/// `15-Apr-2026`: the date form of the UK display standards (dd-Mmm-yyyy).
#[derive(Clone, Copy, Debug)]
pub struct Date(pub NaiveDate);

impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let month = MONTHS.get(self.0.month0() as usize).copied().unwrap_or("???");
        let Ok(year @ 0..=9999) = u32::try_from(self.0.year()) else {
            return write!(f, "{:02}-{month}-{}", self.0.day(), self.0.year());
        };
        // One buffer and one write: `{:02}` goes through the padding machinery of fmt, which dominates here.
        let mut text = *b"00-Mmm-0000";
        digits(&mut text[0..2], self.0.day());
        text[3..6].copy_from_slice(month.as_bytes());
        digits(&mut text[7..11], year);
        f.write_str(std::str::from_utf8(&text).map_err(|_| fmt::Error)?)
    }
}

/// Writes `n` in decimal, right to left, with leading zeros.
fn digits(into: &mut [u8], mut n: u32) {
    for place in into.iter_mut().rev() {
        *place = b'0' + u8::try_from(n % 10).unwrap_or(0);
        n /= 10;
    }
}

/// `Wed 15-Apr-2026`: with the day of the week, for dates on which something happens.
#[derive(Clone, Copy, Debug)]
pub struct LongDate(pub NaiveDate);

impl fmt::Display for LongDate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(weekday(self.0.weekday()))?;
        f.write_str(" ")?;
        Date(self.0).fmt(f)
    }
}

fn weekday(day: Weekday) -> &'static str {
    match day {
        Weekday::Mon => "Mon",
        Weekday::Tue => "Tue",
        Weekday::Wed => "Wed",
        Weekday::Thu => "Thu",
        Weekday::Fri => "Fri",
        Weekday::Sat => "Sat",
        Weekday::Sun => "Sun",
    }
}

/// `1 day`, `3 days`: a count with its noun, which takes a plain s.
#[derive(Clone, Copy, Debug)]
pub struct Count(pub u32, pub &'static str);

impl fmt::Display for Count {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self(count, noun) = *self;
        if count == 1 { write!(f, "1 {noun}") } else { write!(f, "{count} {noun}s") }
    }
}
