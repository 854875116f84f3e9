//! Text to cells: which character parts the cells, where the headings stand, and the row numbers a person sees.
//!
//! It knows CSV (RFC 4180 and what spreadsheet programs make of it) and no patients. Row numbers count as a spreadsheet
//! program shows them: blank rows count, line breaks inside a quoted cell do not.

use csv::{ReaderBuilder, StringRecord};

use super::columns::{ColumnMap, known_headings};
use super::problems::FileProblem;

/// Most rows taken from one file (local: a hundred services' caseloads).
pub const MOST_ROWS: usize = 100_000;

/// How many rows from the top may stand before the headings (local: a title, a date, a blank row …).
const HEADINGS_WITHIN: usize = 10;

/// Characters that may part cells; on a tie the earlier is taken.
const DELIMITERS: [char; 4] = [',', ';', '\t', '|'];

/// A row with its number in the sheet.
#[derive(Clone, Debug)]
pub struct SheetRow {
    /// Row number, from 1.
    pub number: u64,
    /// The cells, as they stand.
    pub cells: StringRecord,
}

/// A sheet taken apart.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// What parts the cells.
    pub delimiter: char,
    /// The headings, one for each column.
    pub headers: Vec<String>,
    /// Row number of the headings.
    pub heading_row: u64,
    /// Rows with text above the headings (a title, a date): left out.
    pub above: Vec<u64>,
    /// All rows below the headings, blank ones too.
    pub rows: Vec<SheetRow>,
}

/// Finds delimiter and headings, and cuts the text into rows.
///
/// # Errors
/// [`FileProblem::NoHeadings`], [`FileProblem::OpenQuote`] or [`FileProblem::TooManyRows`].
pub fn take_apart(text: &str, map: Option<&ColumnMap>) -> Result<Sheet, FileProblem> {
    let (said, text) = said_delimiter(text);
    let (known, delimiter) = DELIMITERS
        .into_iter()
        .filter(|delimiter| said.is_none_or(|said| said == *delimiter))
        .map(|delimiter| (best_heading(&first_rows(text, delimiter), map).map_or(0, |(_, known)| known), delimiter))
        .rev()
        .max_by_key(|(known, _)| *known)
        .unwrap_or((0, ','));
    // One heading alone may be chance; two of them are a heading row.
    if known < 2 {
        return Err(FileProblem::NoHeadings { looked: HEADINGS_WITHIN });
    }
    if let Some(row) = open_quote(text, delimiter) {
        return Err(FileProblem::OpenQuote { row });
    }
    let mut rows = split(text, delimiter, MOST_ROWS + HEADINGS_WITHIN);
    let heading = best_heading(&rows, map).map_or(0, |(at, _)| at);
    let below = rows.split_off((heading + 1).min(rows.len()));
    if below.len() > MOST_ROWS {
        return Err(FileProblem::TooManyRows { limit: MOST_ROWS });
    }
    let Some(headings) = rows.pop() else { return Err(FileProblem::NoHeadings { looked: HEADINGS_WITHIN }) };
    let above = rows.iter().filter(|row| !is_blank(&row.cells)).map(|row| row.number).collect();
    let headers = headings.cells.iter().map(|cell| cell.split_whitespace().collect::<Vec<_>>().join(" ")).collect();
    Ok(Sheet { delimiter, headers, heading_row: headings.number, above, rows: below })
}

/// True when no cell of the row holds anything but blanks.
pub fn is_blank(cells: &StringRecord) -> bool {
    cells.iter().all(|cell| cell.trim().is_empty())
}

/// The line `sep=;` that some programs put in front; it is no row of the sheet.
fn said_delimiter(text: &str) -> (Option<char>, &str) {
    let Some((line, rest)) = text.split_once('\n') else { return (None, text) };
    let line = line.trim_end_matches('\r').trim_matches('"').to_ascii_lowercase();
    let said = line.strip_prefix("sep=").and_then(|said| said.chars().next());
    match said.filter(|said| DELIMITERS.contains(said)) {
        Some(said) => (Some(said), rest),
        None => (None, text),
    }
}

fn first_rows(text: &str, delimiter: char) -> Vec<SheetRow> {
    split(text, delimiter, HEADINGS_WITHIN)
}

/// Place of the row with the most known headings among the first, and how many it has. The first on a tie.
fn best_heading(rows: &[SheetRow], map: Option<&ColumnMap>) -> Option<(usize, usize)> {
    rows.iter()
        .take(HEADINGS_WITHIN)
        .enumerate()
        .map(|(at, row)| (at, known_headings(row.cells.iter(), map)))
        .rev()
        .max_by_key(|(_, known)| *known)
}

/// The rows of the text, up to `most` and one more.
fn split(text: &str, delimiter: char, most: usize) -> Vec<SheetRow> {
    let delimiter = u8::try_from(delimiter).unwrap_or(b',');
    let mut reader =
        ReaderBuilder::new().delimiter(delimiter).has_headers(false).flexible(true).from_reader(text.as_bytes());
    let bytes = text.as_bytes();
    let mut rows = Vec::new();
    let mut number = 0;
    let mut cells = StringRecord::new();
    // Reading valid UTF-8 from memory cannot fail, and flexible rows have no wrong length; `unwrap_or` ends the loop.
    while rows.len() <= most && reader.read_record(&mut cells).unwrap_or(false) {
        let start = cells.position().map_or(0, |position| usize::try_from(position.byte()).unwrap_or(0));
        number += 1 + blank_rows(bytes, start);
        rows.push(SheetRow { number, cells: cells.clone() });
    }
    rows
}

/// Empty lines that the CSV reader passes over before a record: line ends at `start`, where the last record's own line
/// end may still stand.
fn blank_rows(bytes: &[u8], start: usize) -> u64 {
    let mut at = start;
    // The line feed of the record before: the reader ends a record at the carriage return.
    if start > 0 && bytes.get(start - 1) == Some(&b'\r') && bytes.get(start) == Some(&b'\n') {
        at += 1;
    }
    let mut blank = 0;
    while let Some(b'\r' | b'\n') = bytes.get(at) {
        at += if bytes[at..].starts_with(b"\r\n") { 2 } else { 1 };
        blank += 1;
    }
    blank
}

/// The row in which a quotation mark opens a cell that the end of the file closes; follows the reader's own rules.
fn open_quote(text: &str, delimiter: char) -> Option<u64> {
    #[derive(Clone, Copy, PartialEq)]
    enum At {
        Start,
        Bare,
        Quoted,
        QuoteInQuoted,
    }
    let (mut at, mut row, mut opened, mut before) = (At::Start, 1, 0, ' ');
    for c in text.chars() {
        let ends = c == delimiter || c == '\n' || c == '\r';
        at = match at {
            At::Start if c == '"' => {
                opened = row;
                At::Quoted
            }
            At::Quoted => {
                if c == '"' {
                    At::QuoteInQuoted
                } else {
                    At::Quoted
                }
            }
            At::QuoteInQuoted if c == '"' => At::Quoted,
            _ if ends => At::Start,
            _ => At::Bare,
        };
        // A line end outside a quoted cell ends the row; \r\n is one end.
        if at != At::Quoted && (c == '\r' || c == '\n' && before != '\r') {
            row += 1;
        }
        before = c;
    }
    (at == At::Quoted).then_some(opened)
}
