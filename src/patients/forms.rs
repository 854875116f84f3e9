//! The form in which a patient is registered or corrected: what comes in, and what is wrong with it.

use chrono::NaiveDate;
use serde::Deserialize;
use validator::Validate;

use super::identifiers::{Identifier, Scheme};
use super::names;
use super::store::Patient;
use crate::dates_in;
use crate::web::form_view::{Choice, DateParts, ErrorSummary, Field, Width, chosen};

/// Genders by ISB 1507, code and word.
pub const GENDERS: [(&str, &str); 5] = [
    ("female", "Female"),
    ("male", "Male"),
    ("other", "Other specific"),
    ("not-known", "Not known"),
    ("not-specified", "Not specified"),
];

/// States of what to avoid, code and word.
pub const SENSITIVITIES: [(&str, &str); 3] =
    [("known", "Known, as written below"), ("none-known", "None known"), ("not-recorded", "Not asked yet")];

/// What the form sends.
#[derive(Clone, Debug, Default, Deserialize, Validate)]
#[serde(default)]
pub struct PatientForm {
    /// Id of the patient whose page it is; empty for a new patient.
    pub patient: String,
    /// The form's own id, when it registers somebody: sending it twice makes one patient.
    pub once: String,
    /// Row version that was shown; 0 for a new patient.
    pub version: i32,
    /// Family name.
    #[validate(length(min = 1, max = 100, message = "Enter the family name"))]
    pub family_name: String,
    /// Given name.
    #[validate(length(max = 100, message = "Shorten the forename to 100 letters"))]
    pub given_name: String,
    /// Title.
    #[validate(length(max = 35, message = "Shorten the title to 35 letters"))]
    pub title: String,
    /// Preferred name.
    #[validate(length(max = 35, message = "Shorten the preferred name to 35 letters"))]
    pub preferred_name: String,
    /// Birth date in three boxes.
    pub born_day: String,
    /// Month.
    pub born_month: String,
    /// Year.
    pub born_year: String,
    /// Gender code.
    pub gender: String,
    /// NHS number.
    pub nhs: String,
    /// CHI number.
    pub chi: String,
    /// Health and Care number.
    pub hc: String,
    /// Local number.
    #[validate(length(max = 35, message = "Shorten the local number to 35 characters"))]
    pub local: String,
    /// Address.
    #[validate(length(max = 300, message = "Shorten the address to 300 characters"))]
    pub address: String,
    /// Postcode.
    #[validate(length(max = 12, message = "Shorten the postcode to 12 characters"))]
    pub postcode: String,
    /// Phone.
    #[validate(length(max = 40, message = "Shorten the phone number to 40 characters"))]
    pub phone: String,
    /// Email.
    #[validate(length(max = 200, message = "Shorten the email address to 200 characters"))]
    pub email: String,
    /// GP practice.
    #[validate(length(max = 200, message = "Shorten the practice to 200 characters"))]
    pub gp_practice: String,
    /// Dispenser.
    #[validate(length(max = 200, message = "Shorten the dispenser to 200 characters"))]
    pub dispenser: String,
    /// State of sensitivities.
    pub sensitivity: String,
    /// Sensitivities in words.
    #[validate(length(max = 500, message = "Shorten this to 500 characters"))]
    pub sensitivity_note: String,
    /// Note for the team.
    #[validate(length(max = 2000, message = "Shorten the note to 2,000 characters"))]
    pub note: String,
    /// "yes" when likely duplicates were shown and the person is another.
    pub not_a_duplicate: String,
}

/// What a good form says.
#[derive(Clone, Debug)]
pub struct PatientFacts {
    /// Birth date.
    pub born_on: Option<NaiveDate>,
    /// Identifiers, national ones first.
    pub identifiers: Vec<Identifier>,
}

/// What is wrong: field and words, in the order of the page.
pub type Wrong = Vec<(&'static str, String)>;

fn filled(text: &str) -> Option<String> {
    let text = text.trim();
    (!text.is_empty()).then(|| text.to_owned())
}

impl PatientForm {
    /// The form as it opens on a patient's record.
    pub fn of(patient: &Patient, identifiers: &[Identifier]) -> Self {
        let number = |scheme: Scheme| {
            identifiers.iter().find(|i| i.scheme() == scheme).map(Identifier::display).unwrap_or_default()
        };
        let text = |value: &Option<String>| value.clone().unwrap_or_default();
        let part = |format: &str| patient.born_on.map(|d| d.format(format).to_string()).unwrap_or_default();
        Self {
            patient: patient.id.to_string(),
            once: String::new(),
            version: patient.version,
            family_name: patient.family_name.clone(),
            given_name: patient.given_name.clone(),
            title: text(&patient.title),
            preferred_name: text(&patient.preferred_name),
            born_day: part("%-d"),
            born_month: part("%b"),
            born_year: part("%Y"),
            gender: patient.gender.clone(),
            nhs: number(Scheme::NhsNumber),
            chi: number(Scheme::Chi),
            hc: number(Scheme::HealthAndCare),
            local: number(Scheme::Local),
            address: text(&patient.address),
            postcode: text(&patient.postcode),
            phone: text(&patient.phone),
            email: text(&patient.email),
            gp_practice: text(&patient.gp_practice),
            dispenser: text(&patient.dispenser),
            sensitivity: patient.sensitivity.clone(),
            sensitivity_note: text(&patient.sensitivity_note),
            note: text(&patient.note),
            not_a_duplicate: String::new(),
        }
    }

    /// Reads the form: facts, or everything that is wrong.
    pub fn read(&self, today: NaiveDate, refuse_test_numbers: bool) -> Result<PatientFacts, Wrong> {
        let mut wrong = Wrong::new();
        if let Err(errors) = self.validate() {
            let found = errors.field_errors();
            for name in ORDER {
                let message = found.get(name).and_then(|e| e.first()).and_then(|e| e.message.clone());
                wrong.extend(message.map(|m| (name, m.to_string())));
            }
        }
        let born_on = self.birth_date(today).unwrap_or_else(|message| {
            wrong.push(("born", message));
            None
        });
        if !GENDERS.iter().any(|(code, _)| *code == self.gender) {
            wrong.push(("gender", "Choose the gender, or “Not known”".to_owned()));
        }
        let mut identifiers = Vec::new();
        let numbers = [
            ("nhs", Scheme::NhsNumber, &self.nhs),
            ("chi", Scheme::Chi, &self.chi),
            ("hc", Scheme::HealthAndCare, &self.hc),
            ("local", Scheme::Local, &self.local),
        ];
        for (name, scheme, typed) in numbers {
            if typed.trim().is_empty() {
                continue;
            }
            match Identifier::parse(scheme, typed) {
                Ok(number) if refuse_test_numbers && number.is_test_number() => {
                    wrong.push((name, "This is a number of the test range: enter the patient's own".to_owned()));
                }
                Ok(number) => identifiers.push(number),
                Err(problem) => wrong.push((name, problem.to_string())),
            }
        }
        if born_on.is_none() && identifiers.is_empty() && wrong.is_empty() {
            wrong.push((
                "born",
                "Enter the date of birth or a number, so that the patient can be told from others".into(),
            ));
        }
        if !SENSITIVITIES.iter().any(|(code, _)| *code == self.sensitivity) {
            wrong.push(("sensitivity", "Choose one, “Not asked yet” included".to_owned()));
        }
        if self.sensitivity == "known" && self.sensitivity_note.trim().is_empty() {
            wrong.push(("sensitivity_note", "Write what the patient is sensitive to".to_owned()));
        }
        if self.sensitivity == "none-known" && !self.sensitivity_note.trim().is_empty() {
            wrong.push(("sensitivity", "Something is written below: choose “Known”, or clear it".to_owned()));
        }
        if wrong.is_empty() { Ok(PatientFacts { born_on, identifiers }) } else { Err(wrong) }
    }

    fn birth_date(&self, today: NaiveDate) -> Result<Option<NaiveDate>, String> {
        let parts = [&self.born_day, &self.born_month, &self.born_year].map(|p| p.trim().to_owned());
        if parts.iter().all(String::is_empty) {
            return Ok(None);
        }
        if parts.iter().any(String::is_empty) {
            return Err("Enter day, month and year, or leave all three empty if the date is not known".to_owned());
        }
        let numeric = parts[1].chars().all(|c| c.is_ascii_digit());
        let typed = parts.join(if numeric { "/" } else { " " });
        dates_in::read_birth_date(&typed, today).map(Some).map_err(|e| e.to_string())
    }

    /// Puts what the form says on a patient.
    pub fn put_on(&self, patient: &mut Patient, facts: &PatientFacts) {
        patient.family_name = names::tidy(&self.family_name);
        patient.given_name = names::tidy(&self.given_name);
        patient.title = filled(&names::tidy_title(&self.title));
        patient.preferred_name = filled(&self.preferred_name);
        patient.born_on = facts.born_on;
        patient.gender.clone_from(&self.gender);
        patient.address = filled(&self.address);
        patient.postcode = filled(&crate::display::postcode(&self.postcode));
        patient.phone = filled(&self.phone);
        patient.email = filled(&self.email);
        patient.gp_practice = filled(&self.gp_practice);
        patient.dispenser = filled(&self.dispenser);
        patient.sensitivity.clone_from(&self.sensitivity);
        patient.sensitivity_note = filled(&self.sensitivity_note);
        patient.note = filled(&self.note);
        patient.version = self.version;
    }

    /// The fields as the page shows them.
    pub fn fields(&self, wrong: &Wrong) -> PatientFields {
        let error = |name: &str| wrong.iter().find(|(n, _)| *n == name).map(|(_, text)| text.clone());
        let field = |name: &str, label: &str, value: &str| Field::new(name, label).value(value).error(error(name));
        let choose = |name: &str, label: &str, value: &str, list: &[(&str, &str)]| {
            let choices = list.iter().map(|(code, word)| Choice::new(*code, *word)).collect();
            (Field::new(name, label).error(error(name)), Choice::choose(choices, value))
        };
        PatientFields {
            version: self.version.to_string(),
            family_name: field("family_name", "Family name", &self.family_name).width(Width::Full),
            given_name: field("given_name", "Forename", &self.given_name).width(Width::Full).optional(),
            title: field("title", "Title", &self.title).optional(),
            preferred_name: field("preferred_name", "Preferred name", &self.preferred_name).optional(),
            born: DateParts {
                field: Field::new("born", "Date of birth").hint("For example 27 3 1948").error(error("born")),
                day: self.born_day.clone(),
                month: self.born_month.clone(),
                year: self.born_year.clone(),
            },
            gender: choose("gender", "Current gender", &self.gender, &GENDERS),
            nhs: field("nhs", "NHS number", &self.nhs).hint("10 digits, blanks do not matter").optional(),
            chi: field("chi", "CHI number (Scotland)", &self.chi).optional(),
            hc: field("hc", "Health and Care number (Northern Ireland)", &self.hc).optional(),
            local: field("local", "Local number", &self.local).optional(),
            address: field("address", "Address", &self.address).width(Width::Full).optional(),
            postcode: field("postcode", "Postcode", &self.postcode).optional(),
            phone: field("phone", "Phone", &self.phone).optional(),
            email: field("email", "Email", &self.email).width(Width::Full).optional(),
            gp_practice: field("gp_practice", "GP practice", &self.gp_practice).width(Width::Full).optional(),
            dispenser: field("dispenser", "Dispenser", &self.dispenser).width(Width::Full).optional(),
            sensitivity: choose(
                "sensitivity",
                "Sensitivities and materials to avoid",
                &self.sensitivity,
                &SENSITIVITIES,
            ),
            sensitivity_note: field("sensitivity_note", "Which", &self.sensitivity_note).width(Width::Full).optional(),
            note: field("note", "Note for the team", &self.note).width(Width::Full).optional(),
        }
    }
}

/// Fields that `validator` looks at, in the order of the page.
const ORDER: [&str; 13] = [
    "family_name",
    "given_name",
    "title",
    "preferred_name",
    "local",
    "address",
    "postcode",
    "phone",
    "email",
    "gp_practice",
    "dispenser",
    "sensitivity_note",
    "note",
];

/// The form as the template reads it.
#[derive(Clone, Debug)]
#[allow(missing_docs, reason = "one field per field of `PatientForm`")]
pub struct PatientFields {
    pub version: String,
    pub family_name: Field,
    pub given_name: Field,
    pub title: Field,
    pub preferred_name: Field,
    pub born: DateParts,
    pub gender: (Field, Vec<Choice>),
    pub nhs: Field,
    pub chi: Field,
    pub hc: Field,
    pub local: Field,
    pub address: Field,
    pub postcode: Field,
    pub phone: Field,
    pub email: Field,
    pub gp_practice: Field,
    pub dispenser: Field,
    pub sensitivity: (Field, Vec<Choice>),
    pub sensitivity_note: Field,
    pub note: Field,
}

impl PatientFields {
    /// Every question with what stands in it, in words.
    pub fn said(&self) -> Vec<(String, String)> {
        let plain = |field: &Field| (field.label.clone(), field.value.clone());
        let pick = |(field, choices): &(Field, Vec<Choice>)| (field.label.clone(), chosen(choices));
        let born = format!("{} {} {}", self.born.day, self.born.month, self.born.year);
        let mut said: Vec<_> =
            [&self.family_name, &self.given_name, &self.title, &self.preferred_name].map(plain).into();
        said.extend([(self.born.field.label.clone(), born), pick(&self.gender)]);
        said.extend([&self.nhs, &self.chi, &self.hc, &self.local].map(plain));
        said.push(pick(&self.sensitivity));
        said.extend([&self.sensitivity_note, &self.phone, &self.email, &self.address, &self.postcode].map(plain));
        said.extend([&self.gp_practice, &self.dispenser, &self.note].map(plain));
        said
    }

    /// Everything wrong, in the order of the page.
    pub fn errors(&self) -> ErrorSummary {
        let mut summary = ErrorSummary::none();
        for field in [&self.family_name, &self.given_name, &self.title, &self.preferred_name, &self.born.field] {
            summary.take(field);
        }
        for field in [&self.gender.0, &self.nhs, &self.chi, &self.hc, &self.local, &self.sensitivity.0] {
            summary.take(field);
        }
        for field in [&self.sensitivity_note, &self.address, &self.postcode, &self.phone, &self.email] {
            summary.take(field);
        }
        for field in [&self.gp_practice, &self.dispenser, &self.note] {
            summary.take(field);
        }
        summary
    }
}
