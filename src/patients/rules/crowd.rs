//! Finding those who can be alike without comparing everybody with everybody.

use std::collections::{BTreeSet, HashMap};

use chrono::{Datelike, Days, NaiveDate};

use super::likeness::Person;
use crate::patients::names::fold_for_search;

/// People by birth date and by name. Whoever [`super::similarity`] can find like somebody without a shared number has a
/// birth date near theirs or the same name: only those are handed back.
#[derive(Debug, Default)]
pub struct Crowd {
    by_birth: HashMap<NaiveDate, Vec<usize>>,
    by_name: HashMap<(String, String), Vec<usize>>,
}

impl Crowd {
    /// Adds somebody under a number of the caller's.
    pub fn add(&mut self, number: usize, person: &Person<'_>) {
        self.by_name.entry(name(person)).or_default().push(number);
        if let Some(born) = person.birth_date {
            self.by_birth.entry(born).or_default().push(number);
        }
    }

    /// Numbers of those who can be like this person, lowest first.
    pub fn near(&self, person: &Person<'_>) -> BTreeSet<usize> {
        let mut found: BTreeSet<usize> = self.by_name.get(&name(person)).into_iter().flatten().copied().collect();
        for date in person.birth_date.map(near_dates).unwrap_or_default() {
            found.extend(self.by_birth.get(&date).into_iter().flatten());
        }
        found
    }
}

fn name(person: &Person<'_>) -> (String, String) {
    (fold_for_search(person.family), fold_for_search(person.given))
}

/// Every date that [`super::compare_birth_dates`] can find like this one.
pub fn near_dates(born: NaiveDate) -> Vec<NaiveDate> {
    let year = born.year();
    let (tens, ones) = (year / 10 % 10, year % 10);
    let mut dates: Vec<NaiveDate> = (0..10)
        .flat_map(|digit| [year - ones + digit, year + (digit - tens) * 10])
        .chain([year - 1, year + 1, year - tens * 10 - ones + ones * 10 + tens])
        .filter_map(|year| born.with_year(year))
        .chain(NaiveDate::from_ymd_opt(year, born.day(), born.month()))
        .chain(born.checked_add_days(Days::new(1)))
        .chain(born.checked_sub_days(Days::new(1)))
        .collect();
    dates.sort_unstable();
    dates.dedup();
    dates
}
