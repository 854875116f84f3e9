//! Small view values shared by several pages, as the macros of `templates/parts/` read them. Prepared text only.

/// The mark of a patient in a list.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Roundel {
    /// Letter of the stoma kind: C, I or U.
    pub letter: String,
    /// The same facts in words ("Ileostomy; 3 o'clock eroded; 4 and 5 o'clock discoloured").
    pub words: String,
    /// One per affected hour; empty for clear skin.
    pub marks: Vec<RoundelMark>,
    /// Whether a review waits for a date (the ring is then open).
    pub waiting: bool,
}

/// One affected hour of the ring.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct RoundelMark {
    /// Degrees clockwise from 12 o'clock: hour mod 12 times 30.
    pub turn: u16,
    /// Worst finding of the hour: `eroded`, else `overgrown`, else `discoloured`.
    pub finding: String,
}

/// How soon.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Band {
    /// `same-day`, `one-working-day`, `five-working-days`, `ten-working-days` or `as-planned`.
    pub key: String,
    /// In words, "Same day".
    pub word: String,
}

/// A skin score and how it moved.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Score {
    /// "8".
    pub value: String,
    /// "15".
    pub out_of: String,
    /// Band of the service's set in words, "severe"; empty if none.
    pub band: String,
    /// `up` (worse), `down` (better), `same`, `first`.
    pub change: String,
    /// "worse by 5, was 3".
    pub change_words: String,
    /// "12-Nov-2026".
    pub date: String,
}

/// Banner of the pages about one patient.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PatientBanner {
    /// "SURNAME, Forename (Title)".
    pub name: String,
    /// Preferred name, where it differs.
    pub preferred: Option<String>,
    /// Address of the record.
    pub href: String,
    /// "12-Mar-1951".
    pub born: String,
    /// "1951-03-12".
    pub born_iso: String,
    /// "75", or "5 months" for the youngest.
    pub age: String,
    /// "Female", "Not known".
    pub gender: String,
    /// "943 476 5919" or words.
    pub nhs: String,
    /// Other identifiers: (label, value).
    pub other_ids: Vec<(String, String)>,
    /// Set for a patient who has died.
    pub died: Option<Died>,
    /// Sensitivities and materials to avoid, one of four states.
    pub avoid: Avoid,
}

/// Death, as the banner shows it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Died {
    /// "04-Nov-2026".
    pub on: String,
    /// "2026-11-04".
    pub on_iso: String,
    /// Age at death, "81".
    pub age: String,
}

/// Sensitivities zone of the banner.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Avoid {
    /// `known`, `none`, `not-recorded` or `unavailable`.
    pub state: String,
    /// "Latex; adhesive remover with alcohol", "None known", "Not recorded", "Not available at the moment".
    pub text: String,
}

/// Part of a long list.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Pager {
    /// "31 to 60 of 412".
    pub words: String,
    /// Address of the previous part.
    pub previous: Option<String>,
    /// Address of the next part.
    pub next: Option<String>,
}

/// A word that leads somewhere; `current` if it is where one is.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Link {
    /// Where.
    pub href: String,
    /// The word.
    pub label: String,
    /// Whether one is there.
    pub current: bool,
}
