//! Offsets of a step: `PnD`, `PnW`, `PnM`, a part of the durations of ISO 8601, always counted from an anchor.
//!
//! It must not chain: occurrence *k* of a repeat is one offset from the anchor, so that 29-Feb-2024 yearly reaches
//! 29-Feb-2028 again. Months clamp to the month's end (31-Aug + 6 months = 28-Feb), as ISO 8601 usage and
//! python-dateutil do.

use std::fmt;

use chrono::{Datelike, Days, Months, NaiveDate};
use thiserror::Error;

use super::words::Count;

/// No offset and no plan reaches further than this many years from its anchor. Standing: local; it is there to
/// catch slips of the pen (`P120M` meant as `P12M` passes, `P12000M` does not) and to bound the work.
pub const MAX_YEARS: u32 = 60;

/// What an offset counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Unit {
    /// Calendar days.
    Days,
    /// Weeks of seven days.
    Weeks,
    /// Calendar months, clamped to the month's end.
    Months,
}

impl Unit {
    fn letter(self) -> char {
        match self {
            Self::Days => 'D',
            Self::Weeks => 'W',
            Self::Months => 'M',
        }
    }

    /// The noun in the singular.
    pub fn noun(self) -> &'static str {
        match self {
            Self::Days => "day",
            Self::Weeks => "week",
            Self::Months => "month",
        }
    }

    /// The largest count that stays within [`MAX_YEARS`].
    fn most(self) -> u32 {
        match self {
            Self::Days => MAX_YEARS * 1461 / 4, // 365¼ days a year
            Self::Weeks => MAX_YEARS * 1461 / 28,
            Self::Months => MAX_YEARS * 12,
        }
    }
}

/// A count of days, weeks or months after an anchor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Offset {
    count: u32,
    unit: Unit,
}

/// Why a text is no offset.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum OffsetError {
    /// Not of the form `PnD`, `PnW` or `PnM`.
    #[error("must be an offset such as P14D (days), P6W (weeks) or P3M (months); a year is P12M")]
    Form,
    /// Reaches further than [`MAX_YEARS`].
    #[error("reaches more than {MAX_YEARS} years from the anchor: write a shorter offset")]
    TooLong,
}

impl Offset {
    /// An offset of `count` units.
    pub const fn new(count: u32, unit: Unit) -> Self {
        Self { count, unit }
    }

    /// Reads `P14D`, `P6W` or `P3M`.
    pub fn parse(text: &str) -> Result<Self, OffsetError> {
        let inner = text.strip_prefix('P').ok_or(OffsetError::Form)?;
        let unit = match inner.chars().next_back() {
            Some('D') => Unit::Days,
            Some('W') => Unit::Weeks,
            Some('M') => Unit::Months,
            _ => return Err(OffsetError::Form),
        };
        let digits = inner.trim_end_matches(unit.letter());
        if digits.is_empty() || digits.len() + 1 != inner.len() || !digits.bytes().all(|b| b.is_ascii_digit()) {
            return Err(OffsetError::Form);
        }
        // A count too large for the integer is too long as well.
        let count = digits.parse().map_err(|_| OffsetError::TooLong)?;
        if count > unit.most() { Err(OffsetError::TooLong) } else { Ok(Self { count, unit }) }
    }

    /// How many units.
    pub fn count(self) -> u32 {
        self.count
    }

    /// Which unit.
    pub fn unit(self) -> Unit {
        self.unit
    }

    /// The offset of occurrence `k` (from 1): this one plus (k − 1) times `repeat`, which counts in the same unit.
    #[must_use]
    pub fn occurrence(self, repeat: Self, k: u32) -> Self {
        let count = self.count.saturating_add(repeat.count.saturating_mul(k.saturating_sub(1)));
        Self { count, unit: self.unit }
    }

    /// The date this far after `anchor`; `None` only beyond the calendar of the machine.
    pub fn after(self, anchor: NaiveDate) -> Option<NaiveDate> {
        match self.unit {
            Unit::Days => anchor.checked_add_days(Days::new(self.count.into())),
            Unit::Weeks => anchor.checked_add_days(Days::new(u64::from(self.count) * 7)),
            Unit::Months => anchor.checked_add_months(Months::new(self.count)),
        }
    }

    /// True when `date`, this far after `anchor`, had to be clamped to the end of its month.
    pub fn clamps(self, anchor: NaiveDate, date: NaiveDate) -> bool {
        self.unit == Unit::Months && anchor.day() != date.day()
    }
}

impl fmt::Display for Offset {
    /// As written: `P3M`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "P{}{}", self.count, self.unit.letter())
    }
}

impl Offset {
    /// In words: `3 months`.
    pub fn words(self) -> Count {
        Count(self.count, self.unit.noun())
    }
}
