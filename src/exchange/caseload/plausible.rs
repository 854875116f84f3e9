//! Dates of one row that cannot be true together, or not yet.
//!
//! It sees facts, not cells; which date is wrong it cannot know and does not say.

use chrono::NaiveDate;

use super::facts::{EndWord, ImportedStoma, PersonFacts};
use super::fields::Field;
use crate::dates_in::years_after;

/// Years ahead for which surgery or discharge may be planned (local).
const PLANNED_YEARS: u32 = 1;

/// Every pair of dates that cannot be true together: the later-named field of the two and why.
pub fn contradictions(
    person: &PersonFacts,
    stoma: Option<&ImportedStoma>,
    today: NaiveDate,
) -> Vec<(DateOf, &'static str)> {
    let born = person.birth_date;
    let surgery = stoma.and_then(|stoma| stoma.surgery_on);
    let discharge = stoma.and_then(|stoma| stoma.discharge_on);
    let reversed = stoma.and_then(|stoma| stoma.reversed_on);
    let reversal = reversed.or(stoma.and_then(|stoma| stoma.reversal_planned_on));
    let ended = person.ended.and_then(|ended| ended.on);
    let died = person.ended.filter(|ended| ended.reason == EndWord::Died).and_then(|ended| ended.on);
    let today = Some(today);
    let planned = today.map(|today| years_after(today, PLANNED_YEARS));
    let after = |a: Option<NaiveDate>, b: Option<NaiveDate>| a.zip(b).is_some_and(|(a, b)| a > b);
    let reversal_of = if reversed.is_some() { DateOf::Reversed } else { DateOf::Field(Field::ReversalDate) };
    [
        (after(surgery, planned), DateOf::Field(Field::SurgeryDate), TOO_FAR),
        (after(born, surgery), DateOf::Field(Field::SurgeryDate), BEFORE_BIRTH),
        (after(discharge, planned), DateOf::Field(Field::DischargeDate), TOO_FAR),
        (after(surgery, discharge), DateOf::Field(Field::DischargeDate), BEFORE_SURGERY),
        (after(born, discharge), DateOf::Field(Field::DischargeDate), BEFORE_BIRTH),
        (after(surgery, reversal), reversal_of, BEFORE_SURGERY),
        (after(born, reversal), reversal_of, BEFORE_BIRTH),
        (after(reversed, today), reversal_of, TO_COME),
        (after(person.last_seen, today), DateOf::Field(Field::LastSeen), TO_COME),
        (after(born, person.last_seen), DateOf::Field(Field::LastSeen), BEFORE_BIRTH),
        (after(born, person.next_review), DateOf::Field(Field::NextReview), BEFORE_BIRTH),
        (after(ended, today), DateOf::End, TO_COME),
        (after(born, ended), DateOf::End, BEFORE_BIRTH),
        (after(surgery, died), DateOf::End, BEFORE_SURGERY),
        (after(person.last_seen, died), DateOf::End, "it lies before the day last seen; one of the two is wrong"),
    ]
    .into_iter()
    .filter_map(|(wrong, date, why)| wrong.then_some((date, why)))
    .collect()
}

const TOO_FAR: &str = "it lies more than a year ahead; check it";
const TO_COME: &str = "it lies in the future; check it";
const BEFORE_BIRTH: &str = "it lies before the birth date; one of the two is wrong";
const BEFORE_SURGERY: &str = "it lies before the surgery; one of the two is wrong";

/// Which date is meant; the end and the reversal may stand in either of two columns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DateOf {
    /// The date of this field.
    Field(Field),
    /// Status date or date of death.
    End,
    /// Status date or reversal date.
    Reversed,
}
