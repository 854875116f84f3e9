//! Where a number comes from: every limit the service uses carries a [`Source`].
//!
//! Pure words and types. It must not hold any limit itself: limits stand beside the engine that uses them.

use std::borrow::Cow;

use serde::{Deserialize, Serialize};

/// How well a stated source was seen by those who wrote it down.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// Published, and read in the source itself.
    Read,
    /// Published, read on a page that quotes the source.
    SecondHand,
    /// Usual in the trade; no published source.
    CommonPractice,
    /// Recalled and not read again: to be confirmed before anyone relies on it.
    FromMemory,
    /// Decided here or by the service: needs clinical sign-off.
    Local,
}

impl Standing {
    /// The words a page or a print shows beside the limit.
    pub fn words(self) -> &'static str {
        match self {
            Self::Read => "published, read",
            Self::SecondHand => "published, second hand",
            Self::CommonPractice => "common practice",
            Self::FromMemory => "from memory, to be confirmed",
            Self::Local => "local, needs clinical sign-off",
        }
    }

    /// The code used in JSON, the same as serde writes.
    pub fn code(self) -> &'static str {
        match self {
            Self::Read => "read",
            Self::SecondHand => "second-hand",
            Self::CommonPractice => "common-practice",
            Self::FromMemory => "from-memory",
            Self::Local => "local",
        }
    }
}

/// A source in words (publisher, title, year) with its standing.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Source {
    /// Publisher, title, year; for common practice and local rules, who decides.
    pub source: Cow<'static, str>,
    /// How well it was seen.
    pub standing: Standing,
}

impl Source {
    /// A source known when the program is built.
    pub const fn new(source: &'static str, standing: Standing) -> Self {
        Self { source: Cow::Borrowed(source), standing }
    }
}
