//! Writing a read spreadsheet into the records: all accepted rows in one transaction, or none of them;
//! refused rows are reported and change nothing. Running it twice adds nothing.

use std::collections::HashSet;

use chrono::NaiveDate;

use super::caseload::{Allergies, ImportedPatient, ImportedStoma, Problem, Reading};
use crate::access::store::{Service, service};
use crate::audit::{Event, append};
use crate::db::ids::{PatientId, ServiceId};
use crate::db::{Conn, Stamp, StoreError, Tx};
use crate::follow_up::offered;
use crate::follow_up::store as reviews;
use crate::patients::identifiers::Identifier;
use crate::patients::names;
use crate::patients::store::{self as patients, Patient};
use crate::stomas::store::{self as stomas, Stoma};

/// What a spreadsheet would change, or changed.
#[derive(Clone, Debug, Default)]
pub struct Outcome {
    /// Patients added.
    pub added: usize,
    /// Patients that were there already, unchanged.
    pub there_already: usize,
    /// Stomas added to patients that were there already.
    pub stomas_added: usize,
    /// Rows not brought in, with why: those of the reading and those that do not fit the records.
    pub problems: Vec<Problem>,
}

impl Outcome {
    /// How many rows were refused; one row may have several problems.
    pub fn rows_refused(&self) -> usize {
        self.problems.iter().map(|p| p.row).collect::<HashSet<_>>().len()
    }
}

/// Told how many patients of how many are done.
pub type Progress = Box<dyn FnMut(usize, usize) + Send>;

/// A patient with stomas, ready to be written.
struct Ready {
    patient: Patient,
    identifiers: Vec<Identifier>,
    stomas: Vec<Stoma>,
    next_review: Option<NaiveDate>,
}

enum Fit {
    New(Box<Ready>),
    ThereAlready(Vec<Stoma>),
    Problem(Problem),
}

fn problem(imported: &ImportedPatient, why: String) -> Problem {
    let read = names::display(&imported.person.family_name, imported.person.given_name.as_deref().unwrap_or(""), None);
    Problem { row: imported.row, column: String::new(), read, why }
}

/// What a reading would do to the records, without writing.
pub fn rehearse(
    conn: &mut Conn,
    reading: &Reading,
    service_id: ServiceId,
    today: NaiveDate,
    now: Stamp,
    refuse_test_numbers: bool,
) -> Result<Outcome, StoreError> {
    let of = service(conn, service_id)?;
    let held = Held::load(conn, service_id)?;
    let mut outcome = Outcome { problems: reading.problems.clone(), ..Outcome::default() };
    for imported in &reading.patients {
        match fit(conn, &held, imported, &of, today, now, refuse_test_numbers)? {
            Fit::New(_) => outcome.added += 1,
            Fit::ThereAlready(stomas) => {
                outcome.there_already += 1;
                outcome.stomas_added += stomas.len();
            }
            Fit::Problem(problem) => outcome.problems.push(problem),
        }
    }
    outcome.problems.sort_by_key(|p| p.row);
    Ok(outcome)
}

/// Writes a reading. Accepted rows are written together; refused rows are reported and change nothing.
pub fn bring_in(
    tx: &mut Tx<'_>,
    reading: &Reading,
    today: NaiveDate,
    refuse_test_numbers: bool,
    mut progress: Progress,
) -> Result<Outcome, StoreError> {
    let service_id = tx.service()?;
    let now = tx.now();
    let of = service(tx.conn(), service_id)?;
    let held = Held::load(tx.conn(), service_id)?;
    let mut outcome = Outcome { problems: reading.problems.clone(), ..Outcome::default() };
    let mut touched: Vec<PatientId> = Vec::new();
    let total = reading.patients.len();
    for (done, imported) in reading.patients.iter().enumerate() {
        match fit(tx.conn(), &held, imported, &of, today, now, refuse_test_numbers)? {
            Fit::New(ready) => {
                touched.push(ready.patient.id);
                write(tx, *ready, now)?;
                outcome.added += 1;
            }
            Fit::ThereAlready(new_stomas) => {
                outcome.there_already += 1;
                for stoma in new_stomas {
                    touched.push(stoma.patient_id);
                    stomas::add(tx, &stoma)?;
                    outcome.stomas_added += 1;
                }
            }
            Fit::Problem(problem) => outcome.problems.push(problem),
        }
        progress(done + 1, total);
    }
    outcome.problems.sort_by_key(|p| p.row);
    let event = Event::create("caseload.import")
        .about_all(touched)
        .with("added", outcome.added)
        .with("there-already", outcome.there_already)
        .with("stomas-added", outcome.stomas_added)
        .with("refused", outcome.rows_refused());
    append(tx, event)?;
    Ok(outcome)
}

/// Names and birth dates of the records there: for rows without a number.
struct Held {
    empty: bool,
    by_name_and_birth: HashSet<(String, Option<NaiveDate>, PatientId)>,
}

fn name_of(family: &str, given: &str) -> String {
    names::fold_for_search(&format!("{family} {given}"))
}

impl Held {
    fn load(conn: &mut Conn, service: ServiceId) -> Result<Self, StoreError> {
        let all = patients::all_names(conn, service)?;
        let by_name_and_birth = all
            .into_iter()
            .map(|(id, family, given, born)| (name_of(&family, &given), born, id))
            .collect::<HashSet<_>>();
        Ok(Self { empty: by_name_and_birth.is_empty(), by_name_and_birth })
    }

    fn same_person(&self, name: &str, born: Option<NaiveDate>) -> Vec<PatientId> {
        self.by_name_and_birth.iter().filter(|(n, b, _)| n == name && *b == born).map(|(.., id)| *id).collect()
    }
}

fn fit(
    conn: &mut Conn,
    held: &Held,
    imported: &ImportedPatient,
    of: &Service,
    today: NaiveDate,
    now: Stamp,
    refuse_test_numbers: bool,
) -> Result<Fit, StoreError> {
    let person = &imported.person;
    if refuse_test_numbers && person.identifiers.iter().any(Identifier::is_test_number) {
        return Ok(Fit::Problem(problem(
            imported,
            "The NHS number is of the test range. Enter the patient's own".into(),
        )));
    }
    if !held.empty {
        let mut same: Vec<PatientId> = Vec::new();
        for identifier in &person.identifiers {
            same.extend(patients::with_identifier(conn, of.id, identifier)?);
        }
        let name = name_of(&person.family_name, person.given_name.as_deref().unwrap_or(""));
        let by_number = !same.is_empty();
        if !by_number {
            same = held.same_person(&name, person.birth_date);
        }
        same.sort_unstable();
        same.dedup();
        match same.as_slice() {
            [] => {}
            [id] => return there_already(conn, imported, of, *id, by_number, today, now),
            _ => {
                let why = "The row fits several records of the service. Correct it there by hand".to_owned();
                return Ok(Fit::Problem(problem(imported, why)));
            }
        }
    }
    Ok(Fit::New(Box::new(ready(imported, of, today, now))))
}

fn there_already(
    conn: &mut Conn,
    imported: &ImportedPatient,
    of: &Service,
    id: PatientId,
    by_number: bool,
    today: NaiveDate,
    now: Stamp,
) -> Result<Fit, StoreError> {
    let person = &imported.person;
    let held = patients::find(conn, of.id, id)?;
    let other_birth = held.born_on.zip(person.birth_date).is_some_and(|(a, b)| a != b);
    if by_number && other_birth {
        let why =
            "A record of the service has this number with another date of birth. Correct one of the two".to_owned();
        return Ok(Fit::Problem(problem(imported, why)));
    }
    if !by_number && person.birth_date.is_none() {
        let why = "A record of the service has this name; without number and date of birth it cannot be told apart"
            .to_owned();
        return Ok(Fit::Problem(problem(imported, why)));
    }
    if !by_number {
        let numbers = patients::identifiers_of(conn, of.id, id)?;
        let contradicts =
            |given: &Identifier| numbers.iter().any(|n| n.scheme() == given.scheme() && n.value() != given.value());
        if person.identifiers.iter().any(contradicts) {
            let why =
                "A record of the service has this name and date of birth with another number. If they are two people, \
                       register this one by hand; else correct the number"
                    .to_owned();
            return Ok(Fit::Problem(problem(imported, why)));
        }
    }
    let given = person.given_name.as_deref().unwrap_or("");
    let other_name = name_of(&person.family_name, given) != name_of(&held.family_name, &held.given_name);
    if by_number && other_name && held.born_on.zip(person.birth_date).is_none() {
        let why =
            "A record of the service has this number with another name, and there is no date of birth to compare. \
                   Correct one of the two"
                .to_owned();
        return Ok(Fit::Problem(problem(imported, why)));
    }
    let there = stomas::of_patient(conn, of.id, id)?;
    let new: Vec<Stoma> = imported
        .stomas
        .iter()
        .map(|s| stoma(s, of, id, imported, today, now))
        .filter(|s| {
            !there.iter().any(|held| held.kind == s.kind && (held.surgery_on == s.surgery_on || s.surgery_on.is_none()))
        })
        .collect();
    Ok(Fit::ThereAlready(new))
}

fn ready(imported: &ImportedPatient, of: &Service, today: NaiveDate, now: Stamp) -> Ready {
    let person = &imported.person;
    let mut patient =
        patients::new_patient(of.id, &person.family_name, person.given_name.as_deref().unwrap_or(""), now);
    patient.title.clone_from(&person.title);
    patient.born_on = person.birth_date;
    patient.gender = person.gender.map_or("not-known", |g| g.code()).to_owned();
    patient.phone = person.phone.clone().or_else(|| person.other_phone.clone());
    patient.email.clone_from(&person.email);
    patient.address.clone_from(&person.address);
    patient.postcode = person.postcode.as_deref().map(crate::display::postcode);
    patient.gp_practice.clone_from(&person.gp_practice);
    (patient.sensitivity, patient.sensitivity_note) = match &person.allergies {
        Allergies::NotRecorded => ("not-recorded".to_owned(), None),
        Allergies::NoneKnown => ("none-known".to_owned(), None),
        Allergies::Known(text) => ("known".to_owned(), Some(text.clone())),
    };
    let other_phone = person.other_phone.as_ref().filter(|_| person.phone.is_some());
    let notes = person.notes.iter().cloned().chain(other_phone.map(|p| format!("Other phone {p}")));
    patient.note = Some(notes.collect::<Vec<_>>().join(". ")).filter(|n| !n.is_empty());
    if let Some(ended) = person.ended {
        patient.ended_reason = Some(ended.reason.code().to_owned());
        patient.ended_on = Some(ended.on.unwrap_or(today));
    }
    let stomas: Vec<Stoma> = imported.stomas.iter().map(|s| stoma(s, of, patient.id, imported, today, now)).collect();
    let next_review = person.next_review.filter(|_| person.ended.is_none());
    Ready { identifiers: person.identifiers.clone(), patient, stomas, next_review }
}

/// How far back a missed step of a patient who comes from a spreadsheet still counts, when the sheet does not say when
/// they were last seen, in months (local): the yearly review at least is then due.
const LOOK_BACK_MONTHS: u32 = 12;

fn stoma(
    imported: &ImportedStoma,
    of: &Service,
    patient: PatientId,
    from: &ImportedPatient,
    today: NaiveDate,
    now: Stamp,
) -> Stoma {
    let kind = imported.kind.code();
    let protocol = offered::usual(of, kind);
    // What was due before the patient was last seen is done; if the sheet plans the next review, nothing older is due.
    let seen = from.person.last_seen.filter(|seen| *seen <= today);
    let taken_on = if from.person.next_review.is_some_and(|next| next >= today) {
        today
    } else {
        let back = today.checked_sub_months(chrono::Months::new(LOOK_BACK_MONTHS)).unwrap_or(today);
        seen.and_then(|seen| seen.succ_opt()).unwrap_or(back)
    };
    let base = stomas::new_stoma(of.id, patient, kind, protocol, taken_on, now);
    let or = |code: Option<&'static str>| code.unwrap_or("not-known").to_owned();
    Stoma {
        construction: or(imported.construction.map(super::super::follow_up::rules::facts::Construction::code)),
        permanence: or(imported.permanence.map(super::super::follow_up::rules::facts::Permanence::code)),
        surgery: or(imported.surgery.map(super::super::follow_up::rules::facts::SurgeryType::code)),
        surgery_on: imported.surgery_on,
        discharge_on: imported.discharge_on,
        reversal_on: imported.reversal_planned_on,
        reversed_on: imported.reversed_on,
        place: imported.place.clone(),
        width_mm: imported.width_mm,
        height_mm: imported.height_mm,
        protrusion_mm: imported.protrusion_mm,
        last_seen_on: seen,
        ..base
    }
}

fn write(tx: &mut Tx<'_>, ready: Ready, now: Stamp) -> Result<(), StoreError> {
    let Ready { patient, identifiers, stomas, next_review } = ready;
    patients::add(tx, patient, &identifiers)?;
    for stoma in &stomas {
        stomas::add(tx, stoma)?;
    }
    let current = stomas.iter().find(|s| s.reversed_on.is_none());
    if let Some((stoma, on)) = current.zip(next_review) {
        let why = ["planned in the spreadsheet that was brought in".to_owned()];
        reviews::add(tx, &reviews::by_hand(stoma, "Review from the spreadsheet", "clinic", on, &why, now)?)?;
    }
    Ok(())
}
