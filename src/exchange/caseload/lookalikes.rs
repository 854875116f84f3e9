//! Patients of one sheet that may be one person although no number and no exact name with birth date joins them.
//!
//! Remarks only: whether they are one person is for a person to say. The rules are those of registering and look-up.

use super::merge::ImportedPatient;
use super::problems::Note;
use crate::patients::rules::{Crowd, DuplicateReason, Person, similarity};

/// A remark at the later of two patients that may be one, for each such pair. Namesakes with clearly different birth
/// dates are left alone.
pub fn lookalikes(patients: &[ImportedPatient]) -> Vec<Note> {
    let mut earlier = Crowd::default();
    let mut notes = Vec::new();
    for (at, patient) in patients.iter().enumerate() {
        let own = as_person(patient);
        for other in earlier.near(&own).into_iter().map(|other| &patients[other]) {
            if let Some(reason) = similarity(&own, &as_person(other)).filter(DuplicateReason::is_likely) {
                let text = format!("May be the same person as in row {}: {reason}. Check both", other.row);
                notes.push(Note { row: Some(patient.row), column: String::new(), text });
            }
        }
        earlier.add(at, &own);
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
