//! Working days of a nation's clinic: Monday to Friday, no bank holiday of the nation, no closure of the service.
//!
//! It must not guess: outside the years of its table of bank holidays it knows weekends and closures only, and
//! [`WorkingDays::unknown_holidays`] gives the words that say so.

use std::sync::Arc;

use chrono::{Datelike, NaiveDate, Weekday};

use super::bank_holidays::{BankHolidays, bank_holidays};
use super::facts::codes;

codes! {
    /// A nation of the United Kingdom: each has its own bank holidays.
    Nation {
        /// England.
        England = "england", "England";
        /// Wales; the same days as England in all years known so far.
        Wales = "wales", "Wales";
        /// Scotland.
        Scotland = "scotland", "Scotland";
        /// Northern Ireland.
        NorthernIreland = "northern-ireland", "Northern Ireland";
    }
}

/// What a day is to the clinic.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Day<'a> {
    /// Open.
    Working,
    /// Saturday or Sunday.
    Weekend,
    /// A bank holiday of the nation, with its name.
    BankHoliday(&'a str),
    /// Closed by the service itself.
    Closure,
}

/// The working days of one service: its nation and its own closures.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WorkingDays {
    nation: Nation,
    closures: Vec<NaiveDate>,
    holidays: Arc<BankHolidays>,
}

impl WorkingDays {
    /// The calendar of a nation by the table shipped, with the days on which the service is closed besides, in any
    /// order.
    pub fn new(nation: Nation, closures: &[NaiveDate]) -> Self {
        Self::by_table(nation, closures, Arc::clone(bank_holidays()))
    }

    /// The same by another table of bank holidays.
    pub fn by_table(nation: Nation, closures: &[NaiveDate], holidays: Arc<BankHolidays>) -> Self {
        let mut closures = closures.to_vec();
        closures.sort_unstable();
        closures.dedup();
        Self { nation, closures, holidays }
    }

    /// The nation.
    pub fn nation(&self) -> Nation {
        self.nation
    }

    /// The service's own closures, in order.
    pub fn closures(&self) -> &[NaiveDate] {
        &self.closures
    }

    /// The table of bank holidays.
    pub fn table(&self) -> &Arc<BankHolidays> {
        &self.holidays
    }

    /// What `date` is to the clinic.
    pub fn day(&self, date: NaiveDate) -> Day<'_> {
        let holidays = self.holidays.of(self.nation);
        if matches!(date.weekday(), Weekday::Sat | Weekday::Sun) {
            Day::Weekend
        } else if let Ok(at) = holidays.binary_search_by_key(&date, |holiday| holiday.on) {
            Day::BankHoliday(holidays.get(at).map_or("", |holiday| holiday.name.as_str()))
        } else if self.closures.binary_search(&date).is_ok() {
            Day::Closure
        } else {
            Day::Working
        }
    }

    /// True on a day on which the clinic is open.
    pub fn is_working_day(&self, date: NaiveDate) -> bool {
        self.day(date) == Day::Working
    }

    /// `date` itself if the clinic is open on it, else the next day on which it is.
    pub fn next_on_or_after(&self, date: NaiveDate) -> NaiveDate {
        self.walk(date, NaiveDate::succ_opt)
    }

    /// `date` itself if the clinic is open on it, else the day before it on which it last was.
    pub fn previous_on_or_before(&self, date: NaiveDate) -> NaiveDate {
        self.walk(date, NaiveDate::pred_opt)
    }

    /// The `count`th working day after `date`; `date` itself, open or not, for 0.
    pub fn add_working_days(&self, date: NaiveDate, count: u32) -> NaiveDate {
        (0..count).fold(date, |day, _| day.succ_opt().map_or(day, |next| self.next_on_or_after(next)))
    }

    /// Holidays and closures are finite lists, so this ends; the end of chrono's calendar (the year 262142) ends it
    /// too.
    fn walk(&self, from: NaiveDate, step: impl Fn(&NaiveDate) -> Option<NaiveDate>) -> NaiveDate {
        let mut date = from;
        while !self.is_working_day(date) {
            let Some(next) = step(&date) else { return date };
            date = next;
        }
        date
    }

    /// The words that say that the bank holidays of `date`'s year are not known; `None` when they are.
    pub fn unknown_holidays(&self, date: NaiveDate) -> Option<String> {
        let known = &self.holidays;
        if let Some(fault) = &known.fault {
            return Some(format!("bank holidays are not known here: {fault}"));
        }
        let (word, year) = if date.year() > known.last_year {
            ("after", known.last_year)
        } else if date.year() < known.first_year {
            ("before", known.first_year)
        } else {
            return None;
        };
        Some(format!("bank holidays {word} {year} are not known here: only weekends and closures were checked"))
    }
}
