//! TOML into JSON with the line of every field, so that one reader serves both and a fault names file and line.
//!
//! It knows TOML and nothing of the engine, but for the one constructor of a protocol.

use std::collections::BTreeMap;
use std::fmt;

use serde_json::{Map, Value};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::protocol::Protocol;
use crate::json_input::FieldErrors;

/// One thing wrong in a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TomlFault {
    /// From 1.
    pub line: usize,
    /// Dotted path of the field, as `steps[2].offset`; empty for the file.
    pub field: String,
    /// What is wrong and what to write instead.
    pub message: String,
}

/// All that is wrong in a file. Displays as one line each: `name:line: field message`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TomlFaults {
    /// Name of the file, as given.
    pub file: String,
    /// In the order of their lines.
    pub faults: Vec<TomlFault>,
}

impl fmt::Display for TomlFaults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, fault) in self.faults.iter().enumerate() {
            let (newline, gap) = (if i == 0 { "" } else { "\n" }, if fault.field.is_empty() { "" } else { " " });
            write!(f, "{newline}{}:{}: {}{gap}{}", self.file, fault.line, fault.field, fault.message)?;
        }
        Ok(())
    }
}

impl std::error::Error for TomlFaults {}

/// The line of each field by its dotted path.
#[derive(Clone, Debug, Default)]
pub struct Lines(BTreeMap<String, usize>);

impl Lines {
    /// The line of a field, or of the nearest part of the file that holds it (for a field that is missing).
    pub fn of(&self, field: &str) -> usize {
        let mut path = field;
        loop {
            if let Some(line) = self.0.get(path) {
                return *line;
            }
            match path.rfind(['.', '[']) {
                Some(end) => path = &path[..end],
                None => return 1,
            }
        }
    }

    /// The errors of a reader with their lines.
    pub fn place(&self, file: &str, errors: FieldErrors) -> TomlFaults {
        let mut faults: Vec<TomlFault> = errors
            .errors
            .into_iter()
            .map(|error| TomlFault { line: self.of(&error.field), field: error.field, message: error.message })
            .collect();
        faults.sort_by_key(|fault| fault.line);
        TomlFaults { file: file.to_owned(), faults }
    }
}

impl Protocol {
    /// Reads a protocol file; `file` is its name for the messages.
    pub fn from_toml(file: &str, text: &str) -> Result<Self, TomlFaults> {
        let (json, lines) = toml_to_json(file, text)?;
        let mut errors = FieldErrors::default();
        let protocol = Self::from_json_kept(&json, "", &mut errors);
        errors.into_result(protocol).map_err(|errors| lines.place(file, errors))
    }
}

/// The file as JSON with the lines of its fields; dates become texts `YYYY-MM-DD`.
pub fn toml_to_json(file: &str, text: &str) -> Result<(Value, Lines), TomlFaults> {
    let starts = line_starts(text);
    let (table, errors) = DeTable::parse_recoverable(text);
    if !errors.is_empty() {
        let mut faults: Vec<TomlFault> = Vec::new();
        for error in &errors {
            let line = error.span().map_or(1, |span| line_of(&starts, span.start));
            // After a slip the parser stumbles on along the line: the first message is the one that helps.
            if faults.iter().all(|fault| fault.line != line) {
                faults.push(TomlFault { line, field: String::new(), message: error.message().to_owned() });
            }
        }
        return Err(TomlFaults { file: file.to_owned(), faults });
    }
    let mut lines = Lines::default();
    let json = object(table.get_ref(), "", &starts, &mut lines);
    Ok((json, lines))
}

fn object(table: &DeTable<'_>, path: &str, starts: &[usize], lines: &mut Lines) -> Value {
    let mut map = Map::new();
    for (key, value) in table {
        let name = key.get_ref().as_ref();
        let at = if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") };
        lines.0.insert(at.clone(), line_of(starts, key.span().start));
        map.insert(name.to_owned(), json(value, &at, starts, lines));
    }
    Value::Object(map)
}

fn json(value: &Spanned<DeValue<'_>>, path: &str, starts: &[usize], lines: &mut Lines) -> Value {
    match value.get_ref() {
        DeValue::String(text) => Value::from(text.as_ref()),
        DeValue::Integer(n) => {
            i64::from_str_radix(n.as_str(), n.radix()).map_or(Value::from(n.to_string()), Value::from)
        }
        DeValue::Float(n) => n.as_str().parse::<f64>().map_or(Value::from(n.to_string()), Value::from),
        DeValue::Boolean(flag) => Value::from(*flag),
        DeValue::Datetime(when) => Value::from(when.to_string()),
        DeValue::Table(table) => object(table, path, starts, lines),
        DeValue::Array(items) => {
            let mut list = Vec::new();
            for (i, item) in items.iter().enumerate() {
                let at = format!("{path}[{i}]");
                lines.0.insert(at.clone(), line_of(starts, item.span().start));
                list.push(json(item, &at, starts, lines));
            }
            Value::Array(list)
        }
    }
}

fn line_starts(text: &str) -> Vec<usize> {
    std::iter::once(0).chain(text.match_indices('\n').map(|(at, _)| at + 1)).collect()
}

/// The number of the line, from 1, in which byte `at` stands.
fn line_of(starts: &[usize], at: usize) -> usize {
    starts.partition_point(|start| *start <= at).max(1)
}
