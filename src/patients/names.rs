//! Names: how they are shown, searched, kept tidy and compared for a warning of duplicates.
//!
//! Pure: text and dates in, text out. It must not decide that two records are one person: it says what is alike, in
//! words, and a person decides.

use std::fmt;

use chrono::{Datelike, Days, NaiveDate};
use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::canonical_combining_class;

use super::identifiers::{Identifier, Scheme};

/// "SURNAME, Forename (Title)": family name in capitals, title in brackets without full stop (ISB 1506: read).
/// What is not known is said in words (patient list guide of the same family of standards: read).
pub fn display(family: &str, given: &str, title: Option<&str>) -> String {
    let (family, given) = (tidy(family), tidy(given));
    let family = if family.is_empty() { "UNKNOWN".to_owned() } else { family.to_uppercase() };
    let given = if given.is_empty() { "Unknown".to_owned() } else { given };
    match title.map(tidy_title).filter(|title| !title.is_empty()) {
        Some(title) => format!("{family}, {given} ({title})"),
        None => format!("{family}, {given}"),
    }
}

/// A title without its full stop; one written all in small or all in capital letters gets one capital ("MRS." → "Mrs").
pub fn tidy_title(title: &str) -> String {
    let title = tidy(&title.replace('.', " "));
    let mixed = title.chars().any(char::is_uppercase) && title.chars().any(char::is_lowercase);
    if mixed {
        return title;
    }
    title
        .split(' ')
        .map(|word| {
            let mut chars = word.chars();
            chars.next().map_or_else(String::new, |first| {
                first.to_uppercase().chain(chars.flat_map(char::to_lowercase)).collect::<String>()
            })
        })
        .collect::<Vec<_>>()
        .join(" ")
}

/// The name as kept: blanks at the ends gone, one blank inside, letters composed (NFC), nothing invisible.
/// Spelling and capitals stay as they were written.
pub fn tidy(name: &str) -> String {
    let blank = |c: char| if c.is_control() || c.is_whitespace() { ' ' } else { c };
    let visible: String = if name.is_ascii() {
        name.chars().map(blank).collect()
    } else {
        name.nfc().filter(|c| !is_invisible(*c)).map(blank).collect()
    };
    visible.split(' ').filter(|part| !part.is_empty()).collect::<Vec<_>>().join(" ")
}

/// The form in which names are searched and compared: small letters without accents, digits and single blanks.
/// Hyphens become blanks, apostrophes vanish ("O’Brien-Łódź" → "obrien lodz"). Folding twice changes nothing.
pub fn fold_for_search(text: &str) -> String {
    let mut folded = String::with_capacity(text.len());
    if text.is_ascii() {
        // Nearly every name and heading: nothing to decompose.
        text.bytes().for_each(|b| fold_char(char::from(b.to_ascii_lowercase()), &mut folded));
    } else {
        // Small letters may need decomposing again (İ gives i and a dot), hence the second nfkd.
        text.nfkd().flat_map(char::to_lowercase).nfkd().for_each(|c| fold_char(c, &mut folded));
    }
    if folded.ends_with(' ') {
        folded.pop();
    }
    folded
}

/// Adds what is left of one decomposed small letter.
fn fold_char(c: char, folded: &mut String) {
    if c.is_ascii_alphanumeric() {
        folded.push(c);
    } else if is_apostrophe(c) || !c.is_ascii() && (canonical_combining_class(c) != 0 || is_invisible(c)) {
        // Leaves nothing.
    } else if let Some(letters) = plain_letters(c) {
        folded.push_str(letters);
    } else if c.is_alphanumeric() {
        folded.push(c);
    } else if !folded.is_empty() && !folded.ends_with(' ') {
        folded.push(' ');
    }
}

/// Letters that Unicode does not take apart, written as search knows them (usual transliteration: common practice).
fn plain_letters(c: char) -> Option<&'static str> {
    Some(match c {
        'ł' => "l",
        'ø' => "o",
        'đ' | 'ð' => "d",
        'ħ' => "h",
        'ŧ' => "t",
        'ı' => "i",
        'ŋ' => "n",
        'ß' => "ss",
        'æ' => "ae",
        'œ' => "oe",
        'þ' => "th",
        'ς' => "σ",
        _ => return None,
    })
}

/// Apostrophes in all the shapes that keyboards and word processors give them, and the letters used in their place.
fn is_apostrophe(c: char) -> bool {
    matches!(c, '\'' | '`' | '´' | '‘' | '’' | '‛' | 'ʹ' | 'ʻ' | 'ʼ' | 'ʽ' | '′' | '＇')
}

/// Characters that leave no mark on paper: soft hyphen, zero-width blank, direction marks, byte-order mark.
fn is_invisible(c: char) -> bool {
    matches!(c, '\u{ad}' | '\u{200b}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}')
}

/// A key under which family names that sound alike meet: American Soundex by the rules of the US National Archives
/// ("The Soundex Indexing System": from memory; its worked examples are in the tests), a letter and three digits.
/// A name without any letter A to Z has its folded form as key, so that it meets itself.
pub fn phonetic_key(family: &str) -> String {
    let folded = fold_for_search(family);
    let mut letters = folded.chars().filter(char::is_ascii_lowercase);
    let Some(first) = letters.next() else {
        return folded;
    };
    let mut key = String::from(first.to_ascii_uppercase());
    let mut last = soundex_digit(first);
    for letter in letters {
        let digit = soundex_digit(letter);
        match digit {
            Some(found) if last != Some(found) => {
                key.push(found);
                last = digit;
            }
            Some(_) => {}
            // H and W do not part two letters of one number; vowels and Y do.
            None if matches!(letter, 'h' | 'w') => {}
            None => last = None,
        }
    }
    key.push_str("000");
    key.truncate(4);
    key
}

fn soundex_digit(letter: char) -> Option<char> {
    Some(match letter {
        'b' | 'f' | 'p' | 'v' => '1',
        'c' | 'g' | 'j' | 'k' | 'q' | 's' | 'x' | 'z' => '2',
        'd' | 't' => '3',
        'l' => '4',
        'm' | 'n' => '5',
        'r' => '6',
        _ => return None,
    })
}

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

impl DuplicateReason {
    /// True when it is likely one person; false for namesakes, where the warning is not to mix them up.
    pub fn is_likely(&self) -> bool {
        *self != Self::Namesake
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

/// Why `a` and `b` may be one person, or `None`.
///
/// The comparison is the one that patient-identification guidance asks for when a record is made (US Office of the
/// National Coordinator, SAFER guide on patient identification, 2016: read): sounding name, initial, birth date with
/// the usual slips of the pen, number. Which slips count is decided here (local).
pub fn similarity(a: &Person<'_>, b: &Person<'_>) -> Option<DuplicateReason> {
    let shared = a.identifiers.iter().filter(|id| b.identifiers.contains(id)).map(Identifier::scheme).min();
    if let Some(scheme) = shared {
        return Some(DuplicateReason::Number(scheme));
    }
    let names = compare_names((a.family, a.given), (b.family, b.given))?;
    match (a.birth_date, b.birth_date) {
        (Some(born_a), Some(born_b)) => match (names, compare_birth_dates(born_a, born_b)) {
            // Another family name is a common fact of life; the birth date has to carry the suspicion alone.
            (Names::GivenOnly, Some(BirthDates::Same)) => Some(DuplicateReason::NamesAndBirth(names, BirthDates::Same)),
            (Names::GivenOnly, _) => None,
            (_, Some(dates)) => Some(DuplicateReason::NamesAndBirth(names, dates)),
            (Names::Same, None) => Some(DuplicateReason::Namesake),
            (_, None) => None,
        },
        _ => (names == Names::Same).then_some(DuplicateReason::NameBirthUnknown),
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
    phonetic_key(a) == phonetic_key(b) || part(a, b) || part(b, a) || one_slip(a, b)
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
