//! Reading a JSON decision request so that *every* mistake in it is reported, not only the first.
//!
//! The engines' inputs are small objects; serde stops at the first fault, a safety officer wants them all.
//! This module knows JSON and dates and nothing of any engine.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use serde::Serialize;
use serde_json::{Map, Value};

/// Reads JSON text. A field that stands twice in one object is refused: which of the two was meant cannot be known.
///
/// # Errors
/// One, for the whole input, with the place in the text.
pub fn parse(text: &str) -> Result<Value, FieldErrors> {
    serde_json::from_str::<Strict>(text).map(|strict| strict.0).map_err(|error| {
        let mut errors = FieldErrors::default();
        errors.add("", format!("this is no JSON that can be read: {error}"));
        errors
    })
}

/// A JSON value in which no field stands twice.
struct Strict(Value);

impl<'de> serde::Deserialize<'de> for Strict {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(StrictVisitor)
    }
}

struct StrictVisitor;

impl<'de> serde::de::Visitor<'de> for StrictVisitor {
    type Value = Strict;

    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("a JSON value")
    }

    fn visit_unit<E>(self) -> Result<Strict, E> {
        Ok(Strict(Value::Null))
    }

    fn visit_bool<E>(self, value: bool) -> Result<Strict, E> {
        Ok(Strict(value.into()))
    }

    fn visit_i64<E>(self, value: i64) -> Result<Strict, E> {
        Ok(Strict(value.into()))
    }

    fn visit_u64<E>(self, value: u64) -> Result<Strict, E> {
        Ok(Strict(value.into()))
    }

    fn visit_f64<E>(self, value: f64) -> Result<Strict, E> {
        Ok(Strict(value.into()))
    }

    fn visit_str<E>(self, value: &str) -> Result<Strict, E> {
        Ok(Strict(value.into()))
    }

    fn visit_seq<A: serde::de::SeqAccess<'de>>(self, mut items: A) -> Result<Strict, A::Error> {
        let mut list = Vec::new();
        while let Some(Strict(item)) = items.next_element()? {
            list.push(item);
        }
        Ok(Strict(Value::Array(list)))
    }

    fn visit_map<A: serde::de::MapAccess<'de>>(self, mut fields: A) -> Result<Strict, A::Error> {
        let mut map = Map::new();
        while let Some((name, Strict(value))) = fields.next_entry::<String, Strict>()? {
            if map.contains_key(&name) {
                return Err(serde::de::Error::custom(format!("the field {name} stands twice")));
            }
            map.insert(name, value);
        }
        Ok(Strict(Value::Object(map)))
    }
}

/// One thing wrong with the input.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct FieldError {
    /// Dotted path of the field, as `erosion.area_percent` or `lines[0].pack`; empty for the whole input.
    pub field: String,
    /// What is wrong and what to write instead.
    pub message: String,
}

/// All that is wrong with an input. Serialises as `{"errors":[…]}`.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct FieldErrors {
    /// In the order in which they were found.
    pub errors: Vec<FieldError>,
}

impl FieldErrors {
    /// Adds one.
    pub fn add(&mut self, field: impl Into<String>, message: impl Into<String>) {
        self.errors.push(FieldError { field: field.into(), message: message.into() });
    }

    /// True when nothing was found wrong.
    pub fn is_empty(&self) -> bool {
        self.errors.is_empty()
    }

    /// `Ok(value)` when nothing is wrong, else all the errors.
    pub fn into_result<T>(self, value: Option<T>) -> Result<T, Self> {
        match value {
            Some(value) if self.errors.is_empty() => Ok(value),
            None if self.errors.is_empty() => {
                let mut errors = self;
                errors.add("", "the input could not be read");
                Err(errors)
            }
            _ => Err(self),
        }
    }
}

/// One JSON object being read: remembers which fields were asked for, so that the rest can be refused.
pub struct Object<'v> {
    path: String,
    map: &'v Map<String, Value>,
    asked: BTreeSet<&'static str>,
}

impl<'v> Object<'v> {
    /// The object at `path` (empty for the root); an error when `value` is no object.
    pub fn read(value: &'v Value, path: &str, errors: &mut FieldErrors) -> Option<Self> {
        if let Value::Object(map) = value {
            Some(Self { path: path.to_owned(), map, asked: BTreeSet::new() })
        } else {
            errors.add(path, "must be a JSON object");
            None
        }
    }

    /// The dotted path of a field of this object.
    pub fn at(&self, name: &str) -> String {
        if self.path.is_empty() { name.to_owned() } else { format!("{}.{name}", self.path) }
    }

    /// The raw value; `None` when absent or null.
    pub fn value(&mut self, name: &'static str) -> Option<&'v Value> {
        self.asked.insert(name);
        self.map.get(name).filter(|v| !v.is_null())
    }

    /// True when the field is there and not null. Does not count as asking for it.
    pub fn has(&self, name: &str) -> bool {
        self.map.get(name).is_some_and(|v| !v.is_null())
    }

    /// Reports a required field that is missing.
    pub fn missing(&self, name: &str, errors: &mut FieldErrors) {
        errors.add(self.at(name), "is missing");
    }

    /// A nested object, if present.
    pub fn object(&mut self, name: &'static str, errors: &mut FieldErrors) -> Option<Object<'v>> {
        let path = self.at(name);
        self.value(name).and_then(|v| Object::read(v, &path, errors))
    }

    /// A nested array as `(path of the element, element)`, if present.
    pub fn array(&mut self, name: &'static str, errors: &mut FieldErrors) -> Option<Vec<(String, &'v Value)>> {
        let path = self.at(name);
        if let Value::Array(items) = self.value(name)? {
            Some(items.iter().enumerate().map(|(i, v)| (format!("{path}[{i}]"), v)).collect())
        } else {
            errors.add(path, "must be a list");
            None
        }
    }

    /// A text, if present.
    pub fn text(&mut self, name: &'static str, errors: &mut FieldErrors) -> Option<&'v str> {
        let found = self.value(name)?;
        let text = found.as_str();
        if text.is_none() {
            errors.add(self.at(name), "must be a text");
        }
        text
    }

    /// True or false, if present.
    pub fn flag(&mut self, name: &'static str, errors: &mut FieldErrors) -> Option<bool> {
        let found = self.value(name)?;
        let flag = found.as_bool();
        if flag.is_none() {
            errors.add(self.at(name), "must be true or false");
        }
        flag
    }

    /// A whole number within `range`, if present.
    pub fn whole(
        &mut self,
        name: &'static str,
        range: std::ops::RangeInclusive<i64>,
        errors: &mut FieldErrors,
    ) -> Option<i64> {
        let found = self.value(name)?;
        let whole = found.as_i64().filter(|n| range.contains(n));
        if whole.is_none() {
            errors.add(self.at(name), format!("must be a whole number from {} to {}", range.start(), range.end()));
        }
        whole
    }

    /// A number within `range`, if present.
    pub fn number(
        &mut self,
        name: &'static str,
        range: std::ops::RangeInclusive<f64>,
        errors: &mut FieldErrors,
    ) -> Option<f64> {
        let found = self.value(name)?;
        let number = found.as_f64().filter(|n| range.contains(n));
        if number.is_none() {
            errors.add(self.at(name), format!("must be a number from {} to {}", range.start(), range.end()));
        }
        number
    }

    /// A date `YYYY-MM-DD`, if present.
    pub fn date(&mut self, name: &'static str, errors: &mut FieldErrors) -> Option<NaiveDate> {
        let path = self.at(name);
        self.value(name).and_then(|v| read_date(v, &path, errors))
    }

    /// One of the named choices, if present.
    pub fn choice<T: Copy>(
        &mut self,
        name: &'static str,
        choices: &[(&str, T)],
        errors: &mut FieldErrors,
    ) -> Option<T> {
        let text = self.text(name, errors)?;
        let found = choices.iter().find(|(code, _)| *code == text).map(|(_, value)| *value);
        if found.is_none() {
            let codes: Vec<&str> = choices.iter().map(|(code, _)| *code).collect();
            errors.add(self.at(name), format!("must be one of {}", codes.join(", ")));
        }
        found
    }

    /// Refuses every field that nobody asked for.
    pub fn finish(self, errors: &mut FieldErrors) {
        for name in self.map.keys() {
            if !self.asked.contains(name.as_str()) {
                errors.add(self.at(name), "is not a known field");
            }
        }
    }
}

/// A date `YYYY-MM-DD` standing alone, as in a list of closures.
pub fn read_date(value: &Value, path: &str, errors: &mut FieldErrors) -> Option<NaiveDate> {
    let date = value.as_str().filter(|t| t.len() == 10).and_then(|t| NaiveDate::parse_from_str(t, "%Y-%m-%d").ok());
    if date.is_none() {
        errors.add(path, "must be a date YYYY-MM-DD");
    }
    date
}
