//! How a family name sounds.
//!
//! American Soundex by the rules of the US National Archives ("The Soundex Indexing System", from memory; its worked
//! examples are the test). A well-known, small and stable algorithm: its key is kept with each record and indexed.

use crate::patients::names::fold_for_search;

/// A key under which family names that sound alike meet, a letter and three digits. A name without any letter A to Z
/// has its folded form as key, so that it meets itself.
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

/// Beginnings that are written in two ways and sound as one, in folded letters (English spelling; local).
const STARTS: [(&str, &str); 9] =
    [("ph", "f"), ("pf", "f"), ("kn", "n"), ("gn", "n"), ("wr", "r"), ("ps", "s"), ("rh", "r"), ("c", "k"), ("q", "k")];

/// True when two folded family names sound alike: one key, or one key once their beginnings are written alike, for the
/// key holds to the first letter ("philips" and "filips", "knight" and "night").
pub fn sound_alike(a: &str, b: &str) -> bool {
    phonetic_key(a) == phonetic_key(b) || phonetic_key(&plain_start(a)) == phonetic_key(&plain_start(b))
}

fn plain_start(folded: &str) -> String {
    let written = STARTS.iter().find_map(|(start, plain)| Some((folded.strip_prefix(start)?, plain)));
    written.map_or_else(|| folded.to_owned(), |(rest, plain)| format!("{plain}{rest}"))
}
