//! ICD-10-CM codes for the cause, the findings and the stoma, as data, with the pairs that exclude one another.
//!
//! For whoever has to code. It offers billable codes with their titles; it must not enter one, and says when two of
//! them may not stand on one visit.

use std::sync::LazyLock;

use serde::Deserialize;

use crate::provenance::{Source, Standing};

/// One code with its title.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Code {
    /// The code with its point, upper case.
    pub code: String,
    /// Its title.
    pub title: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    version: String,
    source: String,
    standing: Standing,
    choice_source: String,
    choice_standing: Standing,
    status: Vec<Status>,
    cause: Vec<Row>,
    finding: Vec<Row>,
    excludes1: Vec<Excludes>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Status {
    kind: String,
    code: String,
    title: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    #[serde(alias = "cause", alias = "finding")]
    of: String,
    #[serde(default)]
    kinds: Vec<String>,
    code: String,
    title: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Excludes {
    code: String,
    with: Vec<String>,
}

/// The whole table.
pub struct Codes {
    file: File,
}

impl Codes {
    /// Reads the table from TOML.
    ///
    /// # Errors
    /// What the TOML reader finds wrong.
    pub fn from_toml(text: &str) -> Result<Self, String> {
        toml::from_str(text).map(|file| Self { file }).map_err(|fault| fault.to_string())
    }

    /// Release of the classification.
    pub fn version(&self) -> &str {
        &self.file.version
    }

    /// Where the codes come from, and where the choice of one for a cause does.
    pub fn sources(&self) -> [Source; 2] {
        [
            Source { source: self.file.source.clone().into(), standing: self.file.standing },
            Source { source: self.file.choice_source.clone().into(), standing: self.file.choice_standing },
        ]
    }

    /// The code of the stoma itself.
    pub fn status(&self, kind: &str) -> Option<Code> {
        self.file.status.iter().find(|row| row.kind == kind).map(|row| code(&row.code, &row.title))
    }

    /// Codes that fit a cause and findings in a stoma of this kind, in the order of the table, each once. Empty where
    /// none fits.
    pub fn of(&self, kind: &str, cause: Option<&str>, findings: &[String]) -> Vec<Code> {
        let fits = |row: &&Row| row.kinds.is_empty() || row.kinds.iter().any(|k| k == kind);
        let causes = self.file.cause.iter().filter(|row| Some(row.of.as_str()) == cause);
        let found = self.file.finding.iter().filter(|row| findings.contains(&row.of));
        let mut list: Vec<Code> = Vec::new();
        for row in causes.chain(found).filter(fits) {
            let next = code(&row.code, &row.title);
            if !list.contains(&next) {
                list.push(next);
            }
        }
        list
    }

    /// Every code of the table, for checking.
    pub fn all(&self) -> Vec<Code> {
        let rows = self.file.cause.iter().chain(&self.file.finding).map(|row| code(&row.code, &row.title));
        self.file.status.iter().map(|row| code(&row.code, &row.title)).chain(rows).collect()
    }

    /// Pairs that may not be coded on one visit (Excludes1), in words.
    pub fn conflicts(&self, codes: &[Code]) -> Vec<String> {
        let mut words = Vec::new();
        for (index, one) in codes.iter().enumerate() {
            for other in codes.iter().skip(index + 1) {
                if self.exclude(&one.code, &other.code) {
                    words.push(format!(
                        "{} and {} exclude one another (Excludes1): do not code both on one visit.",
                        one.code, other.code
                    ));
                }
            }
        }
        words
    }

    /// True when the two codes exclude one another, whichever comes first.
    pub fn exclude(&self, one: &str, other: &str) -> bool {
        let rule = |row: &Excludes, a: &str, b: &str| {
            a.starts_with(row.code.as_str()) && row.with.iter().any(|with| b.starts_with(with.as_str()))
        };
        self.file.excludes1.iter().any(|row| rule(row, one, other) || rule(row, other, one))
    }
}

fn code(code: &str, title: &str) -> Code {
    Code { code: code.to_owned(), title: title.to_owned() }
}

static SHIPPED: LazyLock<Result<Codes, String>> = LazyLock::new(|| Codes::from_toml(include_str!("codes.toml")));

/// The shipped table.
///
/// # Errors
/// Only if the built-in file itself is wrong, which a test rules out.
pub fn shipped() -> Result<&'static Codes, &'static String> {
    SHIPPED.as_ref()
}
