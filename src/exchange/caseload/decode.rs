//! Bytes to text: which encoding a spreadsheet program wrote, and what is no text at all.
//!
//! It must not repair: a file with bytes that have no meaning in its encoding is refused, with the line.

use std::borrow::Cow;

use encoding_rs::{Encoding as Codec, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};
use serde::Serialize;

use super::problems::FileProblem;

/// How the text was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Encoding {
    /// UTF-8 without a mark (plain ASCII too).
    Utf8,
    /// UTF-8 with a byte-order mark, as "CSV UTF-8" is written.
    Utf8Marked,
    /// UTF-16, low byte first, with its mark ("Unicode text").
    Utf16Le,
    /// UTF-16, high byte first, with its mark.
    Utf16Be,
    /// Windows-1252: what is no UTF-8 and has no mark.
    Windows1252,
}

impl Encoding {
    /// The name for the page.
    pub fn words(self) -> &'static str {
        match self {
            Self::Utf8 => "UTF-8",
            Self::Utf8Marked => "UTF-8 with byte-order mark",
            Self::Utf16Le => "UTF-16, low byte first",
            Self::Utf16Be => "UTF-16, high byte first",
            Self::Windows1252 => "Windows-1252 (Western European)",
        }
    }
}

/// First bytes of what people choose by mistake, and its name in the message (file formats' own documents; from memory).
const OTHER_KINDS: [(&[u8], &str); 8] = [
    (b"PK\x03\x04", "a workbook (such as .xlsx or .ods) or a zip archive"),
    (b"PK\x05\x06", "an empty zip archive"),
    (b"\xD0\xCF\x11\xE0", "an old workbook (.xls) or another office document"),
    (b"%PDF", "a PDF"),
    (b"{\\rtf", "a word-processor document (RTF)"),
    (b"\x1F\x8B", "a gzip archive"),
    (b"\x89PNG", "a picture"),
    (b"\xFF\xD8\xFF", "a picture"),
];

/// The text of a file, and how it was written.
///
/// # Errors
/// [`FileProblem::Empty`], [`FileProblem::OtherKind`], [`FileProblem::Binary`] or [`FileProblem::Encoding`].
pub fn decode(bytes: &[u8]) -> Result<(Cow<'_, str>, Encoding), FileProblem> {
    if let Some((_, kind)) = OTHER_KINDS.iter().find(|(start, _)| bytes.starts_with(start)) {
        return Err(FileProblem::OtherKind(kind));
    }
    let (text, encoding) = match Codec::for_bom(bytes) {
        Some((codec, mark)) => (whole(codec, &bytes[mark..])?, marked(codec)),
        None => match std::str::from_utf8(bytes) {
            Ok(text) => (Cow::Borrowed(text), Encoding::Utf8),
            Err(_) => (whole(WINDOWS_1252, bytes)?, Encoding::Windows1252),
        },
    };
    if text.trim().is_empty() {
        return Err(FileProblem::Empty);
    }
    let start = text.trim_start().get(..5).unwrap_or_default().to_ascii_lowercase();
    if ["<html", "<!doc", "<tabl", "<?xml"].contains(&start.as_str()) {
        return Err(FileProblem::OtherKind("a web page or XML, whatever its name ends in"));
    }
    match text.find(is_no_text) {
        Some(at) => Err(no_text(&text, at)),
        None => Ok((text, encoding)),
    }
}

fn marked(codec: &'static Codec) -> Encoding {
    if codec == UTF_16LE {
        Encoding::Utf16Le
    } else if codec == UTF_16BE {
        Encoding::Utf16Be
    } else {
        Encoding::Utf8Marked
    }
}

/// All bytes as text, or the line of the first that means nothing.
fn whole<'b>(codec: &'static Codec, bytes: &'b [u8]) -> Result<Cow<'b, str>, FileProblem> {
    if let Some(text) = codec.decode_without_bom_handling_and_without_replacement(bytes) {
        return Ok(text);
    }
    let (text, _) = codec.decode_without_bom_handling(bytes);
    let valid = if codec == UTF_8 { codec_valid_up_to(bytes) } else { text.find('\u{fffd}').unwrap_or(0) };
    Err(FileProblem::Encoding { line: line_of(&text, valid) })
}

fn codec_valid_up_to(bytes: &[u8]) -> usize {
    std::str::from_utf8(bytes).err().map_or(0, |error| error.valid_up_to())
}

/// Control characters other than tab, line feed, carriage return and form feed. The C1 set (U+0080 to U+009F) is what
/// the five bytes without meaning in Windows-1252 become, and what text saved in another old encoding is full of.
fn is_no_text(c: char) -> bool {
    c.is_control() && !matches!(c, '\t' | '\n' | '\r' | '\u{c}' | '\u{85}')
}

fn no_text(text: &str, at: usize) -> FileProblem {
    let line = line_of(text, at);
    match text[at..].chars().next() {
        Some('\u{80}'..='\u{9f}') => FileProblem::Encoding { line },
        _ => FileProblem::Binary { line },
    }
}

/// Line of a byte position, from 1.
fn line_of(text: &str, at: usize) -> usize {
    text.as_bytes().iter().take(at).filter(|b| **b == b'\n').count() + 1
}
