//! From what was found to the likely causes, each with the signs that speak for and against it.
//!
//! The causes stand in `causes.toml` with source and standing. It suggests in a fixed order; it must not choose: the
//! nurse decides, and nothing is ever preselected.

use std::collections::BTreeSet;
use std::sync::LazyLock;

use serde::Deserialize;
use thiserror::Error;

use crate::provenance::{Source, Standing};

/// Something seen, felt or told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sign {
    /// A stable code.
    pub id: String,
    /// In words.
    pub words: String,
    /// True when the form asks for it; the others follow from map, symptoms and measures.
    pub asked: bool,
}

/// One cause.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cause {
    /// A stable code.
    pub id: String,
    /// In words.
    pub title: String,
    /// True when somebody else must see it without delay, so that it stands before the others.
    pub urgent: bool,
    /// One of these signs must be there for it to be suggested.
    pub needs: Vec<String>,
    /// Signs that speak for it.
    pub speaks_for: Vec<String>,
    /// Signs that speak against it.
    pub speaks_against: Vec<String>,
    /// The usual first nursing step.
    pub first_step: String,
    /// When to hand it on.
    pub escalate: String,
    /// Where the signs come from.
    pub source: Source,
    /// Where step and escalation come from.
    pub step_source: Source,
}

/// The whole set.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Causes {
    /// The version.
    pub version: String,
    /// What is done first whatever the cause.
    pub first_for_all: String,
    /// Where that comes from.
    pub first_source: Source,
    /// Every sign.
    pub signs: Vec<Sign>,
    /// Every cause, in the order of the set.
    pub causes: Vec<Cause>,
    /// Answers that are no cause: code and words.
    pub answers: Vec<(String, String)>,
}

/// A cause that the signs suggest.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Suggestion<'a> {
    /// The cause.
    pub cause: &'a Cause,
    /// Words of the signs found that speak for it.
    pub speaks_for: Vec<&'a str>,
    /// Words of the signs found that speak against it.
    pub speaks_against: Vec<&'a str>,
}

/// Why a set was refused.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum CausesError {
    /// Not TOML, or with missing or unknown keys.
    #[error("the causes cannot be read: {0}")]
    Form(String),
    /// A row that makes no sense.
    #[error("cause {0}: {1}")]
    Row(String, String),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    version: String,
    first_for_all: String,
    first_for_all_source: String,
    first_for_all_standing: Standing,
    sign: Vec<FileSign>,
    cause: Vec<FileCause>,
    answer: Vec<FileAnswer>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileSign {
    id: String,
    words: String,
    #[serde(default)]
    asked: bool,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileAnswer {
    id: String,
    title: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileCause {
    id: String,
    title: String,
    #[serde(default)]
    urgent: bool,
    needs: Vec<String>,
    r#for: Vec<String>,
    against: Vec<String>,
    first_step: String,
    escalate: String,
    source: String,
    standing: Standing,
    step_source: Option<String>,
    step_standing: Option<Standing>,
}

impl Causes {
    /// Reads a set from TOML.
    ///
    /// # Errors
    /// [`CausesError`]: the first fault found; a sign that is not in the list, a cause without a sign to need.
    pub fn from_toml(text: &str) -> Result<Self, CausesError> {
        let file: File = toml::from_str(text).map_err(|fault| CausesError::Form(fault.to_string()))?;
        let signs: Vec<Sign> =
            file.sign.into_iter().map(|s| Sign { id: s.id, words: s.words, asked: s.asked }).collect();
        let causes: Vec<Cause> = file.cause.into_iter().map(cause_of).collect();
        for (index, cause) in causes.iter().enumerate() {
            let fault = |message: String| Err(CausesError::Row(cause.id.clone(), message));
            if causes.iter().take(index).any(|before| before.id == cause.id) {
                return fault("is there twice".to_owned());
            }
            if let Some(need) = cause.needs.iter().find(|need| !cause.speaks_for.contains(need)) {
                return fault(format!("needs {need}, which must speak for it as well"));
            }
            let named = cause.speaks_for.iter().chain(&cause.speaks_against);
            if let Some(unknown) = named.into_iter().find(|id| !signs.iter().any(|sign| &sign.id == *id)) {
                return fault(format!("{unknown} is not a sign"));
            }
            if cause.needs.is_empty() {
                return fault("needs no sign: it would always be suggested".to_owned());
            }
        }
        Ok(Self {
            version: file.version,
            first_for_all: file.first_for_all,
            first_source: Source { source: file.first_for_all_source.into(), standing: file.first_for_all_standing },
            signs,
            causes,
            answers: file.answer.into_iter().map(|a| (a.id, a.title)).collect(),
        })
    }

    /// Codes and words that the nurse may choose from, causes first.
    pub fn choices(&self) -> impl Iterator<Item = (&str, &str)> {
        let causes = self.causes.iter().map(|c| (c.id.as_str(), c.title.as_str()));
        causes.chain(self.answers.iter().map(|(id, title)| (id.as_str(), title.as_str())))
    }

    /// The words of a code, or the code.
    pub fn words<'a>(&'a self, code: &'a str) -> &'a str {
        self.choices().find(|(id, _)| *id == code).map_or(code, |(_, words)| words)
    }

    /// Signs that the form asks for.
    pub fn asked(&self) -> impl Iterator<Item = &Sign> {
        self.signs.iter().filter(|sign| sign.asked)
    }

    /// The causes that the signs found suggest: those to hand on first, then by signs for less signs against, then in
    /// the order of the set. The same signs give the same list.
    pub fn suggest(&self, found: &BTreeSet<String>) -> Vec<Suggestion<'_>> {
        let words_of = |ids: &[String]| -> Vec<&str> {
            let there = self.signs.iter().filter(|sign| ids.contains(&sign.id) && found.contains(&sign.id));
            there.map(|sign| sign.words.as_str()).collect()
        };
        let mut list: Vec<Suggestion<'_>> = self
            .causes
            .iter()
            .filter(|cause| cause.needs.iter().any(|need| found.contains(need)))
            .map(|cause| Suggestion {
                cause,
                speaks_for: words_of(&cause.speaks_for),
                speaks_against: words_of(&cause.speaks_against),
            })
            .collect();
        let signed = |count: usize| i64::try_from(count).unwrap_or(i64::MAX);
        // Stable: alike ones stay in the order of the set.
        list.sort_by_key(|s| (!s.cause.urgent, signed(s.speaks_against.len()) - signed(s.speaks_for.len())));
        list
    }
}

fn cause_of(row: FileCause) -> Cause {
    let source = Source { source: row.source.into(), standing: row.standing };
    let step_source = Source {
        source: row.step_source.map_or_else(|| source.source.clone(), Into::into),
        standing: row.step_standing.unwrap_or(source.standing),
    };
    Cause {
        id: row.id,
        title: row.title,
        urgent: row.urgent,
        needs: row.needs,
        speaks_for: row.r#for,
        speaks_against: row.against,
        first_step: row.first_step,
        escalate: row.escalate,
        source,
        step_source,
    }
}

static SHIPPED: LazyLock<Result<Causes, CausesError>> =
    LazyLock::new(|| Causes::from_toml(include_str!("causes.toml")));

/// The shipped set.
///
/// # Errors
/// Only if the built-in file itself is wrong, which a test rules out.
pub fn shipped() -> Result<&'static Causes, &'static CausesError> {
    SHIPPED.as_ref()
}

/// The words of a cause's code by the shipped set, or the code where it has none.
pub fn words(code: &str) -> String {
    shipped().map_or_else(|_| code.to_owned(), |set| set.words(code).to_owned())
}
