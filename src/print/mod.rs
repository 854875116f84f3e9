//! Paper: turns a small document model into a PDF that is archivable (PDF/A-2a) and accessible (PDF/UA-1).
//!
//! The room knows headings, facts, tables, notes and signature lines and nothing of patients, stomas or supplies; whoever
//! prints says every word. It must not read the clock, the configuration, the database or a file, and must not change,
//! shorten or drop a word it was given: what it cannot print it refuses, with a message.
//!
//! The way of a document: [`layout`] sets it (words to lines by [`measure`], lines to pages by [`flow`]) into a list of
//! what stands where, beside a tree of what it means ([`tags`]); [`write`] gives both to the PDF writer. Because the
//! whole is set before anything is written, "page x of y" is known, and the same document gives the same bytes.

mod edges;
mod facts;
mod flow;
mod fonts;
mod layout;
mod measure;
mod sheet;
mod table;
mod tags;
mod write;

use chrono::NaiveDateTime;
use thiserror::Error;

/// How large the text is set.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum TextSize {
    /// 10 point: for colleagues, GP and dispenser.
    #[default]
    Usual,
    /// 14 point, lines one and a half apart, nothing under 12 point: what the patient keeps. Sizes of clear print: UK
    /// Association for Accessible Formats, G003, 2019 (12 point the least, 14 recommended; published, read).
    ClearPrint,
    /// 18 point, nothing under 16: for who needs it larger still. Large print is 16 point and more: RNIB, Clear Print
    /// guidelines, and Hampshire County Council, large print (published, read).
    LargePrint,
}

/// The page number in English, for [`Document::page_of`].
pub const PAGE_OF: &str = "Page {page} of {pages}";

/// Everything that one PDF says.
#[derive(Clone, Debug, PartialEq)]
pub struct Document {
    /// Printed as the heading of the first page and small at the foot of every page, and shown by readers as the name of
    /// the document.
    pub title: String,
    /// Language tag of the text, as `en-GB`.
    pub language: String,
    /// Whose document this is, in a strip at the head of every page; empty for none. For a patient: name, born, number.
    pub identity: String,
    /// At the foot of every page under the title, left of "Page x of y"; may be empty.
    pub footer: String,
    /// The page number at the foot of every page, with `{page}` and `{pages}` in it; [`PAGE_OF`] in English.
    pub page_of: String,
    /// A boxed word above the strip of every page, as "Demonstration: invented data".
    pub mark: Option<String>,
    /// When the document was made, for its properties. It is not printed.
    pub created: NaiveDateTime,
    /// How large the text is set.
    pub size: TextSize,
    /// The body, in reading order.
    pub blocks: Vec<Block>,
}

/// One part of the body. `\n` in any text begins a new line; runs of spaces count as one; U+00A0 keeps words together.
#[derive(Clone, Debug, PartialEq)]
pub enum Block {
    /// A heading below the title: level 2, 3 or 4, never deeper than one below the heading before it.
    Heading(u8, String),
    /// Running text.
    Paragraph(String),
    /// Labels with their values, side by side where they are short.
    Facts(Vec<(String, String)>),
    /// A table whose head is repeated on every page it reaches.
    Table {
        /// Above the table; empty for none.
        caption: String,
        /// From left to right; at least one.
        columns: Vec<Column>,
        /// Each with one text for each column; a text may be empty.
        rows: Vec<Vec<String>>,
    },
    /// A boxed remark that must not be missed.
    Note(String),
    /// Lines to write on, two abreast, each with its label under it; kept together on one page.
    SignatureLines(Vec<String>),
    /// A little empty space.
    Gap,
}

/// One column of a table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Column {
    head: String,
    right: bool,
    share: Option<u16>,
}

impl Column {
    /// A column of words, set left.
    pub fn text(head: impl Into<String>) -> Self {
        Self { head: head.into(), right: false, share: None }
    }

    /// A column of numbers, set right with figures of one width.
    pub fn number(head: impl Into<String>) -> Self {
        Self { head: head.into(), right: true, share: None }
    }

    /// Takes this share of the space that the columns without a share leave. Without it a column is as wide as its
    /// content asks for. A share of 0 counts as 1.
    #[must_use]
    pub fn share(mut self, share: u16) -> Self {
        self.share = Some(share.max(1));
        self
    }
}

/// Why a document was not printed. Nothing is written then.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum PrintError {
    /// A text that a reader cannot do without is empty.
    #[error("the {0} of the document is empty: give it a text")]
    Blank(&'static str),
    /// No font in the program has a sign for a character.
    #[error("cannot print the character {0:?} (U+{code:04X}): write it another way", code = u32::from(*.0))]
    Missing(char),
    /// A table row has more or fewer cells than the table has columns.
    #[error("table \"{caption}\": row {row} has {found} cells and needs {expected}")]
    Uneven {
        /// Caption of the table.
        caption: String,
        /// Which row, from 1.
        row: usize,
        /// Cells in it.
        found: usize,
        /// Columns of the table.
        expected: usize,
    },
    /// A heading that is not 2 to 4, or skips a level (PDF/UA-1, ISO 14289-1:2014, 7.4.2, does not let levels be skipped).
    #[error("heading \"{text}\" has level {level}: use 2 to 4, at most one deeper than the heading before it")]
    Level {
        /// Level asked for.
        level: u8,
        /// Its text.
        text: String,
    },
    /// Strip, mark or footer leaves too little of the page.
    #[error("{0} is too long to stand on every page: shorten it")]
    TooTall(&'static str),
    /// The date cannot be written in a PDF.
    #[error("the year {0} cannot be written in a PDF: use 1 to 9999")]
    Year(i32),
    /// The fonts in the program cannot be read: the program was built wrongly.
    #[error("the font {0} in the program cannot be read: build it again")]
    Font(&'static str),
    /// The PDF writer found a rule of PDF/A or PDF/UA broken.
    #[error("the PDF could not be written: {0}")]
    Writer(String),
}

/// Sets and writes a document. The same document gives the same bytes.
pub fn render(document: &Document) -> Result<Vec<u8>, PrintError> {
    write::write(document, layout::lay_out(document)?)
}
