//! Rows to patients: rows of one person become one patient with all stomas, and contradictions are reported.
//!
//! Nobody is half brought in: when one row of a person cannot be taken, none of that person's rows is. It must not know
//! cells or columns, and never picks one of two contradicting clinical facts.

use std::collections::{BTreeMap, HashMap};

use chrono::NaiveDate;

use super::facts::{Allergies, CaseloadRow, Ended, IdentityKey, ImportedStoma, PersonFacts};
use super::plausible::contradictions;
use super::problems::{Note, Problem, row_words, sentence};
use super::rows::RowRead;
use crate::patients::identifiers::Scheme;
use crate::patients::names::fold_for_search;
use crate::patients::rules::{Names, compare_names};

/// A patient of the sheet, with one stoma or more.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ImportedPatient {
    /// First row of the patient.
    pub row: u64,
    /// All rows of the patient, in order.
    pub rows: Vec<u64>,
    /// The person.
    pub person: PersonFacts,
    /// The stomas, in order of their first rows.
    pub stomas: Vec<ImportedStoma>,
}

/// Most rows for one person (local: more is a column of numbers that are no patient numbers).
const MOST_ROWS_OF_ONE: usize = 50;

/// How many rows a reason names.
const LISTED: usize = 6;

/// Patients, problems and remarks of all rows, each in the order of the sheet.
#[derive(Clone, Debug, Default)]
pub struct Merged {
    /// Patients by first row.
    pub patients: Vec<ImportedPatient>,
    /// Problems by row.
    pub problems: Vec<Problem>,
    /// Remarks, not in order.
    pub notes: Vec<Note>,
}

/// Joins the rows of each person.
pub fn merge(rows: Vec<RowRead>, today: NaiveDate) -> Merged {
    let groups = groups(&rows);
    let mut merged = Merged::default();
    let mut rows: Vec<Option<RowRead>> = rows.into_iter().map(Some).collect();
    for members in groups {
        let group: Vec<RowRead> =
            members.into_iter().filter_map(|at| rows.get_mut(at).and_then(Option::take)).collect();
        merge_group(group, today, &mut merged);
    }
    merged.problems.sort_by_key(|problem| problem.row);
    merged
}

/// Places of rows that share a key, directly or through others; groups in the order of their first rows.
fn groups(rows: &[RowRead]) -> Vec<Vec<usize>> {
    let mut leader: Vec<usize> = (0..rows.len()).collect();
    let mut seen: HashMap<&IdentityKey, usize> = HashMap::new();
    for (at, row) in rows.iter().enumerate() {
        for key in &row.keys {
            if let Some(other) = seen.get(key) {
                let (a, b) = (lead(&mut leader, *other), lead(&mut leader, at));
                leader[a.max(b)] = a.min(b);
            } else {
                seen.insert(key, at);
            }
        }
    }
    let mut groups: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for at in 0..rows.len() {
        groups.entry(lead(&mut leader, at)).or_default().push(at);
    }
    groups.into_values().collect()
}

/// The leader of a place's group; shortens the way for the next question.
fn lead(leader: &mut [usize], mut at: usize) -> usize {
    while leader[at] != at {
        leader[at] = leader[leader[at]];
        at = leader[at];
    }
    at
}

fn merge_group(group: Vec<RowRead>, today: NaiveDate, merged: &mut Merged) {
    let numbers: Vec<u64> = group.iter().map(|read| read.row).collect();
    let refused: Vec<u64> = group.iter().filter(|read| read.facts.is_none()).map(|read| read.row).collect();
    let mut facts = Vec::new();
    let mut notes = Vec::new();
    for read in group {
        let own_problems = !read.problems.is_empty();
        merged.problems.extend(read.problems);
        // A row that holds, of a person of whom another row does not: wait for that one.
        if !own_problems && !refused.is_empty() {
            let words = row_words(&refused[..refused.len().min(LISTED)]);
            let why = format!("{words} of the same patient cannot be brought in; correct that first");
            merged.problems.push(whole_row(read.row, &why));
        }
        notes.extend(read.notes);
        facts.extend(read.facts);
    }
    if !refused.is_empty() {
        return;
    }
    match one_patient(facts, today, &mut notes) {
        Ok(patient) => {
            merged.patients.push(patient);
            merged.notes.extend(notes);
        }
        Err(why) => {
            for row in &numbers {
                let others: Vec<u64> = numbers.iter().copied().filter(|other| other != row).take(LISTED + 1).collect();
                let words = if others.len() > LISTED { "other rows".to_owned() } else { row_words(&others) };
                merged.problems.push(whole_row(*row, &format!("together with {words}: {why}")));
            }
        }
    }
}

fn whole_row(row: u64, why: &str) -> Problem {
    Problem { row, column: String::new(), read: String::new(), why: sentence(why) }
}

/// One patient of the rows, or why they contradict each other. Whether they do must not depend on their order.
fn one_patient(rows: Vec<CaseloadRow>, today: NaiveDate, notes: &mut Vec<Note>) -> Result<ImportedPatient, String> {
    if rows.len() > MOST_ROWS_OF_ONE {
        return Err(format!("more than {MOST_ROWS_OF_ONE} rows share one patient number or one name and birth date"));
    }
    for (at, row) in rows.iter().enumerate() {
        rows.iter().skip(at + 1).try_for_each(|other| same_person(&row.person, &other.person))?;
    }
    let stomas: Vec<&ImportedStoma> = rows.iter().map(|row| &row.stoma).collect();
    which_stoma(&stomas)?;
    let numbers: Vec<u64> = rows.iter().map(|row| row.row).collect();
    let mut rows = rows.into_iter();
    let Some(first) = rows.next() else { return Err("there is nothing to bring in".to_owned()) };
    let mut patient =
        ImportedPatient { row: first.row, rows: numbers, person: first.person, stomas: vec![first.stoma] };
    for CaseloadRow { row, person, stoma } in rows {
        let mut remarks = Remarks { texts: Vec::new() };
        join_person(&mut patient.person, person, &mut remarks)?;
        join_stoma(&mut patient.stomas, stoma, &mut remarks)?;
        notes.extend(remarks.texts.into_iter().map(|text| Note { row: Some(row), column: String::new(), text }));
    }
    // What one row says of surgery and another of birth or discharge was not yet compared.
    for stoma in &patient.stomas {
        if let Some((_, why)) = contradictions(&patient.person, Some(stoma), today).first() {
            return Err(format!("the dates of the rows contradict each other: {why}"));
        }
    }
    Ok(patient)
}

/// Refuses a row that could mean either of two different stomas.
fn which_stoma(stomas: &[&ImportedStoma]) -> Result<(), String> {
    for stoma in stomas {
        let alike: Vec<&&ImportedStoma> = stomas.iter().filter(|other| could_be_one(stoma, other)).collect();
        if alike.iter().any(|a| alike.iter().any(|b| !could_be_one(a, b))) {
            let row = stoma.row;
            return Err(format!(
                "it is not certain which stoma row {row} means; write its construction and date of surgery"
            ));
        }
    }
    Ok(())
}

struct Remarks {
    texts: Vec<String>,
}

impl Remarks {
    /// The value of the earlier row stays; the other is named here.
    fn left_out(&mut self, what: &str, value: &str) {
        self.texts.push(format!("{what} differs from an earlier row of the same patient; left out: {value}"));
    }
}

/// Whether two rows that share a key can be one person at all.
fn same_person(a: &PersonFacts, b: &PersonFacts) -> Result<(), String> {
    if let (Some(born), Some(other)) = (a.birth_date, b.birth_date)
        && born != other
    {
        return Err("the same patient number, but different birth dates; one of them is wrong".to_owned());
    }
    for number in &b.identifiers {
        let other = a.identifiers.iter().find(|own| own.scheme() == number.scheme() && *own != number);
        if let Some(other) = other.filter(|other| other.scheme() != Scheme::Local) {
            return Err(format!(
                "the same name and birth date, but different {}s; one of them is wrong, or they are two people and one must be registered by hand",
                other.scheme().name()
            ));
        }
    }
    let given = |facts: &PersonFacts| facts.given_name.clone().unwrap_or_default();
    let names = compare_names((&a.family_name, &given(a)), (&b.family_name, &given(b)));
    match names {
        // A new family name is believed when number and birth date both speak for it.
        Some(Names::GivenOnly) if a.birth_date.is_none() || b.birth_date.is_none() => Err(OTHER_NAME.to_owned()),
        Some(_) => Ok(()),
        None => Err(OTHER_NAME.to_owned()),
    }
}

const OTHER_NAME: &str = "the same patient number, but different names; one of them is wrong";

/// Fills what the first row left open. Contradicting contact details stay as in the first row, with a remark.
fn join_person(into: &mut PersonFacts, from: PersonFacts, remarks: &mut Remarks) -> Result<(), String> {
    if (&into.family_name, &into.given_name) != (&from.family_name, &from.given_name) {
        let given = from.given_name.as_deref().unwrap_or("Unknown");
        remarks.left_out("The name", &format!("{}, {given}", from.family_name));
    }
    into.gender = agreed(into.gender, from.gender).map_err(|()| "different genders; make both rows say the same")?;
    into.ended =
        one_end(into, &from).map_err(|()| "different statuses; make both rows say the same status and date")?;
    into.said_active |= from.said_active;
    into.given_name = into.given_name.take().or(from.given_name);
    into.birth_date = into.birth_date.or(from.birth_date);
    for number in from.identifiers {
        if !into.identifiers.contains(&number) {
            into.identifiers.push(number);
        }
    }
    into.identifiers.sort();
    let texts = [
        ("The title", &mut into.title, from.title),
        ("The telephone", &mut into.phone, from.phone),
        ("The second telephone", &mut into.other_phone, from.other_phone),
        ("The email", &mut into.email, from.email),
        ("The address", &mut into.address, from.address),
        ("The postcode", &mut into.postcode, from.postcode),
        ("The GP practice", &mut into.gp_practice, from.gp_practice),
        ("The clinic", &mut into.clinic_site, from.clinic_site),
    ];
    for (what, kept, other) in texts {
        match (kept.as_deref(), other) {
            (Some(kept), Some(other)) if kept != other => remarks.left_out(what, &other),
            (None, other @ Some(_)) => *kept = other,
            _ => {}
        }
    }
    // Seen by either row: the later. To be seen by either row: the earlier, which is the safer one.
    into.last_seen = into.last_seen.max(from.last_seen);
    into.next_review = [into.next_review, from.next_review].into_iter().flatten().min();
    into.allergies = match (std::mem::take(&mut into.allergies), from.allergies) {
        (Allergies::NotRecorded, other) | (other, Allergies::NotRecorded) => other,
        (Allergies::Known(own), Allergies::Known(other)) if own != other => Allergies::Known(format!("{own}; {other}")),
        (own, other) if own == other => own,
        _ => return Err("one row says that there are no allergies, another names some; make both say the same".into()),
    };
    into.notes = match (into.notes.take(), from.notes) {
        (Some(own), Some(other)) if own != other => Some(format!("{own}; {other}")),
        (own, other) => own.or(other),
    };
    Ok(())
}

/// The end of the record that both rows can mean: the same reason, one date or the date that one of them has. An error when
/// they contradict each other, also when one says active.
fn one_end(a: &PersonFacts, b: &PersonFacts) -> Result<Option<Ended>, ()> {
    match (a.ended, b.ended) {
        (Some(end), Some(other)) if end.reason == other.reason => {
            Ok(Some(Ended { reason: end.reason, on: agreed(end.on, other.on)? }))
        }
        (Some(_), Some(_)) => Err(()),
        (Some(_), None) if b.said_active => Err(()),
        (None, Some(_)) if a.said_active => Err(()),
        (end, other) => Ok(end.or(other)),
    }
}

/// The one that is known; an error when both are and differ.
fn agreed<T: PartialEq>(a: Option<T>, b: Option<T>) -> Result<Option<T>, ()> {
    match (a, b) {
        (Some(a), Some(b)) if a != b => Err(()),
        (a, b) => Ok(a.or(b)),
    }
}

/// Adds a stoma, or recognises one that an earlier row has.
fn join_stoma(stomas: &mut Vec<ImportedStoma>, stoma: ImportedStoma, remarks: &mut Remarks) -> Result<(), String> {
    if let Some(own) = stomas.iter_mut().find(|own| could_be_one(own, &stoma)) {
        remarks.texts.push(format!("The same patient and stoma as in row {}; brought in once", own.row));
        return join_same_stoma(own, stoma);
    }
    stomas.push(stoma);
    Ok(())
}

/// The same kind, and nothing that sets stomas apart differs: construction, date of surgery, place.
fn could_be_one(a: &ImportedStoma, b: &ImportedStoma) -> bool {
    let folded = |place: &Option<String>| place.as_deref().map(fold_for_search);
    a.kind == b.kind
        && agreed(a.construction, b.construction).is_ok()
        && agreed(a.surgery_on, b.surgery_on).is_ok()
        && agreed(folded(&a.place), folded(&b.place)).is_ok()
}

/// Fills what the first row left open about one stoma.
fn join_same_stoma(into: &mut ImportedStoma, from: ImportedStoma) -> Result<(), String> {
    let differs =
        |what: &str| format!("the same stoma, but a different {what}; make both say the same or delete one row");
    into.construction = into.construction.or(from.construction);
    into.surgery_on = into.surgery_on.or(from.surgery_on);
    into.place = into.place.take().or(from.place);
    into.permanence = agreed(into.permanence, from.permanence).map_err(|()| differs("permanence"))?;
    into.surgery = agreed(into.surgery, from.surgery).map_err(|()| differs("kind of surgery"))?;
    into.discharge_on = agreed(into.discharge_on, from.discharge_on).map_err(|()| differs("discharge date"))?;
    into.reversal_planned_on =
        agreed(into.reversal_planned_on, from.reversal_planned_on).map_err(|()| differs("reversal date"))?;
    into.reversed_on = agreed(into.reversed_on, from.reversed_on).map_err(|()| differs("date of the reversal"))?;
    into.width_mm = agreed(into.width_mm, from.width_mm).map_err(|()| differs("width"))?;
    into.height_mm = agreed(into.height_mm, from.height_mm).map_err(|()| differs("height"))?;
    into.protrusion_mm = agreed(into.protrusion_mm, from.protrusion_mm).map_err(|()| differs("protrusion"))?;
    Ok(())
}
