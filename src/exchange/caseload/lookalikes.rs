//! Patients of one sheet that may be one person although no number and no exact name with birth date joins them.
//!
//! Remarks only: whether they are one person is for a person to say.

use std::collections::{BTreeSet, HashMap};

use chrono::{Datelike, Days, NaiveDate};

use super::merge::ImportedPatient;
use super::problems::Note;
use crate::patients::names::{DuplicateReason, Person, fold_for_search, similarity};

/// A remark at the later of two patients that may be one, for each such pair. Namesakes with clearly different birth
/// dates are left alone.
pub fn lookalikes(patients: &[ImportedPatient]) -> Vec<Note> {
    let mut by_birth: HashMap<NaiveDate, Vec<usize>> = HashMap::new();
    let mut by_name: HashMap<(String, String), Vec<usize>> = HashMap::new();
    let mut notes = Vec::new();
    for (at, patient) in patients.iter().enumerate() {
        let own = as_person(patient);
        let name = (fold_for_search(own.family), fold_for_search(own.given));
        let mut earlier: BTreeSet<usize> = by_name.get(&name).into_iter().flatten().copied().collect();
        let born = patient.person.birth_date;
        for date in born.map(near_dates).unwrap_or_default() {
            earlier.extend(by_birth.get(&date).into_iter().flatten());
        }
        for other in earlier.into_iter().map(|other| &patients[other]) {
            if let Some(reason) = similarity(&own, &as_person(other)).filter(DuplicateReason::is_likely) {
                let text = format!("May be the same person as in row {}: {reason}. Check both", other.row);
                notes.push(Note { row: Some(patient.row), column: String::new(), text });
            }
        }
        by_name.entry(name).or_default().push(at);
        if let Some(born) = born {
            by_birth.entry(born).or_default().push(at);
        }
    }
    notes
}

fn as_person(patient: &ImportedPatient) -> Person<'_> {
    Person {
        family: &patient.person.family_name,
        given: patient.person.given_name.as_deref().unwrap_or_default(),
        birth_date: patient.person.birth_date,
        identifiers: &patient.person.identifiers,
    }
}

/// Every date that [`crate::patients::names::compare_birth_dates`] can find like this one.
fn near_dates(born: NaiveDate) -> Vec<NaiveDate> {
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
