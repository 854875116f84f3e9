//! What one row of a caseload sheet says: about the person and about the stoma.
//!
//! Types and their codes only; it must not know cells or columns.

use chrono::NaiveDate;
use serde::Serialize;

use crate::follow_up::rules::{Construction, Permanence, StomaKind, SurgeryType};
use crate::patients::identifiers::Identifier;
use crate::patients::names::fold_for_search;

/// Current gender, by the words of the UK standard (ISB 1507: read).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Gender {
    /// Female.
    Female,
    /// Male.
    Male,
    /// Other specific.
    #[serde(rename = "other")]
    OtherSpecific,
    /// The person does not wish to say.
    NotSpecified,
}

impl Gender {
    /// The code, as the register keeps it.
    pub fn code(self) -> &'static str {
        match self {
            Self::Female => "female",
            Self::Male => "male",
            Self::OtherSpecific => "other",
            Self::NotSpecified => "not-specified",
        }
    }
}

/// Why a record has ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum EndWord {
    /// The patient died.
    Died,
    /// The patient moved out of the area.
    MovedAway,
    /// The patient wants no further reviews.
    Declined,
}

impl EndWord {
    /// The code, as the follow-up engine has it.
    pub fn code(self) -> &'static str {
        match self {
            Self::Died => "died",
            Self::MovedAway => "moved-away",
            Self::Declined => "declined",
        }
    }
}

/// The end of a record, with its date if the sheet has it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ended {
    /// Why.
    pub reason: EndWord,
    /// Since when.
    pub on: Option<NaiveDate>,
}

/// What the sheet says of allergies and materials to avoid: three of the four states of the UK banner standard (ISB 1505:
/// read); the fourth, unavailable, cannot come from a sheet.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Allergies {
    /// Nothing was said.
    #[default]
    NotRecorded,
    /// "None known", "NKDA".
    NoneKnown,
    /// As written.
    Known(String),
}

/// A stoma of the sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ImportedStoma {
    /// First row that named it.
    pub row: u64,
    /// Colostomy, ileostomy or urostomy.
    pub kind: StomaKind,
    /// End, loop, double-barrel.
    pub construction: Option<Construction>,
    /// Permanent or temporary.
    pub permanence: Option<Permanence>,
    /// Date of surgery.
    pub surgery_on: Option<NaiveDate>,
    /// Planned or emergency.
    pub surgery: Option<SurgeryType>,
    /// Date of going home.
    pub discharge_on: Option<NaiveDate>,
    /// Date for which a reversal is planned.
    pub reversal_planned_on: Option<NaiveDate>,
    /// Date on which it was reversed; such a stoma is no longer there.
    pub reversed_on: Option<NaiveDate>,
    /// Width on the skin, left to right, in mm.
    pub width_mm: Option<i32>,
    /// Height on the skin, head to foot, in mm.
    pub height_mm: Option<i32>,
    /// Height above the skin in mm; below 0 is retracted.
    pub protrusion_mm: Option<i32>,
    /// Where on the abdomen, as written.
    pub place: Option<String>,
}

/// Facts about the person in one row.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PersonFacts {
    /// Family name.
    pub family_name: String,
    /// Given names; none when the sheet says that they are not known.
    pub given_name: Option<String>,
    /// Title.
    pub title: Option<String>,
    /// Birth date.
    pub birth_date: Option<NaiveDate>,
    /// Gender.
    pub gender: Option<Gender>,
    /// Numbers, national ones first.
    pub identifiers: Vec<Identifier>,
    /// Telephone as written.
    pub phone: Option<String>,
    /// Second telephone as written.
    pub other_phone: Option<String>,
    /// Email as written.
    pub email: Option<String>,
    /// Address on one line, parts separated by comma and blank.
    pub address: Option<String>,
    /// Postcode as written.
    pub postcode: Option<String>,
    /// GP practice as written.
    pub gp_practice: Option<String>,
    /// Clinic as written.
    pub clinic_site: Option<String>,
    /// Last contact.
    pub last_seen: Option<NaiveDate>,
    /// Next planned review.
    pub next_review: Option<NaiveDate>,
    /// Allergies and sensitivities.
    pub allergies: Allergies,
    /// Free text.
    pub notes: Option<String>,
    /// The end of the record, if it has ended.
    pub ended: Option<Ended>,
    /// The sheet says in so many words that the patient is active.
    pub said_active: bool,
}

/// A row that holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CaseloadRow {
    /// Row of the sheet.
    pub row: u64,
    /// The person.
    pub person: PersonFacts,
    /// The stoma.
    pub stoma: ImportedStoma,
}

/// By what a row can be recognised as the same person: kept even when the row has problems.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum IdentityKey {
    /// A number.
    Number(Identifier),
    /// Folded family name, folded given name, birth date.
    Name(String, String, NaiveDate),
}

/// Keys under which the person of a row is found again.
pub fn identity_keys(person: &PersonFacts) -> Vec<IdentityKey> {
    let mut keys: Vec<IdentityKey> = person.identifiers.iter().cloned().map(IdentityKey::Number).collect();
    if let (Some(given), Some(born)) = (&person.given_name, person.birth_date)
        && !person.family_name.is_empty()
    {
        keys.push(IdentityKey::Name(fold_for_search(&person.family_name), fold_for_search(given), born));
    }
    keys
}
