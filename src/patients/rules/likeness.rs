//! Comparing two records: names, birth dates, numbers; what is alike in words, and how much in points.

use std::fmt;

use chrono::{Datelike, Days, NaiveDate};

use super::phonetic::sound_alike;
use crate::patients::identifiers::{Identifier, Scheme};
use crate::patients::names::fold_for_search;

/// From how many points two records are likely one person. Points and threshold are local: chosen so that each slip of
/// the published advice, together with a like name, reaches it, and a shared family name and birth date of two
/// forenames (twins) does not. To be confirmed on a service's own records.
pub const LIKELY_FROM: u8 = 5;
/// One number on both.
const NUMBER: u8 = 10;
/// A birth date of one of the two is not known: it speaks neither for nor against.
const BIRTH_UNKNOWN: u8 = 1;

/// What is needed of a record to compare it with another.
#[derive(Clone, Copy, Debug)]
pub struct Person<'p> {
    /// Family name as kept.
    pub family: &'p str,
    /// Given name as kept; empty when not known.
    pub given: &'p str,
    /// Birth date, if known.
    pub birth_date: Option<NaiveDate>,
    /// Numbers in any order.
    pub identifiers: &'p [Identifier],
}

/// How two birth dates are alike.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BirthDates {
    /// The same.
    Same,
    /// Day and month stand the other way round.
    DayMonthSwapped,
    /// One day apart.
    OneDayApart,
    /// Day and month are the same, the year differs in one digit or by one year.
    OneDigitOfYear,
}

/// How two names are alike.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Names {
    /// The same when accents, capitals and hyphens are left aside.
    Same,
    /// Family names that sound alike or differ by one letter, given names with one initial.
    Similar,
    /// Family and given name stand the other way round.
    Swapped,
    /// The same given name, another family name.
    GivenOnly,
}

/// Why two records may be one person. [`fmt::Display`] gives the words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DuplicateReason {
    /// One number stands on both.
    Number(Scheme),
    /// Names and birth dates are alike.
    NamesAndBirth(Names, BirthDates),
    /// The same name, and one of the two has no birth date.
    NameBirthUnknown,
    /// The same name with clearly different birth dates: most often two people.
    Namesake,
}

impl Names {
    fn points(self) -> u8 {
        match self {
            Self::Same => 4,
            Self::Similar | Self::Swapped => 3,
            // Another family name is a common fact of life; the birth date has to carry the suspicion alone.
            Self::GivenOnly => 1,
        }
    }
}

impl BirthDates {
    fn points(self) -> u8 {
        match self {
            Self::Same => 4,
            Self::DayMonthSwapped | Self::OneDayApart => 3,
            Self::OneDigitOfYear => 2,
        }
    }
}

impl DuplicateReason {
    /// How alike the two are; more is more. Only for putting them in order and for [`LIKELY_FROM`].
    pub fn points(&self) -> u8 {
        match self {
            Self::Number(_) => NUMBER,
            Self::NamesAndBirth(names, dates) => names.points() + dates.points(),
            Self::NameBirthUnknown => Names::Same.points() + BIRTH_UNKNOWN,
            Self::Namesake => Names::Same.points(),
        }
    }

    /// True when it is likely one person; false for namesakes, where the warning is not to mix them up.
    pub fn is_likely(&self) -> bool {
        self.points() >= LIKELY_FROM
    }
}

impl fmt::Display for DuplicateReason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Number(scheme) => write!(f, "The same {}", scheme.name()),
            Self::NamesAndBirth(names, dates) => {
                f.write_str(match names {
                    Names::Same => "The same name",
                    Names::Similar => "A similar name",
                    Names::Swapped => "The same name with family name and forename the other way round",
                    Names::GivenOnly => "The same forename with another family name",
                })?;
                f.write_str(match dates {
                    BirthDates::Same => " and the same birth date",
                    BirthDates::DayMonthSwapped => " and the same birth date with day and month the other way round",
                    BirthDates::OneDayApart => " and a birth date one day apart",
                    BirthDates::OneDigitOfYear => " and the same day and month of birth in a similar year",
                })
            }
            Self::NameBirthUnknown => f.write_str("The same name; the birth date of one of them is not known"),
            Self::Namesake => f.write_str("The same name with another birth date: most often another person"),
        }
    }
}

/// Why `a` and `b` may be one person, or `None`. A namesake with another birth date is told too, and is not likely.
pub fn similarity(a: &Person<'_>, b: &Person<'_>) -> Option<DuplicateReason> {
    let shared = a.identifiers.iter().filter(|id| b.identifiers.contains(id)).map(Identifier::scheme).min();
    if let Some(scheme) = shared {
        return Some(DuplicateReason::Number(scheme));
    }
    let names = compare_names((a.family, a.given), (b.family, b.given))?;
    match a.birth_date.zip(b.birth_date).map(|(a, b)| compare_birth_dates(a, b)) {
        Some(Some(dates)) => Some(DuplicateReason::NamesAndBirth(names, dates)).filter(DuplicateReason::is_likely),
        _ if names != Names::Same => None,
        Some(None) => Some(DuplicateReason::Namesake),
        None => Some(DuplicateReason::NameBirthUnknown),
    }
}

/// How two birth dates are alike, or `None`. Nearest likeness first.
pub fn compare_birth_dates(a: NaiveDate, b: NaiveDate) -> Option<BirthDates> {
    if a == b {
        return Some(BirthDates::Same);
    }
    if a.year() == b.year() && a.day() == b.month() && a.month() == b.day() {
        return Some(BirthDates::DayMonthSwapped);
    }
    if a.checked_add_days(Days::new(1)) == Some(b) || b.checked_add_days(Days::new(1)) == Some(a) {
        return Some(BirthDates::OneDayApart);
    }
    let same_day = a.day() == b.day() && a.month() == b.month();
    (same_day && similar_years(a.year(), b.year())).then_some(BirthDates::OneDigitOfYear)
}

/// One year apart, or one of the last two digits differs, or they stand the other way round.
fn similar_years(a: i32, b: i32) -> bool {
    let (a, b) = (a.min(b), a.max(b));
    let ((a_tens, a_ones), (b_tens, b_ones)) = ((a / 10 % 10, a % 10), (b / 10 % 10, b % 10));
    let one_digit = a_tens == b_tens || a_ones == b_ones;
    b - a == 1 || (a / 100 == b / 100 && (one_digit || (a_tens == b_ones && a_ones == b_tens)))
}

/// How two names, each family and given, are alike, or `None`. A given name that is not known (empty) speaks neither for
/// nor against.
pub fn compare_names(a: (&str, &str), b: (&str, &str)) -> Option<Names> {
    let (family_a, given_a) = (fold_for_search(a.0), fold_for_search(a.1));
    let (family_b, given_b) = (fold_for_search(b.0), fold_for_search(b.1));
    if family_a.is_empty() || family_b.is_empty() {
        return None;
    }
    if family_a == family_b && given_a == given_b {
        return Some(Names::Same);
    }
    if !given_a.is_empty() && family_a == given_b && family_b == given_a {
        return Some(Names::Swapped);
    }
    let initial = |given: &str| given.chars().next();
    let same_initial = initial(&given_a) == initial(&given_b) || given_a.is_empty() || given_b.is_empty();
    if same_initial && similar_family(&family_a, &family_b) {
        return Some(Names::Similar);
    }
    (!given_a.is_empty() && given_a == given_b).then_some(Names::GivenOnly)
}

/// Sound alike, differ by one slip of the pen, or one is a part of the other ("smith" and "smith jones").
fn similar_family(a: &str, b: &str) -> bool {
    let part = |whole: &str, part: &str| part.len() > 2 && whole.split(' ').any(|word| word == part);
    sound_alike(a, b) || part(a, b) || part(b, a) || one_slip(a, b)
}

/// One letter more, less, other, or two neighbours swapped; only for names of four letters and more, since shorter
/// ones are all alike.
fn one_slip(a: &str, b: &str) -> bool {
    let (short, long) = if a.chars().count() <= b.chars().count() { (a, b) } else { (b, a) };
    let (short, long): (Vec<char>, Vec<char>) = (short.chars().collect(), long.chars().collect());
    if short.len() < 4 || long.len() - short.len() > 1 {
        return false;
    }
    let head = short.iter().zip(&long).take_while(|(x, y)| x == y).count();
    let (short, long) = (&short[head..], &long[head..]);
    if short.len() < long.len() {
        return short == &long[1..];
    }
    // From the first difference on: one letter changed, or two neighbours swapped. Equal names have nothing left.
    let changed = short.get(1..) == long.get(1..);
    let swapped = short.len() > 1 && short[0] == long[1] && short[1] == long[0] && short[2..] == long[2..];
    changed || swapped
}
