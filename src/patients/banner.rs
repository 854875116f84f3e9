//! The banner of the pages about one patient: who this is, in the words and the order of the English display standards
//! (ISB 1503 to 1507 and 1505 for the banner as a whole: read).
//!
//! Prepared text only: it decides nothing and loads nothing. What is not known is said in words, never left blank.

use chrono::NaiveDate;

use super::identifiers::{Identifier, Scheme};
use super::store::Patient;
use crate::display::{age, short_date, years_of_age};
use crate::web::views::{Avoid, Died, PatientBanner};

/// What stands where a fact is not known (ISB 1505 allows words, never a question mark: read).
const NOT_KNOWN: &str = "Not known";

/// Years from which an age is written in years alone (ISB 1505: read).
const YEARS_ALONE: u32 = 18;

/// The banner of a patient as of `today`.
pub fn banner(patient: &Patient, identifiers: &[Identifier], today: NaiveDate) -> PatientBanner {
    let nhs = identifiers.iter().find(|id| id.scheme() == Scheme::NhsNumber);
    PatientBanner {
        name: patient.display_name(),
        preferred: preferred(patient),
        href: format!("/patients/{}", patient.id),
        born: patient.born_on.map_or_else(|| NOT_KNOWN.to_owned(), short_date),
        born_iso: patient.born_on.map(iso).unwrap_or_default(),
        age: patient.born_on.and_then(|born| age(born, today)).unwrap_or_else(|| "age not known".to_owned()),
        gender: gender(&patient.gender).to_owned(),
        nhs: nhs.map_or_else(|| NOT_KNOWN.to_owned(), Identifier::display),
        other_ids: identifiers
            .iter()
            .filter(|id| id.scheme() != Scheme::NhsNumber)
            .map(|id| (id.scheme().label().to_owned(), id.display()))
            .collect(),
        died: (patient.ended_reason.as_deref() == Some("died")).then(|| died(patient)),
        avoid: avoid(patient),
    }
}

/// Current gender in the words of ISB 1507 (read); a code that is none of them is not known.
pub fn gender(code: &str) -> &'static str {
    match code {
        "male" => "Male",
        "female" => "Female",
        "other" => "Other specific",
        "not-specified" => "Not specified",
        _ => NOT_KNOWN,
    }
}

/// Sensitivities and materials to avoid: four states that cannot be taken for one another (ISB 1505: read).
pub fn avoid(patient: &Patient) -> Avoid {
    let note = patient.sensitivity_note.as_deref().map(str::trim).filter(|note| !note.is_empty());
    let (state, text) = match (patient.sensitivity.as_str(), note) {
        ("known", Some(note)) => ("known", note),
        ("known", None) => ("known", "Known, but not described"),
        ("none-known", _) => ("none", "None known"),
        ("not-recorded", _) => ("not-recorded", "Not recorded"),
        _ => ("unavailable", "Not available at the moment"),
    };
    Avoid { state: state.to_owned(), text: text.to_owned() }
}

/// The preferred name where it says something that the name does not.
fn preferred(patient: &Patient) -> Option<String> {
    let name = patient.preferred_name.as_deref().map(str::trim).filter(|name| !name.is_empty())?;
    (name.to_lowercase() != patient.given_name.trim().to_lowercase()).then(|| name.to_owned())
}

fn died(patient: &Patient) -> Died {
    let at = patient.born_on.zip(patient.ended_on).and_then(|(born, on)| match years_of_age(born, on)? {
        years @ YEARS_ALONE.. => Some(years.to_string()),
        _ => age(born, on),
    });
    Died {
        on: patient.ended_on.map_or_else(|| "date not known".to_owned(), short_date),
        on_iso: patient.ended_on.map(iso).unwrap_or_default(),
        age: at.unwrap_or_else(|| "not known".to_owned()),
    }
}

fn iso(date: NaiveDate) -> String {
    date.format("%Y-%m-%d").to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::db::Stamp;
    use crate::db::ids::ServiceId;
    use crate::patients::store::new_patient;

    fn day(year: i32, month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(year, month, day).unwrap()
    }

    fn someone() -> Patient {
        let now = Stamp::new(day(2026, 3, 2).and_hms_opt(9, 0, 0).unwrap().and_utc());
        let mut patient = new_patient(ServiceId::new(), "Thistlewood", "Marion", now);
        patient.title = Some("Mrs.".to_owned());
        patient.born_on = Some(day(1951, 8, 23));
        patient.gender = "female".to_owned();
        patient
    }

    /// The banner of the guides: "THISTLEWOOD, Marion (Mrs)", born 23-Aug-1951 (74y), NHS number in groups 3-3-4
    /// (forms of ISB 1503 to 1507, number of the range kept for tests).
    #[test]
    fn shows_the_forms_of_the_standards() {
        let ids = [
            Identifier::parse(Scheme::NhsNumber, "9990000042").unwrap(),
            Identifier::parse(Scheme::Local, "RX 40412").unwrap(),
        ];
        let shown = banner(&someone(), &ids, day(2026, 3, 2));
        assert_eq!(shown.name, "THISTLEWOOD, Marion (Mrs)");
        assert_eq!((shown.born.as_str(), shown.age.as_str()), ("23-Aug-1951", "74y"));
        assert_eq!((shown.gender.as_str(), shown.nhs.as_str()), ("Female", "999 000 0042"));
        assert_eq!(shown.other_ids, vec![("Local No.".to_owned(), "RX 40412".to_owned())]);
        assert_eq!(shown.avoid.state, "not-recorded");
        assert!(shown.died.is_none());
    }

    #[test]
    fn says_in_words_what_is_not_known() {
        let mut patient = someone();
        patient.born_on = None;
        patient.gender = "not-known".to_owned();
        let shown = banner(&patient, &[], day(2026, 3, 2));
        assert_eq!((shown.born.as_str(), shown.born_iso.as_str()), ("Not known", ""));
        assert_eq!((shown.gender.as_str(), shown.nhs.as_str()), ("Not known", "Not known"));
        assert!(shown.other_ids.is_empty());
    }

    #[test]
    fn tells_the_four_states_of_sensitivities_apart() {
        let mut patient = someone();
        let mut texts = Vec::new();
        for state in ["known", "none-known", "not-recorded", "lost"] {
            patient.sensitivity = state.to_owned();
            patient.sensitivity_note = (state == "known").then(|| "Latex".to_owned());
            let Avoid { state, text } = avoid(&patient);
            texts.push((state, text));
        }
        let words: Vec<(&str, &str)> = texts.iter().map(|(s, t)| (s.as_str(), t.as_str())).collect();
        let expected = [
            ("known", "Latex"),
            ("none", "None known"),
            ("not-recorded", "Not recorded"),
            ("unavailable", "Not available at the moment"),
        ];
        assert_eq!(words, expected);
    }

    #[test]
    fn shows_death_with_age_at_death_and_nothing_for_other_endings() {
        let mut patient = someone();
        patient.ended_reason = Some("died".to_owned());
        patient.ended_on = Some(day(2026, 8, 22));
        let died = banner(&patient, &[], day(2026, 12, 1)).died.unwrap();
        assert_eq!((died.on.as_str(), died.on_iso.as_str(), died.age.as_str()), ("22-Aug-2026", "2026-08-22", "74"));
        patient.ended_reason = Some("moved-away".to_owned());
        assert!(banner(&patient, &[], day(2026, 12, 1)).died.is_none());
    }
}
