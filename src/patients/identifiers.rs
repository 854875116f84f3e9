//! Numbers by which people are known: NHS number, CHI number, H&C number, and the clinic's own.
//!
//! Pure: digits and words only. The scheme always stands beside the value, because a CHI or H&C number passes the
//! NHS number's check as well; this module must never guess a scheme from the digits, and never mend a wrong number.

use std::fmt;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Digits in each of the three national numbers (NHS Data Dictionary, "NHS NUMBER" and "COMMUNITY HEALTH INDEX
/// NUMBER": read; the H&C number has the same layout: second-hand).
const NATIONAL_DIGITS: usize = 10;

/// Longest local number accepted, in characters (local: wide enough for the hospital numbers met in spreadsheets).
const LOCAL_LONGEST: usize = 30;

/// First three digits of the range kept for tests, 999 000 0000 to 999 999 9999 (documentation of the Rust crate
/// `nhs-number` and constants of the Python package `nhs-number` 2.2.0: second-hand; no page of the NHS itself found).
const TEST_PREFIX: &str = "999";

/// A list of numbers in which a person has one value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Scheme {
    /// England, Wales and the Isle of Man.
    #[serde(rename = "nhs")]
    NhsNumber,
    /// Community Health Index, Scotland.
    #[serde(rename = "chi")]
    Chi,
    /// Health and Care number, Northern Ireland.
    #[serde(rename = "hc")]
    HealthAndCare,
    /// The clinic's or hospital's own number; no check digit.
    #[serde(rename = "local")]
    Local,
}

impl Scheme {
    /// All schemes, in the order in which a page shows them.
    pub const ALL: [Self; 4] = [Self::NhsNumber, Self::Chi, Self::HealthAndCare, Self::Local];

    /// The code kept in the database and in JSON.
    pub fn code(self) -> &'static str {
        match self {
            Self::NhsNumber => "nhs",
            Self::Chi => "chi",
            Self::HealthAndCare => "hc",
            Self::Local => "local",
        }
    }

    /// The scheme of a code, if there is one.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|scheme| scheme.code() == code)
    }

    /// The label before the value. "NHS No." is the banner standard's own (ISB 1505: read); the others follow it.
    pub fn label(self) -> &'static str {
        match self {
            Self::NhsNumber => "NHS No.",
            Self::Chi => "CHI No.",
            Self::HealthAndCare => "H&C No.",
            Self::Local => "Local No.",
        }
    }

    /// The name inside a sentence, as in "This NHS number …".
    pub fn name(self) -> &'static str {
        match self {
            Self::NhsNumber => "NHS number",
            Self::Chi => "CHI number",
            Self::HealthAndCare => "H&C number",
            Self::Local => "local number",
        }
    }

    /// True for the three national numbers, which carry a check digit.
    pub fn is_national(self) -> bool {
        self != Self::Local
    }
}

/// A number that was read and holds: the scheme, and the value without blanks or hyphens.
///
/// The value of a national number is exactly ten digits and kept as text (a CHI number may begin with 0).
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
pub struct Identifier {
    scheme: Scheme,
    value: String,
}

impl Identifier {
    /// Reads what was typed. Blanks and hyphens between the digits are dropped, nothing else is.
    ///
    /// # Errors
    /// [`IdentifierProblem`], the first found in this order: empty, characters, length, one digit repeated, date, check
    /// digit (the order of the answers of Public Health Scotland's `chi_check`: read).
    pub fn parse(scheme: Scheme, typed: &str) -> Result<Self, IdentifierProblem> {
        let value = if scheme.is_national() { parse_national(scheme, typed)? } else { parse_local(typed)? };
        Ok(Self { scheme, value })
    }

    /// The scheme.
    pub fn scheme(&self) -> Scheme {
        self.scheme
    }

    /// The value as kept: ten digits, or the local number.
    pub fn value(&self) -> &str {
        &self.value
    }

    /// The value as shown: national numbers in three groups 3-3-4 (ISB 1504: read).
    pub fn display(&self) -> String {
        display_value(self.scheme, &self.value)
    }

    /// True for an NHS number of the range kept for tests.
    pub fn is_test_number(&self) -> bool {
        self.scheme == Scheme::NhsNumber && is_test_number(&self.value)
    }

    /// The birth dates a CHI number can stand for, one for each century in which the date exists and is not after
    /// `today`; empty for other schemes. A recorded birth date outside this list is worth a warning, not a refusal.
    pub fn birth_dates(&self, today: NaiveDate) -> Vec<NaiveDate> {
        if self.scheme != Scheme::Chi {
            return Vec::new();
        }
        chi_dates(&self.value).filter(|date| *date <= today).collect()
    }

    /// What is odd about a number that nevertheless holds: its range belongs to another scheme or is not issued.
    ///
    /// Ranges from the constants of the Python package `nhs-number` 2.2.0 (second-hand). Sources differ at the edges,
    /// so this is for a warning and never for a refusal.
    pub fn range_warning(&self) -> Option<&'static str> {
        let stem: u32 = self.value.get(..3).and_then(|s| s.parse().ok())?;
        match (self.scheme, stem) {
            (Scheme::NhsNumber, 10..=311) => {
                Some("This NHS number lies in the range of Scottish CHI numbers. Check which number it is.")
            }
            (Scheme::NhsNumber, 320..=399) => {
                Some("This NHS number lies in the range of Northern Ireland's H&C numbers. Check which number it is.")
            }
            (Scheme::NhsNumber, 500..=599 | 800..=998) => {
                Some("This NHS number lies in a range that is not known to be issued. Check it with the patient.")
            }
            (Scheme::NhsNumber, 999) => Some("This NHS number is from the range kept for tests. No patient has it."),
            (Scheme::HealthAndCare, 0..=319 | 400..) => {
                Some("H&C numbers begin with 320 to 399. Check which number this is.")
            }
            _ => None,
        }
    }
}

impl fmt::Display for Identifier {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.display())
    }
}

/// Why a typed number was refused. The words say what to do.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum IdentifierProblem {
    /// Nothing was typed.
    #[error("Enter the {}, or leave it out if it is not known", .0.name())]
    Empty(Scheme),
    /// A character that has no place in the number.
    #[error("The {} has the character “{found}” in it. Enter {}", .scheme.name(), allowed(*.scheme))]
    Character {
        /// The scheme that was asked for.
        scheme: Scheme,
        /// The first character that does not belong.
        found: char,
    },
    /// Not ten digits.
    #[error("The {} has {found} digits; it must have 10. {}", .scheme.name(), length_advice(*.scheme, *.found))]
    Length {
        /// The scheme that was asked for.
        scheme: Scheme,
        /// How many digits were there.
        found: usize,
    },
    /// A local number longer than can be kept.
    #[error("The local number has {found} characters; at most {LOCAL_LONGEST} can be kept. Enter the number only")]
    TooLong {
        /// How many characters were there.
        found: usize,
    },
    /// The same digit ten times: it passes the check, and is nobody's number.
    #[error("The {} is one digit repeated, which is nobody’s number. Enter the real number or leave it out", .0.name())]
    OneDigitRepeated(Scheme),
    /// A CHI number whose first six digits are no date.
    #[error(
        "The CHI number begins with {found}, which is no date (day, month, year of birth). Compare it with the source"
    )]
    NoDate {
        /// The first six digits.
        found: String,
    },
    /// The last digit does not follow from the others.
    #[error("The {} does not hold: its last digit does not fit the others. Compare it digit by digit with the source", .0.name())]
    CheckDigit(Scheme),
}

/// True for ten digits from the range kept for tests, 999 000 0000 to 999 999 9999.
pub fn is_test_number(value: &str) -> bool {
    value.len() == NATIONAL_DIGITS && value.starts_with(TEST_PREFIX) && value.bytes().all(|b| b.is_ascii_digit())
}

/// A kept value as it is shown: national numbers 3-3-4, local ones as they are.
pub fn display_value(scheme: Scheme, value: &str) -> String {
    match (scheme.is_national(), value.get(..3), value.get(3..6), value.get(6..)) {
        (true, Some(first), Some(second), Some(last)) if value.len() == NATIONAL_DIGITS => {
            format!("{first} {second} {last}")
        }
        _ => value.to_owned(),
    }
}

/// The check digit that belongs to nine digits: modulus 11 with weights 10 to 2 (NHS Data Dictionary, "NHS NUMBER":
/// read). `None` when it would be 10 (such stems are not used) or the input is not nine digits.
pub fn check_digit(nine: &str) -> Option<u32> {
    let digits: Vec<u32> = nine.chars().map(|c| c.to_digit(10)).collect::<Option<_>>()?;
    if digits.len() != NATIONAL_DIGITS - 1 {
        return None;
    }
    let sum: u32 = digits.iter().zip((2..=10).rev()).map(|(digit, weight)| digit * weight).sum();
    match 11 - sum % 11 {
        11 => Some(0),
        10 => None,
        digit => Some(digit),
    }
}

fn parse_national(scheme: Scheme, typed: &str) -> Result<String, IdentifierProblem> {
    let value: String = typed.chars().filter(|c| !c.is_whitespace() && !is_hyphen(*c)).collect();
    if value.is_empty() {
        return Err(IdentifierProblem::Empty(scheme));
    }
    if let Some(found) = value.chars().find(|c| !c.is_ascii_digit()) {
        return Err(IdentifierProblem::Character { scheme, found });
    }
    if value.len() != NATIONAL_DIGITS {
        return Err(IdentifierProblem::Length { scheme, found: value.len() });
    }
    // All ten repdigits satisfy the modulus (55 is a multiple of 11), so they need a rule of their own.
    if value.bytes().all(|b| value.starts_with(char::from(b))) {
        return Err(IdentifierProblem::OneDigitRepeated(scheme));
    }
    if scheme == Scheme::Chi && chi_dates(&value).next().is_none() {
        return Err(IdentifierProblem::NoDate { found: value.chars().take(6).collect() });
    }
    let (stem, last) = value.split_at(NATIONAL_DIGITS - 1);
    if check_digit(stem).map(|digit| digit.to_string()).as_deref() != Some(last) {
        return Err(IdentifierProblem::CheckDigit(scheme));
    }
    Ok(value)
}

fn parse_local(typed: &str) -> Result<String, IdentifierProblem> {
    let value = typed.split_whitespace().collect::<Vec<_>>().join(" ");
    if !value.chars().any(char::is_alphanumeric) {
        return Err(IdentifierProblem::Empty(Scheme::Local));
    }
    if let Some(found) = value.chars().find(|c| !c.is_ascii_alphanumeric() && !" -/._".contains(*c)) {
        return Err(IdentifierProblem::Character { scheme: Scheme::Local, found });
    }
    if value.len() > LOCAL_LONGEST {
        return Err(IdentifierProblem::TooLong { found: value.len() });
    }
    Ok(value)
}

/// Hyphen-minus, hyphen, non-breaking hyphen, figure dash and en dash: what spreadsheets put between groups.
fn is_hyphen(c: char) -> bool {
    matches!(c, '-' | '\u{2010}'..='\u{2013}')
}

/// The dates that DDMMYY may mean, this century after the last; the century is not in the number.
fn chi_dates(value: &str) -> impl Iterator<Item = NaiveDate> + use<> {
    let pair = |at: usize| value.get(at..at + 2).and_then(|s| s.parse::<u32>().ok()).unwrap_or(0);
    let (day, month, year) = (pair(0), pair(2), pair(4));
    [1900, 2000]
        .into_iter()
        .filter_map(move |century| NaiveDate::from_ymd_opt(century + i32::try_from(year).ok()?, month, day))
}

fn allowed(scheme: Scheme) -> &'static str {
    match scheme {
        Scheme::Local => "letters A to Z, digits, blanks and - / . _ only",
        _ => "its 10 digits only; blanks and hyphens between them are fine",
    }
}

fn length_advice(scheme: Scheme, found: usize) -> &'static str {
    match (scheme, found) {
        (Scheme::Chi, 9) => {
            "If a spreadsheet has dropped the 0 in front, put it back and set the column to text before saving"
        }
        (_, 0..10) => "Look for a digit that was left out",
        _ => "Look for a digit typed twice",
    }
}
