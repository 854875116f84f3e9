//! The words with which clinics write a stoma: "loop ileo (temp)", "end colostomy", "ileal conduit".
//!
//! Closed lists. A word that is not in them makes the cell unclear and the row is reported: what is not certain is not
//! taken, and the name of an operation is not a stoma.

use crate::follow_up::rules::{Construction, Permanence, StomaKind, SurgeryType};
use crate::patients::names::fold_for_search;

/// What a cell said of a stoma.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StomaWords {
    /// Colostomy, ileostomy or urostomy.
    pub kind: StomaKind,
    /// If the cell said so.
    pub construction: Option<Construction>,
    /// If the cell said so.
    pub permanence: Option<Permanence>,
    /// The cell has words (where, what for) that none of the above keeps.
    pub more: bool,
}

/// What one word can mean.
#[derive(Clone, Copy)]
enum Word {
    Kind(StomaKind),
    Construction(Construction),
    Permanence(Permanence),
    /// Says where or what for, and changes nothing.
    Filler,
}

/// One word or two (usual in the trade: common practice).
const WORDS: [(&str, Word); 37] = [
    ("colostomy", Word::Kind(StomaKind::Colostomy)),
    ("colo", Word::Kind(StomaKind::Colostomy)),
    ("col", Word::Kind(StomaKind::Colostomy)),
    ("ileostomy", Word::Kind(StomaKind::Ileostomy)),
    ("ileo", Word::Kind(StomaKind::Ileostomy)),
    ("urostomy", Word::Kind(StomaKind::Urostomy)),
    ("uro", Word::Kind(StomaKind::Urostomy)),
    ("ileal conduit", Word::Kind(StomaKind::Urostomy)),
    ("end", Word::Construction(Construction::End)),
    ("terminal", Word::Construction(Construction::End)),
    ("loop", Word::Construction(Construction::Loop)),
    ("double barrel", Word::Construction(Construction::DoubleBarrel)),
    ("double barrelled", Word::Construction(Construction::DoubleBarrel)),
    ("double barreled", Word::Construction(Construction::DoubleBarrel)),
    ("doublebarrel", Word::Construction(Construction::DoubleBarrel)),
    ("doublebarrelled", Word::Construction(Construction::DoubleBarrel)),
    ("permanent", Word::Permanence(Permanence::Permanent)),
    ("perm", Word::Permanence(Permanence::Permanent)),
    ("temporary", Word::Permanence(Permanence::Temporary)),
    ("temp", Word::Permanence(Permanence::Temporary)),
    ("reversible", Word::Permanence(Permanence::Temporary)),
    ("defunctioning", Word::Filler),
    ("diverting", Word::Filler),
    ("covering", Word::Filler),
    ("sigmoid", Word::Filler),
    ("descending", Word::Filler),
    ("transverse", Word::Filler),
    ("ascending", Word::Filler),
    ("left", Word::Filler),
    ("right", Word::Filler),
    ("sided", Word::Filler),
    ("lif", Word::Filler),
    ("rif", Word::Filler),
    ("luq", Word::Filler),
    ("ruq", Word::Filler),
    ("stoma", Word::Filler),
    ("type", Word::Filler),
];

/// Reads a cell that names a stoma.
///
/// # Errors
/// Why it is not clear, and what to write.
pub fn stoma(cell: &str) -> Result<StomaWords, String> {
    if cell.contains('?') {
        return Err("a question mark leaves it open; write the kind of stoma once it is certain".to_owned());
    }
    let (mut kinds, mut constructions, mut permanences, mut more) = (Vec::new(), Vec::new(), Vec::new(), false);
    for word in words(cell)? {
        match word {
            Word::Kind(kind) => kinds.push(kind),
            Word::Construction(construction) => constructions.push(construction),
            Word::Permanence(permanence) => permanences.push(permanence),
            Word::Filler => more = true,
        }
    }
    let kind = match kinds.as_slice() {
        // "Urostomy (ileal conduit)" is one stoma with two names.
        [kind] | [kind @ StomaKind::Urostomy, StomaKind::Urostomy] => *kind,
        [] => return Err(format!("{KIND_WANTED}; no kind of stoma was found in it")),
        _ => return Err("it names more than one stoma; give each stoma a row of its own".to_owned()),
    };
    let construction = one(&constructions).map_err(|()| "it says both end and loop; write which one it is")?;
    let permanence = one(&permanences).map_err(|()| "it says both permanent and temporary; write which one it is")?;
    Ok(StomaWords { kind, construction, permanence, more })
}

const KIND_WANTED: &str = "write colostomy, ileostomy or urostomy, with end or loop, permanent or temporary if known";

/// Reads a cell of a column "end or loop".
///
/// # Errors
/// What to write.
pub fn construction(cell: &str) -> Result<Construction, String> {
    match words(cell).unwrap_or_default().as_slice() {
        [Word::Construction(construction)] | [Word::Construction(construction), Word::Filler] => Ok(*construction),
        _ => Err("write end, loop or double-barrel, or leave it empty".to_owned()),
    }
}

/// Reads a cell of a column "permanent or temporary".
///
/// # Errors
/// What to write.
pub fn permanence(cell: &str) -> Result<Permanence, String> {
    match words(cell).unwrap_or_default().as_slice() {
        [Word::Permanence(permanence)] | [Word::Permanence(permanence), Word::Filler] => Ok(*permanence),
        _ => Err("write permanent or temporary, or leave it empty".to_owned()),
    }
}

/// Reads a cell of a column "planned or emergency". "Urgent" is neither and is not taken.
///
/// # Errors
/// What to write.
pub fn urgency(cell: &str) -> Result<SurgeryType, String> {
    match fold_for_search(cell).as_str() {
        "planned" | "elective" | "planned surgery" | "elective surgery" => Ok(SurgeryType::Planned),
        "emergency" | "emerg" | "emergency surgery" => Ok(SurgeryType::Emergency),
        _ => Err("write planned or emergency, or leave it empty".to_owned()),
    }
}

/// The words of a cell, two together before one alone.
fn words(cell: &str) -> Result<Vec<Word>, String> {
    let folded = fold_for_search(cell);
    let tokens: Vec<&str> = folded.split(' ').filter(|token| !token.is_empty()).collect();
    let mut words = Vec::new();
    let mut rest = tokens.as_slice();
    while let Some((first, after)) = rest.split_first() {
        let pair = after.first().and_then(|second| find(&format!("{first} {second}")));
        if let Some(word) = pair {
            words.push(word);
            rest = &after[1..];
        } else if let Some(word) = find(first) {
            words.push(word);
            rest = after;
        } else {
            return Err(format!("the word “{first}” is not known here; {KIND_WANTED}"));
        }
    }
    Ok(words)
}

fn find(text: &str) -> Option<Word> {
    WORDS.iter().find(|(known, _)| *known == text).map(|(_, word)| *word)
}

/// The one thing that was said, if any; an error when several were.
fn one<T: Copy + PartialEq>(said: &[T]) -> Result<Option<T>, ()> {
    match said {
        [first, rest @ ..] if rest.iter().any(|other| other != first) => Err(()),
        _ => Ok(said.first().copied()),
    }
}
