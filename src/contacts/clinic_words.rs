//! The closed lists of the clinic form: codes and words. The codes are those of the urgency, cause and supply rules.

/// Codes and words of what may be found at the stoma.
pub const STOMA_FINDINGS: [(&str, &str); 12] = [
    ("separation-partial", "Edge parted from the skin over some hours"),
    ("separation-full", "Edge parted from the skin all round"),
    ("separation-deep", "Edge parted deeply, or output runs into the gap"),
    ("retraction", "Lies below the skin"),
    ("flush", "Level with the skin"),
    ("prolapse-reducible", "Slid out, goes back"),
    ("prolapse-irreducible", "Slid out, does not go back"),
    ("stenosis", "Opening of the stoma narrowed"),
    ("hernia", "Bulge beside it"),
    ("bleeding-stops-with-pressure", "Bleeds, pressure stops it"),
    ("bleeding-does-not-stop", "Bleeds, pressure does not stop it"),
    ("varices", "Widened veins around it"),
];

/// Findings of which only one can be true, with the words that say so.
pub const ONE_OF: [(&[&str], &str); 3] = [
    (&["separation-partial", "separation-full", "separation-deep"], "Choose one of the separations"),
    (&["prolapse-reducible", "prolapse-irreducible"], "Choose one of the two prolapses"),
    (&["bleeding-stops-with-pressure", "bleeding-does-not-stop"], "Choose one of the two bleedings"),
];

/// Codes and words of what the patient may tell or the nurse see besides.
pub const ALSO: [(&str, &str); 9] = [
    ("broken-skin", "Skin broken or weeping"),
    ("ulceration", "Ulcer in the skin"),
    ("rapid-painful-ulcer", "Very painful ulcer that grows fast"),
    ("spreading-redness", "Hot skin, redness or darkening that spreads"),
    ("fever", "Fever or shivering"),
    ("dehydration", "Thirst, dizziness, little dark urine"),
    ("vomiting", "Vomiting"),
    ("loose-output", "Output looser than usual"),
    ("not-coping", "Says it is too much"),
];

/// Stoma colours, code and word.
pub const COLOURS: [(&str, &str); 5] =
    [("pink", "Pink"), ("red", "Red"), ("pale", "Pale"), ("dusky", "Dusky, blue or grey"), ("black", "Black or brown")];

/// Shapes of the stoma, code and word.
pub const SHAPES: [(&str, &str); 3] = [("round", "Round"), ("oval", "Oval"), ("irregular", "Irregular")];

/// Consistencies of the output, code and word.
pub const CONSISTENCIES: [(&str, &str); 5] = [
    ("formed", "Formed"),
    ("porridge", "Like porridge"),
    ("watery", "Watery"),
    ("urine-clear", "Urine, clear"),
    ("urine-mucus", "Urine with mucus"),
];

/// Tones of the patient's own skin, code and word; against which a change of colour is judged.
pub const SKIN_TONES: [(&str, &str); 5] = [
    ("very-light", "Very light"),
    ("light", "Light"),
    ("medium", "Medium"),
    ("brown", "Brown"),
    ("dark", "Dark brown or black"),
];

/// Modes, code and word.
pub const MODES: [(&str, &str); 5] =
    [("clinic", "Clinic"), ("phone", "Telephone"), ("home", "Home"), ("ward", "Ward"), ("video", "Video")];

/// Answers to a red flag, code and word.
pub const FLAG_ANSWERS: [(&str, &str); 2] =
    [("handed-on", "Acted on and handed on by the local policy"), ("overruled", "Not acted on, for a reason")];

/// True when the list has the code.
pub fn known(list: &[(&str, &str)], code: &str) -> bool {
    list.iter().any(|(c, _)| *c == code)
}

/// The words of a code, or the code.
pub fn words<'a>(list: &'a [(&'a str, &'a str)], code: &'a str) -> &'a str {
    list.iter().find(|(c, _)| *c == code).map_or(code, |(_, words)| words)
}
