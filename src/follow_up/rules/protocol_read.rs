//! Reads a protocol from JSON (or from TOML made into JSON) and checks it, reporting every mistake.
//!
//! Refused, never repaired: unknown fields, two steps with one id, a window that ends before it begins, a repeat of
//! zero or in another unit than its offset, an unknown anchor, shape or mode, a field that the shape has no use for.

use std::collections::BTreeSet;

use chrono::{Days, NaiveDate};
use serde_json::Value;

use super::facts::{Anchor, Construction, Permanence, StomaKind, SurgeryType};
use super::offset::{Offset, Unit};
use super::protocol::{Mode, Protocol, Shape, ShapeKind, Step, When};
use crate::json_input::{FieldErrors, Object};
use crate::provenance::Standing;

/// The longest text taken, in characters: a page must hold it. Standing: local.
const LONGEST_TEXT: usize = 2_000;
const LONGEST_ID: usize = 100;

/// How much must be said.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Demand {
    /// A decision request: id and steps; the rest may stand as "not stated".
    Request,
    /// A protocol that a service keeps: title, version, source and standing as well.
    Kept,
}

impl Protocol {
    /// Reads a protocol given with a request: `id` and `steps` are required; without a stated source it counts as
    /// local. Errors are added under `path`.
    pub fn from_json(value: &Value, path: &str, errors: &mut FieldErrors) -> Option<Self> {
        read(value, path, Demand::Request, errors)
    }

    /// Reads a protocol to be kept: title, version, source and standing are required as well.
    pub fn from_json_kept(value: &Value, path: &str, errors: &mut FieldErrors) -> Option<Self> {
        read(value, path, Demand::Kept, errors)
    }
}

fn read(value: &Value, path: &str, demand: Demand, errors: &mut FieldErrors) -> Option<Protocol> {
    let mut object = Object::read(value, path, errors)?;
    let id = words(&mut object, "id", LONGEST_ID, errors);
    let title = words(&mut object, "title", LONGEST_TEXT, errors);
    let version = object.whole("version", 1..=1_000_000, errors).and_then(|n| u32::try_from(n).ok());
    let source = words(&mut object, "source", LONGEST_TEXT, errors);
    let year = object.whole("year", 1900..=2200, errors).and_then(|n| i32::try_from(n).ok());
    let address = words(&mut object, "address", LONGEST_TEXT, errors);
    let standing = standing(&mut object, errors);
    let note = words(&mut object, "note", LONGEST_TEXT, errors);
    let required: &[&str] = match demand {
        Demand::Request => &["id", "steps"],
        Demand::Kept => &["id", "title", "version", "source", "standing", "steps"],
    };
    for name in required {
        if !object.has(name) {
            object.missing(name, errors);
        }
    }
    let stated = object.has("source");
    if standing.is_some_and(|standing| standing != Standing::Local) && !stated && demand == Demand::Request {
        errors.add(object.at("source"), "is missing: name the source, or set the standing to local");
    }
    let listed = object.array("steps", errors);
    if listed.as_ref().is_some_and(Vec::is_empty) {
        errors.add(object.at("steps"), "must hold at least one step, or nothing would ever be planned");
    }
    object.finish(errors);

    let mut steps = Vec::new();
    let mut ids = BTreeSet::new();
    let mut all_read = true;
    for (path, value) in listed.into_iter().flatten() {
        // The id is looked at apart from the rest, so that a doubled one is reported even on a step that is wrong
        // besides.
        if let Some(id) = value.get("id").and_then(Value::as_str)
            && !ids.insert(id)
        {
            errors.add(format!("{path}.id"), format!("another step is already called '{id}': give each its own id"));
        }
        match step(value, &path, errors) {
            Some(step) => steps.push(step),
            None => all_read = false,
        }
    }
    let id = id?;
    all_read.then(|| Protocol {
        title: title.unwrap_or_else(|| id.clone()),
        id,
        version: version.unwrap_or(1),
        source: source.unwrap_or_else(|| "not stated".to_owned()),
        year,
        address,
        standing: standing.unwrap_or(Standing::Local),
        note,
        steps,
    })
}

fn step(value: &Value, path: &str, errors: &mut FieldErrors) -> Option<Step> {
    let mut object = Object::read(value, path, errors)?;
    let id = words(&mut object, "id", LONGEST_ID, errors);
    let title = words(&mut object, "title", LONGEST_TEXT, errors);
    let anchor = object.choice("anchor", Anchor::ALL, errors);
    let kind = object.choice("shape", ShapeKind::ALL, errors);
    let offset = self::offset(&mut object, "offset", errors);
    let from = self::offset(&mut object, "from", errors);
    let to = self::offset(&mut object, "to", errors);
    let repeat = self::offset(&mut object, "repeat", errors);
    let mode = object.choice("mode", Mode::ALL, errors);
    let when = when(&mut object, errors);
    let note = words(&mut object, "note", LONGEST_TEXT, errors);
    for name in ["id", "anchor", "shape", "mode"] {
        if !object.has(name) {
            object.missing(name, errors);
        }
    }
    let shape = kind.and_then(|kind| shape(&object, kind, offset, from, to, errors));
    if let Some(repeat) = repeat {
        check_repeat(&object, repeat, shape, errors);
    }
    object.finish(errors);
    Some(Step { id: id?, title, anchor: anchor?, shape: shape?, repeat, mode: mode?, when: when?, note })
}

fn shape(
    object: &Object<'_>,
    kind: ShapeKind,
    offset: Option<Offset>,
    from: Option<Offset>,
    to: Option<Offset>,
    errors: &mut FieldErrors,
) -> Option<Shape> {
    let (needed, useless): (&[&str], &[&str]) = match kind {
        ShapeKind::By | ShapeKind::At => (&["offset"], &["from", "to"]),
        ShapeKind::Window => (&["from", "to"], &["offset"]),
    };
    for name in needed {
        if !object.has(name) {
            errors.add(object.at(name), format!("is missing: the shape {} needs it", kind.code()));
        }
    }
    for name in useless {
        if object.has(name) {
            errors
                .add(object.at(name), format!("is not for the shape {}: take it out or change the shape", kind.code()));
        }
    }
    match kind {
        ShapeKind::By => offset.map(Shape::By),
        ShapeKind::At => offset.map(Shape::At),
        ShapeKind::Window => {
            let (from, to) = (from?, to?);
            if ends_before_it_begins(from, to) {
                errors.add(object.at("to"), format!("the window ends ({to}) before it begins ({from})"));
            }
            Some(Shape::Window { from, to })
        }
    }
}

/// True when there is an anchor for which `to` falls before `from`. Days against months depend on the anchor, so every
/// day of nine years that hold leap years and a century without one (2096 to 2104) is tried.
fn ends_before_it_begins(from: Offset, to: Offset) -> bool {
    if from.unit() == to.unit() {
        return to.count() < from.count();
    }
    let first = NaiveDate::from_ymd_opt(2096, 1, 1);
    (0..9 * 366)
        .filter_map(|n| first?.checked_add_days(Days::new(n)))
        .any(|anchor| to.after(anchor) < from.after(anchor))
}

fn check_repeat(object: &Object<'_>, repeat: Offset, shape: Option<Shape>, errors: &mut FieldErrors) {
    if repeat.count() == 0 {
        errors.add(object.at("repeat"), "must not be zero: leave it out for a step that happens once");
    }
    let units: Vec<Unit> = match shape {
        Some(Shape::By(offset) | Shape::At(offset)) => vec![offset.unit()],
        Some(Shape::Window { from, to }) => vec![from.unit(), to.unit()],
        None => Vec::new(),
    };
    if let Some(unit) = units.into_iter().find(|unit| *unit != repeat.unit()) {
        errors.add(
            object.at("repeat"),
            format!(
                "counts in {}s but its offset in {}s: write both in the same unit",
                repeat.unit().noun(),
                unit.noun()
            ),
        );
    }
}

fn when(object: &mut Object<'_>, errors: &mut FieldErrors) -> Option<When> {
    if !object.has("when") {
        object.value("when");
        return Some(When::default());
    }
    let before = errors.errors.len();
    let mut limits = object.object("when", errors)?;
    let when = When {
        kind: some_of(&mut limits, "kind", StomaKind::ALL, errors),
        construction: some_of(&mut limits, "construction", Construction::ALL, errors),
        permanence: some_of(&mut limits, "permanence", Permanence::ALL, errors),
        surgery: some_of(&mut limits, "surgery", SurgeryType::ALL, errors),
    };
    limits.finish(errors);
    // A limit that could not be read must not pass for "no limit".
    (errors.errors.len() == before).then_some(when)
}

/// A list of codes or a single one.
fn some_of<T: Copy + PartialEq>(
    object: &mut Object<'_>,
    name: &'static str,
    choices: &[(&str, T)],
    errors: &mut FieldErrors,
) -> Vec<T> {
    let path = object.at(name);
    let items: Vec<(String, &Value)> = match object.value(name) {
        None => return Vec::new(),
        Some(Value::Array(items)) => items.iter().enumerate().map(|(i, v)| (format!("{path}[{i}]"), v)).collect(),
        Some(single) => vec![(path.clone(), single)],
    };
    if items.is_empty() {
        errors.add(path, "must name at least one, or be left out to allow all");
    }
    let mut found = Vec::new();
    for (path, item) in items {
        match choices.iter().find(|(code, _)| item.as_str() == Some(code)) {
            Some((_, value)) if !found.contains(value) => found.push(*value),
            Some(_) => {}
            None => {
                let codes: Vec<&str> = choices.iter().map(|(code, _)| *code).collect();
                errors.add(path, format!("must be one of {}", codes.join(", ")));
            }
        }
    }
    found
}

fn offset(object: &mut Object<'_>, name: &'static str, errors: &mut FieldErrors) -> Option<Offset> {
    let text = object.text(name, errors)?;
    Offset::parse(text).map_err(|fault| errors.add(object.at(name), fault.to_string())).ok()
}

/// A text that says something, without line breaks at its ends.
fn words(object: &mut Object<'_>, name: &'static str, longest: usize, errors: &mut FieldErrors) -> Option<String> {
    let text = object.text(name, errors)?;
    if text.trim().is_empty() || text.trim() != text {
        errors.add(object.at(name), "must be a text without blanks at its ends");
    } else if text.chars().count() > longest {
        errors.add(object.at(name), format!("must not be longer than {longest} characters"));
    } else {
        return Some(text.to_owned());
    }
    None
}

fn standing(object: &mut Object<'_>, errors: &mut FieldErrors) -> Option<Standing> {
    let all = [Standing::Read, Standing::SecondHand, Standing::CommonPractice, Standing::FromMemory, Standing::Local];
    object.choice("standing", &all.map(|standing| (standing.code(), standing)), errors)
}
