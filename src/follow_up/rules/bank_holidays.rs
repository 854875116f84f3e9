//! Reads `bank_holidays.toml`, the weekday bank holidays of the four nations, once.
//!
//! Data with a source and a load date, because one-off days appear and days move at short notice. It must not add or
//! move a day by rule. A file that cannot be read leaves no known years and says why; nothing panics.

use std::sync::{Arc, LazyLock};

use chrono::NaiveDate;
use serde_json::Value;

use super::calendar::Nation;
use super::protocol_toml::toml_to_json;
use crate::json_input::{FieldErrors, Object, read_date};
use crate::provenance::{Source, Standing};

/// One bank holiday that falls on a weekday.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BankHoliday {
    /// The day.
    pub on: NaiveDate,
    /// Its name.
    pub name: String,
}

/// The table as loaded.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BankHolidays {
    /// Where the days come from and how well that was seen.
    pub source: Source,
    /// The day on which the table was made.
    pub loaded: Option<NaiveDate>,
    /// First year known.
    pub first_year: i32,
    /// Last year known; there is none when `fault` is set.
    pub last_year: i32,
    /// Why nothing could be loaded.
    pub fault: Option<String>,
    days: Vec<(Nation, Vec<BankHoliday>)>,
}

impl BankHolidays {
    /// The weekday bank holidays of a nation, in order.
    pub fn of(&self, nation: Nation) -> &[BankHoliday] {
        self.days.iter().find(|(known, _)| *known == nation).map_or(&[], |(_, days)| days.as_slice())
    }
}

/// The text of the table shipped in the program.
pub const SHIPPED: &str = include_str!("bank_holidays.toml");

/// The table shipped in the program.
pub fn bank_holidays() -> &'static Arc<BankHolidays> {
    static TABLE: LazyLock<Arc<BankHolidays>> = LazyLock::new(|| {
        Arc::new(read("bank_holidays.toml", SHIPPED).unwrap_or_else(|fault| BankHolidays {
            source: Source::new("none", Standing::Local),
            loaded: None,
            first_year: i32::MAX,
            last_year: i32::MIN,
            fault: Some(fault),
            days: Vec::new(),
        }))
    });
    &TABLE
}

/// Reads such a table; `file` is its name for the fault, which names the lines that are wrong.
pub fn read(file: &str, text: &str) -> Result<BankHolidays, String> {
    let (json, lines) = toml_to_json(file, text).map_err(|faults| faults.to_string())?;
    let mut errors = FieldErrors::default();
    let table = table(&json, &mut errors);
    errors.into_result(table).map_err(|errors| lines.place(file, errors).to_string())
}

fn table(json: &Value, errors: &mut FieldErrors) -> Option<BankHolidays> {
    let mut object = Object::read(json, "", errors)?;
    let source = object.text("source", errors).map(str::to_owned);
    let standing = object.text("standing", errors).and_then(|code| serde_json::from_value(code.into()).ok());
    let loaded = object.date("loaded", errors);
    let first_year = object.whole("first_year", 1900..=2200, errors).and_then(|year| i32::try_from(year).ok());
    let last_year = object.whole("last_year", 1900..=2200, errors).and_then(|year| i32::try_from(year).ok());
    let mut days = Vec::new();
    for (code, nation) in Nation::ALL {
        let listed = object.value(code).and_then(Value::as_object);
        if listed.is_none_or(serde_json::Map::is_empty) {
            errors.add(*code, "is missing: list the nation's bank holidays");
        }
        let mut read = Vec::new();
        for (day, name) in listed.into_iter().flatten() {
            let on = read_date(&Value::from(day.as_str()), &format!("{code}.{day}"), errors);
            let name = name.as_str().filter(|name| !name.is_empty());
            match (on, name) {
                (Some(on), Some(name)) => read.push(BankHoliday { on, name: name.to_owned() }),
                (_, None) => errors.add(format!("{code}.{day}"), "must be the name of the day"),
                _ => {}
            }
        }
        read.sort_by_key(|holiday| holiday.on);
        days.push((*nation, read));
    }
    for name in ["source", "standing", "loaded", "first_year", "last_year"] {
        if !object.has(name) {
            object.missing(name, errors);
        }
    }
    object.finish(errors);
    Some(BankHolidays {
        source: Source { source: source?.into(), standing: standing? },
        loaded,
        first_year: first_year?,
        last_year: last_year?,
        fault: None,
        days,
    })
}
