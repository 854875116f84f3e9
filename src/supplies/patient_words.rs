//! What papers for the patient share: the languages, the identity strip, the foot, how an item and its use are said.

use std::sync::LazyLock;

use chrono::NaiveDateTime;

use super::draft_page::item_words;
use super::paper::Printing;
use super::rules::routine_messages;
use super::store::LineRow;
use super::summary::Loaded;
use crate::patients::identifiers::Scheme;
use crate::web::AppError;
use crate::words::{Language, Languages, WordsError};

static LANGUAGES: LazyLock<Result<Languages, WordsError>> = LazyLock::new(|| Languages::shipped(&routine_messages()));

/// The languages of the program, each with every message that the program and its data name.
pub fn languages() -> Result<&'static Languages, &'static WordsError> {
    LANGUAGES.as_ref()
}

/// All languages, for a handler. That they cannot be read arises in no program that was tested: `serve` refuses to
/// start then.
pub fn all() -> Result<&'static Languages, AppError> {
    languages().map_err(|error| {
        tracing::error!(%error, "the words for patients cannot be used");
        AppError::Unknown
    })
}

/// The language asked for; the usual one when none was.
pub fn language(tag: &str) -> Result<&'static Language, AppError> {
    let all = all()?;
    if tag.is_empty() {
        return Ok(all.usual());
    }
    all.find(tag).ok_or_else(|| AppError::Unreadable("There are no words for patients in this language.".to_owned()))
}

/// "THISTLEWOOD, Marion (Mrs) · Born 23 August 1951 · NHS No. 999 000 0042": two identifiers on every page.
pub fn identity(loaded: &Loaded, words: &Language) -> String {
    let born = loaded.patient.born_on.map_or_else(|| words.not_known(), |on| words.long_date(on));
    let nhs = loaded.identifiers.iter().find(|id| id.scheme() == Scheme::NhsNumber);
    let number = match nhs.or(loaded.identifiers.first()) {
        Some(id) => words.number(id.scheme().label(), &id.display()),
        None => words.number(Scheme::NhsNumber.label(), &words.not_known()),
    };
    let number = number.replace(' ', "\u{a0}");
    format!("{} · {} · {number}", loaded.patient.display_name(), words.born(&born))
}

/// Service, version, who printed and when.
pub fn foot(loaded: &Loaded, printing: &Printing<'_>, words: &Language) -> String {
    let version = loaded.held.number.to_string();
    let (date, time) = (words.long_date(printing.at.date()), clock(printing.at));
    match printing.phone {
        Some(phone) => {
            words.foot_phone(printing.service, &phone.replace(' ', "\u{a0}"), &version, printing.by, &date, &time)
        }
        None => words.foot(printing.service, &version, printing.by, &date, &time),
    }
}

fn clock(at: NaiveDateTime) -> String {
    at.format("%H:%M").to_string()
}

/// What stands above every page of a list that is not in force, and of a demonstration.
pub fn mark(loaded: &Loaded, demo: bool, words: &Language) -> Option<String> {
    let state = match loaded.held.status.as_str() {
        "signed" => None,
        "draft" => Some(words.list_draft()),
        "superseded" => Some(words.list_superseded()),
        _ => Some(words.list_stopped()),
    };
    let parts: Vec<String> = state.into_iter().chain(demo.then(|| words.demonstration())).collect();
    (!parts.is_empty()).then(|| parts.join(" "))
}

/// "1 every 2 days"
pub fn usage(words: &Language, units: i32, every_days: i32) -> String {
    match every_days {
        1 => words.each_day(&units.to_string()),
        _ => words.every_days(&units.to_string(), &every_days.to_string()),
    }
}

/// Name and size of an item as the catalogue has it.
pub fn item(row: &LineRow) -> String {
    item_words(&row.name, row.size.as_deref())
}
