//! What one row says of the stoma, and what its status says of stoma and record.
//!
//! A part of `rows`; it must not look at other rows.

use super::facts::{EndWord, Ended, ImportedStoma, PersonFacts};
use super::fields::Field;
use super::rows::OneRow;
use super::stoma_words;
use super::values::{self, DateUse, Status};
use crate::patients::names::tidy;

impl OneRow<'_, '_> {
    /// The stoma of the row; none when its kind could not be read.
    pub(super) fn stoma(&mut self) -> Option<ImportedStoma> {
        if values::is_unknown(self.cell(Field::StomaKind)) {
            self.problem(Field::StomaKind, "the kind of stoma is missing; write colostomy, ileostomy or urostomy");
        }
        let words = self.value(Field::StomaKind, stoma_words::stoma);
        let construction = self.value(Field::Construction, stoma_words::construction);
        let permanence = self.value(Field::Permanence, stoma_words::permanence);
        if words.is_some_and(|words| differ(words.construction, construction)) {
            self.problem(Field::Construction, "it contradicts the kind of stoma in this row; make both say the same");
        }
        if words.is_some_and(|words| differ(words.permanence, permanence)) {
            self.problem(Field::Permanence, "it contradicts the kind of stoma in this row; make both say the same");
        }
        let surgery_on = self.date(Field::SurgeryDate, DateUse::Clinical);
        let surgery = self.value(Field::SurgeryUrgency, stoma_words::urgency);
        let discharge_on = self.date(Field::DischargeDate, DateUse::Clinical);
        let reversal_planned_on = self.date(Field::ReversalDate, DateUse::Clinical);
        let size = self.value(Field::Size, values::size);
        self.reader.tally.two_lengths += u64::from(size.is_some_and(|(_, height)| height.is_some()));
        let protrusion_mm = self.value(Field::Protrusion, values::protrusion);
        let words = words?;
        let place = match (self.text(Field::SiteOnAbdomen), words.more) {
            (None, true) => Some(tidy(self.cell(Field::StomaKind))),
            (place, _) => place,
        };
        Some(ImportedStoma {
            row: self.row,
            kind: words.kind,
            construction: construction.or(words.construction),
            permanence: permanence.or(words.permanence),
            surgery_on,
            surgery,
            discharge_on,
            reversal_planned_on,
            reversed_on: None,
            width_mm: size.map(|(width, _)| width),
            height_mm: size.and_then(|(_, height)| height),
            protrusion_mm,
            place,
        })
    }

    /// What status, its date and the date of death say together.
    pub(super) fn status(
        &mut self,
        mut person: PersonFacts,
        mut stoma: Option<ImportedStoma>,
    ) -> (PersonFacts, Option<ImportedStoma>) {
        let status = self.value(Field::Status, values::status);
        let since = self.date(Field::StatusDate, DateUse::Clinical);
        let died_on = self.date(Field::DeathDate, DateUse::Clinical);
        if died_on.is_some() && status.is_some_and(|status| status != Status::Ended(EndWord::Died)) {
            self.problem(
                Field::DeathDate,
                "there is a date of death, but the status is another; make both say the same",
            );
        }
        let reversal = stoma.as_ref().and_then(|stoma| stoma.reversal_planned_on);
        match status {
            Some(Status::Ended(reason)) => {
                person.ended =
                    Some(Ended { reason, on: if reason == EndWord::Died { died_on.or(since) } else { since } });
            }
            None if died_on.is_some() => person.ended = Some(Ended { reason: EndWord::Died, on: died_on }),
            Some(Status::Reversed) => match since.or(reversal) {
                Some(on) => {
                    if let Some(stoma) = stoma.as_mut() {
                        (stoma.reversed_on, stoma.reversal_planned_on) = (Some(on), None);
                    }
                }
                None => self.problem(Field::Status, "the date of the reversal is missing; write it in its column"),
            },
            Some(Status::Active) => person.said_active = true,
            None => {}
        }
        if person.ended.is_some_and(|ended| ended.on.is_none()) {
            self.note(
                Field::Status,
                "the record has ended, but the sheet has no date for it; add it if it can be found",
            );
        }
        let still_planned = stoma.as_ref().and_then(|stoma| stoma.reversal_planned_on);
        if person.ended.is_none() && still_planned.is_some_and(|on| on < self.reader.today) {
            self.problem(
                Field::ReversalDate,
                "the date has passed; if the stoma was reversed, write reversed as its status, else write the new date or leave it empty",
            );
        }
        (person, stoma)
    }
}

fn differ<T: PartialEq>(a: Option<T>, b: Option<T>) -> bool {
    a.zip(b).is_some_and(|(a, b)| a != b)
}
