//! One cell with a whole name: which part is the family name.
//!
//! Taken apart only where the way of writing leaves no doubt; everything else is an error in words.

use super::values::unknown_name;
use crate::patients::names::tidy;

/// A name taken apart.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FullName {
    /// Family name.
    pub family: String,
    /// Given names; none when the cell said that they are not known.
    pub given: Option<String>,
    /// Title, if there was one.
    pub title: Option<String>,
}

const TITLES: [&str; 20] = [
    "mr",
    "mrs",
    "miss",
    "ms",
    "mx",
    "master",
    "dr",
    "prof",
    "professor",
    "rev",
    "revd",
    "reverend",
    "sir",
    "dame",
    "lady",
    "lord",
    "father",
    "sister",
    "cllr",
    "fr",
];

/// Small words that belong to the family name after them, when written small: "Van" and "Le" with a capital may as well
/// be second given names.
const PARTICLES: [&str; 22] = [
    "van", "von", "de", "der", "den", "ter", "ten", "del", "della", "di", "da", "dos", "du", "la", "le", "el", "al",
    "bin", "ibn", "ap", "ab", "af",
];

/// Beginnings of family names that keep their capital.
const BEGINNINGS: [&str; 5] = ["St", "St.", "Mac", "Mc", "O"];

/// "Surname, Forename (Title)", "Surname, Title Forename", "SURNAME Forename" or "Title Forename Surname".
///
/// # Errors
/// What to write, when it is not certain which part is which.
pub fn full_name(cell: &str) -> Result<FullName, String> {
    let unclear = || "it is not certain which part is the family name; write “Surname, Forename (Title)”".to_owned();
    let name = tidy(&cell.replace(['(', ')'], " "));
    let halves: Vec<&str> = name.split(',').map(str::trim).collect();
    let (family, given, title) = match halves.as_slice() {
        [family, given] => {
            let (given, title) = without_title(given);
            ((*family).to_owned(), given, title)
        }
        [one] => {
            let (words, title) = without_title(one);
            let (family, given) = first_and_last(&words).ok_or_else(unclear)?;
            (family, given, title)
        }
        _ => return Err(unclear()),
    };
    if family.is_empty() || given.is_empty() || unknown_name(&family) {
        return Err("both family name and forename are needed; write “Surname, Forename (Title)”".to_owned());
    }
    Ok(FullName { family, given: Some(given).filter(|given| !unknown_name(given)), title })
}

/// Words without a title at either end, and the title.
fn without_title(text: &str) -> (String, Option<String>) {
    let is_title = |word: &str| TITLES.contains(&word.trim_end_matches('.').to_lowercase().as_str());
    let words: Vec<&str> = text.split(' ').filter(|word| !word.is_empty()).collect();
    match words.as_slice() {
        [first, rest @ ..] if is_title(first) => (rest.join(" "), Some((*first).to_owned())),
        [rest @ .., last] if is_title(last) => (rest.join(" "), Some((*last).to_owned())),
        _ => (words.join(" "), None),
    }
}

/// A word of two letters and more in capitals; `McDONALD` is one.
fn capitals(word: &str) -> bool {
    let rest = ["Mc", "Mac"].iter().find_map(|start| word.strip_prefix(start)).unwrap_or(word);
    rest.chars().filter(|c| c.is_uppercase()).count() > 1 && !rest.chars().any(char::is_lowercase)
}

/// Family and given name of words without a comma: two words, or small words before the last, or capitals alone.
fn first_and_last(text: &str) -> Option<(String, String)> {
    let words: Vec<&str> = text.split(' ').filter(|word| !word.is_empty()).collect();
    let upper = words.iter().take_while(|word| capitals(word)).count();
    if upper > 0 && upper < words.len() && !words[upper..].iter().any(|word| capitals(word)) {
        return Some((words[..upper].join(" "), words[upper..].join(" ")));
    }
    let small = |word: &str| PARTICLES.contains(&word) || BEGINNINGS.contains(&word);
    match words.as_slice() {
        [given, family @ .., last] if family.iter().all(|word| small(word)) && !capitals(given) => {
            Some((family.iter().chain([last]).copied().collect::<Vec<_>>().join(" "), (*given).to_owned()))
        }
        [given, family] => Some(((*family).to_owned(), (*given).to_owned())),
        _ => None,
    }
}
