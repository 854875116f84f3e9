//! What one row says of the person: names, numbers, contact details, allergies.
//!
//! A part of `rows`; it must not look at other rows.

use super::facts::{Allergies, PersonFacts};
use super::fields::Field;
use super::full_names;
use super::rows::OneRow;
use super::values::{self, DateUse};
use crate::patients::identifiers::{Identifier, Scheme};
use crate::patients::names::{fold_for_search, tidy, tidy_title};

/// Ten digits in a column of numbers become 9.99E+09.
const CUT_SHORT: &str = "the spreadsheet has cut the number short; set the column to text and write it in full";

impl OneRow<'_, '_> {
    /// The person of the row.
    pub(super) fn person(&mut self) -> PersonFacts {
        let mut person = PersonFacts::default();
        self.names(&mut person);
        person.birth_date = self.date(Field::BirthDate, DateUse::Birth);
        person.gender = self.value(Field::Gender, values::gender);
        self.identifiers(&mut person);
        (person.phone, person.other_phone) = match (self.text(Field::Phone), self.text(Field::Mobile)) {
            (None, mobile) => (mobile, None),
            both => both,
        };
        person.email = self.text(Field::Email);
        if person.email.as_ref().is_some_and(|email| !email.contains('@')) {
            self.note(Field::Email, "does not look like an email address; it was kept as written");
        }
        let lines = [Field::Address, Field::AddressLine2, Field::AddressLine3, Field::Town, Field::County];
        let parts: Vec<String> = lines.into_iter().filter_map(|field| self.address_part(field)).collect();
        person.address = (!parts.is_empty()).then(|| parts.join(", "));
        person.postcode = self.text(Field::Postcode);
        person.gp_practice = self.text(Field::GpPractice);
        person.clinic_site = self.text(Field::ClinicSite);
        person.last_seen = self.date(Field::LastSeen, DateUse::Clinical);
        person.next_review = self.date(Field::NextReview, DateUse::Clinical);
        person.allergies = self.allergies();
        person.notes = self.text(Field::Notes);
        person
    }

    fn names(&mut self, person: &mut PersonFacts) {
        person.title = self.text(Field::Title).map(|title| tidy_title(&title));
        if self.column(Field::FullName).is_some() && self.column(Field::FamilyName).is_none() {
            match full_names::full_name(self.cell(Field::FullName)) {
                Ok(name) => {
                    person.family_name = name.family;
                    person.given_name = name.given;
                    person.title = person.title.take().or(name.title.map(|title| tidy_title(&title)));
                }
                Err(why) => self.problem(Field::FullName, why),
            }
            return;
        }
        let (family, given) = (tidy(self.cell(Field::FamilyName)), tidy(self.cell(Field::GivenName)));
        if values::unknown_name(&family) {
            self.problem(Field::FamilyName, "the family name is missing; write it");
        } else {
            person.family_name = family;
        }
        if given.is_empty() {
            self.problem(Field::GivenName, "the forename is missing; write it, or n/k if it is not known");
        }
        person.given_name = Some(given).filter(|given| !values::unknown_name(given));
    }

    fn identifiers(&mut self, person: &mut PersonFacts) {
        let fields = [
            (Field::NhsNumber, Scheme::NhsNumber),
            (Field::ChiNumber, Scheme::Chi),
            (Field::HcNumber, Scheme::HealthAndCare),
            (Field::LocalNumber, Scheme::Local),
        ];
        for (field, scheme) in fields {
            let read = |cell: &str| {
                if scheme.is_national() && cell.to_ascii_lowercase().contains("e+") {
                    return Err(CUT_SHORT.to_owned());
                }
                Identifier::parse(scheme, cell).map_err(|problem| problem.to_string())
            };
            let Some(identifier) = self.value(field, read) else { continue };
            self.reader.tally.test_numbers += u64::from(identifier.is_test_number());
            if let Some(warning) = identifier.range_warning().filter(|_| !identifier.is_test_number()) {
                self.note(field, warning);
            }
            let dates = identifier.birth_dates(self.reader.today);
            if scheme == Scheme::Chi && person.birth_date.is_some_and(|born| !dates.contains(&born)) {
                self.note(field, "the CHI number begins with another date than the birth date; check which is right");
            }
            person.identifiers.push(identifier);
        }
    }

    /// One part of an address; line breaks inside the cell become commas.
    fn address_part(&self, field: Field) -> Option<String> {
        let cell = self.cell(field);
        if values::is_unknown(cell) {
            return None;
        }
        let lines: Vec<String> = cell.split(['\n', '\r']).map(|line| tidy(line.trim_end_matches([',', ' ']))).collect();
        Some(lines.into_iter().filter(|line| !line.is_empty()).collect::<Vec<_>>().join(", "))
    }

    fn allergies(&self) -> Allergies {
        let cell = self.cell(Field::Allergies);
        match fold_for_search(cell).as_str() {
            "nil"
            | "none"
            | "none known"
            | "nil known"
            | "nka"
            | "nkda"
            | "no known allergies"
            | "no known drug allergies"
            | "no allergies"
            | "no" => Allergies::NoneKnown,
            _ if values::is_unknown(cell) => Allergies::NotRecorded,
            _ => Allergies::Known(tidy(cell)),
        }
    }
}
