//! Headings to fields: by likely names, or as a column list says.
//!
//! It must not look into the rows: what a column holds is shown to a person for confirmation, not inferred.

use std::collections::BTreeMap;

use serde::Serialize;

use super::fields::Field;
use super::problems::FileProblem;
use crate::patients::names::fold_for_search;

/// How a column found its field.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum How {
    /// The column list says so.
    Listed,
    /// The heading can mean nothing else.
    Sure,
    /// The heading most likely means this: look at it before going on.
    Likely,
}

/// A column that is brought in.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ColumnMatch {
    /// The heading as it stands in the sheet.
    pub header: String,
    /// Place of the column, from 0.
    pub column: usize,
    /// What it holds.
    pub field: Field,
    /// Why that is believed.
    pub how: How,
}

/// A column that is left out.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct NotBroughtIn {
    /// The heading as it stands in the sheet; "column F" when it has none.
    pub header: String,
    /// Place of the column, from 0.
    pub column: usize,
    /// Why.
    pub why: &'static str,
}

/// What became of the headings.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Columns {
    /// Columns that are brought in, in the order of the sheet.
    pub matches: Vec<ColumnMatch>,
    /// Columns that are left out, in the order of the sheet.
    pub not_brought_in: Vec<NotBroughtIn>,
    /// Fields with several columns, in words.
    pub ambiguous: Vec<String>,
    /// Fields without which nobody can be registered, in words.
    pub missing: Vec<&'static str>,
}

/// What the person or a file says about columns: heading → field, or heading → left out. Overrides the likely names.
///
/// As a file it is TOML, one line a column: `"Date of op" = "surgery_date"`, `"Old ward" = "leave-out"`.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ColumnMap {
    by_heading: BTreeMap<String, Option<Field>>,
    /// Where a person chose column by column: two columns may have one heading.
    by_column: BTreeMap<usize, Option<Field>>,
}

/// The word for a column that is to be left out.
pub const LEAVE_OUT: &str = "leave-out";

impl ColumnMap {
    /// Reads a column list.
    ///
    /// # Errors
    /// [`FileProblem::Map`] with every line that does not fit.
    pub fn parse(toml: &str) -> Result<Self, FileProblem> {
        let table: toml::Table =
            toml.parse().map_err(|error: toml::de::Error| FileProblem::Map(vec![error.message().to_owned()]))?;
        let mut pairs = Vec::new();
        let mut wrong = Vec::new();
        for (heading, value) in table {
            match value.as_str() {
                Some(code) => pairs.push((heading, code.to_owned())),
                None => wrong.push(format!("“{heading}” must be set to the code of a field in quotation marks")),
            }
        }
        if wrong.is_empty() { Self::from_pairs(pairs) } else { Err(FileProblem::Map(wrong)) }
    }

    /// From pairs of heading and field code, as a form sends them; [`LEAVE_OUT`] leaves a column out.
    ///
    /// # Errors
    /// [`FileProblem::Map`] with every code that is not known, and every field that is named twice.
    pub fn from_pairs(pairs: impl IntoIterator<Item = (String, String)>) -> Result<Self, FileProblem> {
        let mut map = Self::default();
        let mut taken: BTreeMap<Field, String> = BTreeMap::new();
        let mut wrong = Vec::new();
        for (heading, code) in pairs {
            let field = Field::from_code(&code);
            if field.is_none() && code != LEAVE_OUT {
                let codes: Vec<&str> = Field::ALL.iter().map(|field| field.code()).collect();
                wrong.push(format!("“{code}” is no field; use {LEAVE_OUT} or one of {}", codes.join(", ")));
                continue;
            }
            if let Some(other) = field.and_then(|field| taken.insert(field, heading.clone())) {
                wrong.push(format!("“{other}” and “{heading}” are both set to {code}"));
            }
            map.by_heading.insert(heading, field);
        }
        if wrong.is_empty() { Ok(map) } else { Err(FileProblem::Map(wrong)) }
    }

    /// From places, headings and field codes, as the page sends them: what is chosen for a column holds for that column.
    ///
    /// # Errors
    /// As [`ColumnMap::from_pairs`].
    pub fn from_columns(chosen: impl IntoIterator<Item = (usize, String, String)>) -> Result<Self, FileProblem> {
        let chosen: Vec<(usize, String, String)> = chosen.into_iter().collect();
        let pairs = chosen.iter().map(|(_, heading, code)| (heading.clone(), code.clone()));
        let mut map = Self::from_pairs(pairs)?;
        map.by_column = chosen.iter().map(|(column, _, code)| (*column, Field::from_code(code))).collect();
        Ok(map)
    }

    /// What the list says of a column: the choice for that column, else what it says of its heading.
    fn says_of(&self, column: usize, heading: &str) -> Meaning {
        match self.by_column.get(&column) {
            Some(Some(field)) => Meaning::Holds(*field, How::Listed),
            Some(None) => Meaning::LeftOut,
            None => self.says(heading),
        }
    }

    /// What the list says of a heading: the same heading, else one that compares the same.
    fn says(&self, heading: &str) -> Meaning {
        let key = heading_key(heading);
        let exact = self.by_heading.get(heading);
        let said = exact.or_else(|| self.by_heading.iter().find(|(name, _)| heading_key(name) == key).map(|(_, f)| f));
        match said {
            Some(Some(field)) => Meaning::Holds(*field, How::Listed),
            Some(None) => Meaning::LeftOut,
            None => Meaning::NotKnown,
        }
    }
}

/// What a heading means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Meaning {
    Holds(Field, How),
    LeftOut,
    NotKnown,
}

/// A heading as it is compared: small letters and digits only, without a remark in brackets that changes nothing
/// ("D.O.B. (dd/mm/yyyy)" → "dob"). A unit other than mm changes something and stays.
pub fn heading_key(heading: &str) -> String {
    let folded = |text: &str| fold_for_search(text).replace(' ', "");
    if let Some((before, rest)) = heading.split_once('(')
        && let Some((inside, after)) = rest.split_once(')')
        && HARMLESS_REMARKS.contains(&folded(inside).as_str())
    {
        return folded(&format!("{before} {after}"));
    }
    folded(heading)
}

const HARMLESS_REMARKS: [&str; 12] = [
    "mm",
    "inmm",
    "ddmmyyyy",
    "ddmmyy",
    "dmy",
    "ddmmmyyyy",
    "optional",
    "required",
    "ifknown",
    "ifany",
    "10digits",
    "uk",
];

/// What to call a column in a report: its heading, or its letter when it has none.
pub fn column_name(header: &str, column: usize) -> String {
    let header = header.split_whitespace().collect::<Vec<_>>().join(" ");
    if header.is_empty() { format!("column {}", letter(column)) } else { header }
}

/// Letter of a column as spreadsheet programs have it: A, B … Z, AA …
fn letter(column: usize) -> String {
    let last = char::from(b'A' + u8::try_from(column % 26).unwrap_or(0));
    if column < 26 { last.to_string() } else { format!("{}{last}", letter(column / 26 - 1)) }
}

/// How many of these cells are headings that are known: to find the row of the headings.
pub fn known_headings<'c>(cells: impl IntoIterator<Item = &'c str>, map: Option<&ColumnMap>) -> usize {
    cells.into_iter().filter(|cell| meaning(cell, map) != Meaning::NotKnown).count()
}

fn meaning(header: &str, map: Option<&ColumnMap>) -> Meaning {
    if header.trim().is_empty() {
        return Meaning::NotKnown;
    }
    match map.map_or(Meaning::NotKnown, |map| map.says(header)) {
        Meaning::NotKnown => {}
        listed => return listed,
    }
    let key = heading_key(header);
    let among = |list: fn(Field) -> &'static [&'static str]| {
        Field::ALL.iter().copied().find(|field| list(*field).contains(&key.as_str()))
    };
    match (among(Field::sure_headings), among(Field::likely_headings)) {
        (Some(field), _) => Meaning::Holds(field, How::Sure),
        (None, Some(field)) => Meaning::Holds(field, How::Likely),
        (None, None) => Meaning::NotKnown,
    }
}

/// Matches headings to fields.
///
/// # Errors
/// [`FileProblem::Map`] when the column list names a heading that the sheet does not have. Two columns for one field and
/// missing fields are no error here, so that a page can show them and ask.
pub fn match_headings(headers: &[String], map: Option<&ColumnMap>) -> Result<Columns, FileProblem> {
    let mut columns = Columns::default();
    let mut found: Vec<ColumnMatch> = Vec::new();
    for (column, header) in headers.iter().enumerate() {
        let listed = map.map_or(Meaning::NotKnown, |map| map.says_of(column, header));
        let meant = if listed == Meaning::NotKnown || header.trim().is_empty() { meaning(header, map) } else { listed };
        let why = match meant {
            Meaning::Holds(field, how) => {
                found.push(ColumnMatch { header: header.clone(), column, field, how });
                continue;
            }
            Meaning::LeftOut => "the column list leaves it out",
            Meaning::NotKnown if header.trim().is_empty() => "it has no heading",
            Meaning::NotKnown => "its heading is not known",
        };
        columns.not_brought_in.push(NotBroughtIn { header: column_name(header, column), column, why });
    }
    check_listed(headers, map)?;
    let both_names = found.iter().any(|m| matches!(m.field, Field::FamilyName | Field::GivenName));
    let best: BTreeMap<Field, u8> = found.iter().fold(BTreeMap::new(), |mut best, m| {
        let rank = best.entry(m.field).or_insert(u8::MAX);
        *rank = (*rank).min(rank_of(m.how));
        best
    });
    for found in found {
        let why = if found.field == Field::FullName && both_names && found.how != How::Listed {
            "family name and forename have columns of their own"
        } else if best.get(&found.field).is_some_and(|rank| *rank < rank_of(found.how)) {
            "another column fits better"
        } else {
            columns.matches.push(found);
            continue;
        };
        let header = column_name(&found.header, found.column);
        columns.not_brought_in.push(NotBroughtIn { header, column: found.column, why });
    }
    columns.not_brought_in.sort_by_key(|left| left.column);
    for field in Field::ALL {
        let named: Vec<String> = columns
            .matches
            .iter()
            .filter(|m| m.field == *field)
            .map(|m| format!("“{}” (column {})", m.header, letter(m.column)))
            .collect();
        if named.len() > 1 {
            columns.ambiguous.push(format!("{} all look like “{}”", named.join(" and "), field.title()));
        }
    }
    columns.missing = missing(&columns.matches);
    Ok(columns)
}

fn rank_of(how: How) -> u8 {
    match how {
        How::Listed => 0,
        How::Sure => 1,
        How::Likely => 2,
    }
}

fn check_listed(headers: &[String], map: Option<&ColumnMap>) -> Result<(), FileProblem> {
    let Some(map) = map else { return Ok(()) };
    let keys: Vec<String> = headers.iter().map(|header| heading_key(header)).collect();
    let unknown: Vec<String> = map
        .by_heading
        .keys()
        .filter(|heading| !headers.contains(heading) && !keys.contains(&heading_key(heading)))
        .map(|heading| format!("the sheet has no column “{heading}”"))
        .collect();
    if unknown.is_empty() { Ok(()) } else { Err(FileProblem::Map(unknown)) }
}

fn missing(matches: &[ColumnMatch]) -> Vec<&'static str> {
    let has = |fields: &[Field]| matches.iter().any(|m| fields.contains(&m.field));
    let mut missing = Vec::new();
    if !has(&[Field::FullName]) {
        if !has(&[Field::FamilyName]) {
            missing.push("the family name");
        }
        if !has(&[Field::GivenName]) {
            missing.push("the forename");
        }
    }
    let numbers = [Field::NhsNumber, Field::ChiNumber, Field::HcNumber, Field::LocalNumber];
    if !has(&[Field::BirthDate]) && !has(&numbers) {
        missing.push("the birth date or a patient number");
    }
    if !has(&[Field::StomaKind]) {
        missing.push("the kind of stoma");
    }
    missing
}
