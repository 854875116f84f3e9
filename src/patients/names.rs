//! Names: how they are shown, searched and kept tidy. Who may be whom is told by `rules`.
//!
//! Pure: text in, text out.

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::canonical_combining_class;

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
