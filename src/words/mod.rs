//! Words that a patient reads, one file for each language, so that a translator adds a file and touches no code.
//!
//! The files are `languages/TAG.toml`; whichever lie there are built in. Each is held against the list in [`messages`]:
//! no message may be missing or left over, and each must have just the places to fill (`{phone}`) that the program
//! fills. The room knows no patient and decides nothing. Words of the staff's pages do not belong here.

pub mod messages;

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Datelike, NaiveDate};
use rust_embed::RustEmbed;
use thiserror::Error;

/// The language that is used when nobody chose another, and the one that translators start from.
pub const USUAL: &str = "en-GB";

#[derive(RustEmbed)]
#[folder = "src/words/languages/"]
#[include = "*.toml"]
struct Files;

/// What is wrong with a file of messages.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum WordsError {
    /// Not TOML, or not made of named texts.
    #[error("{file}: {message}")]
    Unreadable {
        /// The file.
        file: String,
        /// What is wrong.
        message: String,
    },
    /// Messages that the program says and the file has not.
    #[error("{file}: missing: {}", .keys.join(", "))]
    Missing {
        /// The file.
        file: String,
        /// Their keys.
        keys: Vec<String>,
    },
    /// Messages that the program never says.
    #[error("{file}: never used: {}", .keys.join(", "))]
    Unused {
        /// The file.
        file: String,
        /// Their keys.
        keys: Vec<String>,
    },
    /// A message with other places to fill than the program fills.
    #[error("{file}: {key} must have {expected:?} to fill and has {found:?}")]
    Places {
        /// The file.
        file: String,
        /// The message.
        key: String,
        /// Names of the places that are filled.
        expected: Vec<String>,
        /// Names in the file.
        found: Vec<String>,
    },
    /// The usual language is not there.
    #[error("there is no {USUAL}.toml")]
    NoUsual,
}

/// A message that the program says: its key and the names of the places that are filled.
pub type Expected = (String, Vec<String>);

/// One language: all its messages.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Language {
    tag: String,
    texts: BTreeMap<String, String>,
}

impl Language {
    /// Reads a file of messages. `tag` is the language tag after BCP 47, the name of the file.
    pub fn read(tag: &str, toml: &str) -> Result<Self, WordsError> {
        let file = format!("{tag}.toml");
        let unreadable = |message: String| WordsError::Unreadable { file: file.clone(), message };
        let table: toml::Table = toml::from_str(toml).map_err(|error| unreadable(error.to_string()))?;
        let mut texts = BTreeMap::new();
        flatten("", &table, &mut texts).map_err(unreadable)?;
        Ok(Self { tag: tag.to_owned(), texts })
    }

    /// The language tag, `en-GB`.
    pub fn tag(&self) -> &str {
        &self.tag
    }

    /// Holds the file against what the program says.
    pub fn check(&self, expected: &[Expected]) -> Result<(), WordsError> {
        let file = format!("{}.toml", self.tag);
        let wanted: BTreeSet<&str> = expected.iter().map(|(key, _)| key.as_str()).collect();
        let missing: Vec<String> =
            wanted.iter().filter(|key| !self.texts.contains_key(**key)).map(|key| (*key).to_owned()).collect();
        if !missing.is_empty() {
            return Err(WordsError::Missing { file, keys: missing });
        }
        let unused: Vec<String> = self.texts.keys().filter(|key| !wanted.contains(key.as_str())).cloned().collect();
        if !unused.is_empty() {
            return Err(WordsError::Unused { file, keys: unused });
        }
        for (key, names) in expected {
            let found = places(self.texts.get(key).map_or("", String::as_str));
            let found = found.map_err(|message| WordsError::Unreadable { file: file.clone(), message })?;
            if found != names.iter().cloned().collect() {
                let (expected, found) = (names.clone(), found.into_iter().collect());
                return Err(WordsError::Places { file, key: key.clone(), expected, found });
            }
        }
        Ok(())
    }

    /// Every message with its key, unfilled.
    pub fn texts(&self) -> impl Iterator<Item = (&str, &str)> {
        self.texts.iter().map(|(key, text)| (key.as_str(), text.as_str()))
    }

    /// A message with its places filled. A message that is not there would show its key; [`Languages::of`] lets no such
    /// language in.
    pub fn say(&self, key: &str, fills: &[(&str, &str)]) -> String {
        let mut rest = self.texts.get(key).map_or(key, String::as_str);
        let mut said = String::new();
        // In one go, so that a fill that looks like a place is left as it is.
        while let Some((before, after)) = rest.split_once('{') {
            let (name, after) = after.split_once('}').unwrap_or((after, ""));
            said.push_str(before);
            said.push_str(fills.iter().find(|(place, _)| *place == name).map_or(name, |(_, fill)| fill));
            rest = after;
        }
        said + rest
    }

    /// "5 November 2026", as this language writes it.
    pub fn long_date(&self, date: NaiveDate) -> String {
        let month = self.say(&format!("month.{}", date.month()), &[]);
        self.date_pattern(&date.day().to_string(), &month, &date.year().to_string())
    }
}

/// Texts under their whole keys: a table in a table gives `outer.inner`.
fn flatten(prefix: &str, table: &toml::Table, texts: &mut BTreeMap<String, String>) -> Result<(), String> {
    for (name, value) in table {
        let key = if prefix.is_empty() { name.clone() } else { format!("{prefix}.{name}") };
        match value {
            toml::Value::String(text) if text.trim().is_empty() => return Err(format!("{key} is empty")),
            toml::Value::String(text) => {
                texts.insert(key, text.split_whitespace().collect::<Vec<_>>().join(" "));
            }
            toml::Value::Table(inner) => flatten(&key, inner, texts)?,
            _ => return Err(format!("{key} is no text: put it in quotation marks")),
        }
    }
    Ok(())
}

/// The names of the places to fill in a text.
fn places(text: &str) -> Result<BTreeSet<String>, String> {
    let mut names = BTreeSet::new();
    let mut rest = text;
    while let Some((before, after)) = rest.split_once('{') {
        let (name, after) = after.split_once('}').ok_or_else(|| format!("a brace is not closed in: {text}"))?;
        if before.contains('}') || name.is_empty() || !name.chars().all(|c| c.is_ascii_lowercase() || c == '_') {
            return Err(format!("a place to fill is a name in braces, as {{phone}}: {text}"));
        }
        names.insert(name.to_owned());
        rest = after;
    }
    if rest.contains('}') { Err(format!("a brace is not opened in: {text}")) } else { Ok(names) }
}

/// All languages, the usual one first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Languages(Vec<Language>);

impl Languages {
    /// Languages from files (tag and text), each held against [`messages::expected`] and the messages that data name.
    pub fn of(files: impl IntoIterator<Item = (String, String)>, of_data: &[Expected]) -> Result<Self, WordsError> {
        let mut expected = messages::expected();
        expected.extend_from_slice(of_data);
        let mut all = Vec::new();
        for (tag, text) in files {
            let language = Language::read(&tag, &text)?;
            language.check(&expected)?;
            all.push(language);
        }
        all.sort_by(|a, b| (a.tag != USUAL, &a.tag).cmp(&(b.tag != USUAL, &b.tag)));
        match all.first() {
            Some(first) if first.tag == USUAL => Ok(Self(all)),
            _ => Err(WordsError::NoUsual),
        }
    }

    /// The languages built into the program.
    pub fn shipped(of_data: &[Expected]) -> Result<Self, WordsError> {
        Self::of(shipped_files(), of_data)
    }

    /// All of them.
    pub fn all(&self) -> &[Language] {
        &self.0
    }

    /// The language of this tag.
    pub fn find(&self, tag: &str) -> Option<&Language> {
        self.0.iter().find(|language| language.tag == tag)
    }

    /// The usual one.
    pub fn usual(&self) -> &Language {
        &self.0[0]
    }

    /// Tag and own name of each, where there is a choice; empty where there is only one.
    pub fn choices(&self) -> Vec<(String, String)> {
        if self.0.len() < 2 {
            return Vec::new();
        }
        self.0.iter().map(|language| (language.tag.clone(), language.own_name())).collect()
    }
}

/// The files built into the program: tag and text.
pub fn shipped_files() -> Vec<(String, String)> {
    let read = |name: &str| {
        let file = Files::get(name)?;
        Some((name.strip_suffix(".toml")?.to_owned(), String::from_utf8_lossy(&file.data).into_owned()))
    };
    Files::iter().filter_map(|name| read(&name)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fills_once_and_leaves_braces_of_a_fill_alone() {
        let language = Language::read("xx", "a = \"Ring {phone} now, {name}.\"").unwrap();
        assert_eq!(language.say("a", &[("phone", "{name}"), ("name", "Ann")]), "Ring {name} now, Ann.");
    }

    #[test]
    fn refuses_what_is_no_text_and_odd_braces() {
        assert!(Language::read("xx", "a = 3").is_err());
        assert!(Language::read("xx", "a = \" \"").is_err());
        for text in ["Ring {phone", "Ring phone}", "Ring {}", "Ring {Phone No}", "} {a}"] {
            assert!(places(text).is_err(), "{text}");
        }
        assert_eq!(places("{b} and {a} and {b}").unwrap().len(), 2);
    }
}
