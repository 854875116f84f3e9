//! A protocol as a form with a row for each step: what comes in, what is wrong with it, how it is shown again.
//!
//! The form is made into the same JSON that a protocol file is read from, so one reader checks both.

use serde::Deserialize;
use serde_json::{Map, Value, json};

use super::rules::facts::{Anchor, Construction, Permanence, StomaKind, SurgeryType};
use super::rules::protocol::ShapeKind;
use super::rules::{Mode, Offset, Protocol, Shape, Step, Unit};
use crate::json_input::FieldErrors;
use crate::web::form_view::{Choice, ErrorSummary, Field, Width};

/// Most steps that the form takes (local): the longest one shipped has six.
pub const MOST_STEPS: usize = 40;

/// What the form sends: one entry of every list for each row.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct ProtocolForm {
    /// Row version of the draft that was shown.
    pub version: i32,
    /// `save` or `row`.
    pub act: String,
    title: String,
    source: String,
    note: String,
    step_id: Vec<String>,
    step_title: Vec<String>,
    anchor: Vec<String>,
    shape: Vec<String>,
    count: Vec<String>,
    unit: Vec<String>,
    to_count: Vec<String>,
    to_unit: Vec<String>,
    repeat: Vec<String>,
    mode: Vec<String>,
    step_note: Vec<String>,
    /// `ROW:FACT:CODE`, one for each box ticked.
    limit: Vec<String>,
    /// Rows to leave out.
    remove: Vec<String>,
}

/// What is wrong: the element and the words.
pub type Wrong = Vec<(String, String)>;

const UNITS: [(&str, &str); 3] = [("D", "days"), ("W", "weeks"), ("M", "months")];
const SHAPES: [(&str, &str); 3] =
    [("by", "not later than"), ("at", "on the day"), ("window", "between this and the second number")];

fn limits() -> Vec<(&'static str, &'static str, &'static str)> {
    let mut all = Vec::new();
    all.extend(StomaKind::ALL.iter().map(|(code, fact)| ("kind", *code, fact.words())));
    all.extend(Construction::ALL.iter().map(|(code, fact)| ("construction", *code, fact.words())));
    all.extend(Permanence::ALL.iter().map(|(code, fact)| ("permanence", *code, fact.words())));
    all.extend(SurgeryType::ALL.iter().map(|(code, fact)| ("surgery", *code, fact.words())));
    all
}

fn offset_parts(offset: Offset) -> (String, String) {
    let unit = match offset.unit() {
        Unit::Days => "D",
        Unit::Weeks => "W",
        Unit::Months => "M",
    };
    (offset.count().to_string(), unit.to_owned())
}

fn at(list: &[String], row: usize) -> &str {
    list.get(row).map_or("", |text| text.trim())
}

impl ProtocolForm {
    /// The form as it opens on a draft.
    pub fn of(protocol: &Protocol, version: i32) -> Self {
        let mut form = Self {
            version,
            title: protocol.title.clone(),
            source: protocol.source.clone(),
            note: protocol.note.clone().unwrap_or_default(),
            ..Self::default()
        };
        for (row, step) in protocol.steps.iter().enumerate() {
            form.push(row, step);
        }
        form
    }

    fn push(&mut self, row: usize, step: &Step) {
        let (first, second) = match step.shape {
            Shape::By(offset) | Shape::At(offset) => (offset, None),
            Shape::Window { from, to } => (from, Some(to)),
        };
        let (count, unit) = offset_parts(first);
        let (to_count, to_unit) = second.map(offset_parts).unwrap_or_default();
        self.step_id.push(step.id.clone());
        self.step_title.push(step.title.clone().unwrap_or_else(|| step.id.clone()));
        self.anchor.push(step.anchor.code().to_owned());
        self.shape.push(step.shape.kind().code().to_owned());
        self.to_unit.push(if to_unit.is_empty() { unit.clone() } else { to_unit });
        self.count.push(count);
        self.unit.push(unit);
        self.to_count.push(to_count);
        self.repeat.push(step.repeat.map(|r| r.count().to_string()).unwrap_or_default());
        self.mode.push(step.mode.code().to_owned());
        self.step_note.push(step.note.clone().unwrap_or_default());
        let when = &step.when;
        let mut tick = |fact: &str, code: &str| self.limit.push(format!("{row}:{fact}:{code}"));
        when.kind.iter().for_each(|f| tick("kind", f.code()));
        when.construction.iter().for_each(|f| tick("construction", f.code()));
        when.permanence.iter().for_each(|f| tick("permanence", f.code()));
        when.surgery.iter().for_each(|f| tick("surgery", f.code()));
    }

    fn rows(&self) -> usize {
        self.step_title.len().min(MOST_STEPS)
    }

    /// Nothing was typed into a row: it is passed over.
    fn is_blank(&self, row: usize) -> bool {
        [&self.step_title, &self.count, &self.to_count, &self.repeat, &self.step_note]
            .iter()
            .all(|list| at(list, row).is_empty())
    }

    /// The rows that count.
    fn kept(&self) -> Vec<usize> {
        let removed = |row: &usize| self.remove.iter().any(|r| *r == row.to_string());
        (0..self.rows()).filter(|row| !removed(row) && !self.is_blank(*row)).collect()
    }

    /// Reads the protocol, or says everything that is wrong. `base` gives what the form does not ask.
    pub fn read(&self, base: &Protocol) -> Result<Protocol, Wrong> {
        let kept = self.kept();
        let mut wrong = Wrong::new();
        let mut ids: Vec<String> = kept.iter().map(|row| at(&self.step_id, *row).to_owned()).collect();
        for (n, row) in kept.iter().enumerate() {
            if ids[n].is_empty() {
                ids[n] = free_id(at(&self.step_title, *row), &ids);
            }
        }
        let steps: Vec<Value> = kept.iter().zip(&ids).map(|(row, id)| self.step(*row, id, &mut wrong)).collect();
        let mut map = Map::new();
        map.insert("id".into(), json!(base.id));
        map.insert("version".into(), json!(base.version));
        map.insert("standing".into(), json!("local"));
        map.insert("title".into(), json!(self.title.trim()));
        map.insert("source".into(), json!(self.source.trim()));
        if !self.note.trim().is_empty() {
            map.insert("note".into(), json!(self.note.trim()));
        }
        map.insert("steps".into(), steps.into());
        let mut errors = FieldErrors::default();
        let read = Protocol::from_json_kept(&map.into(), "", &mut errors);
        for error in errors.errors {
            let element = element_of(&error.field, &kept);
            // The count was found wrong already, in words that fit the form.
            if wrong.iter().all(|(id, _)| *id != element) {
                let row = row_of(&error.field).and_then(|n| kept.get(n)).map(|row| format!("Step {}: ", row + 1));
                wrong.push((element, format!("{}{}", row.unwrap_or_default(), words(&error.field, &error.message))));
            }
        }
        match read {
            Some(protocol) if wrong.is_empty() => Ok(protocol),
            _ => Err(wrong),
        }
    }

    fn step(&self, row: usize, id: &str, wrong: &mut Wrong) -> Value {
        let mut map = Map::new();
        let mut put = |name: &str, text: &str| {
            if !text.is_empty() {
                map.insert(name.to_owned(), json!(text));
            }
        };
        let mut offset = |list: &[String], unit: &str, element: &str, needed: bool| {
            let typed = at(list, row);
            if typed.is_empty() && !needed {
                return String::new();
            }
            if typed.is_empty() || !typed.bytes().all(|b| b.is_ascii_digit()) {
                wrong.push((format!("{element}-{row}"), format!("Step {}: enter a whole number", row + 1)));
                return "P0D".to_owned();
            }
            format!("P{typed}{unit}")
        };
        let (shape, unit) = (at(&self.shape, row), at(&self.unit, row));
        put("id", id);
        put("title", at(&self.step_title, row));
        put("anchor", at(&self.anchor, row));
        put("shape", shape);
        put("mode", at(&self.mode, row));
        put("note", at(&self.step_note, row));
        let window = shape == ShapeKind::Window.code();
        let first = offset(&self.count, unit, "count", true);
        // A second number for a shape that has none is not thrown away silently: the reader refuses it.
        let second = offset(&self.to_count, at(&self.to_unit, row), "to_count", window);
        put(if window { "from" } else { "offset" }, &first);
        put("to", &second);
        put("repeat", &offset(&self.repeat, unit, "repeat", false));
        let mut when = Map::new();
        for (fact, code, _) in limits() {
            if self.limit.iter().any(|l| *l == format!("{row}:{fact}:{code}"))
                && let Value::Array(codes) = when.entry(fact).or_insert_with(|| json!([]))
            {
                codes.push(json!(code));
            }
        }
        if !when.is_empty() {
            map.insert("when".into(), when.into());
        }
        map.into()
    }

    /// The fields as the page shows them, with some blank rows behind.
    pub fn fields(&self, wrong: &Wrong, blank: usize) -> ProtocolFields {
        let error = |id: &str| wrong.iter().find(|(w, _)| w == id).map(|(_, words)| words.clone());
        let field = |name: &str, label: &str, value: &str| {
            Field::new(name, label).value(value).width(Width::Full).error(error(name))
        };
        let kept: Vec<usize> = (0..self.rows()).filter(|row| !self.is_blank(*row)).collect();
        let blanks = (0..blank).map(|n| self.rows() + n);
        let rows: Vec<StepRow> = kept
            .iter()
            .copied()
            .chain(blanks)
            .take(MOST_STEPS)
            .enumerate()
            .map(|(place, row)| self.row(place, row, &error))
            .collect();
        let mut summary = ErrorSummary::none();
        for (id, words) in wrong {
            // Blank rows are left out of the page, so a row may stand in another place than it was sent from.
            let shown = id.rsplit_once('-').and_then(|(name, row)| {
                let place = kept.iter().position(|kept| kept.to_string() == row)?;
                Some(format!("{name}-{place}"))
            });
            summary.push(shown.unwrap_or_else(|| id.clone()), words.clone());
        }
        ProtocolFields {
            version: self.version.to_string(),
            errors: summary,
            title: field("title", "Title", &self.title),
            source: field("source", "Where it comes from, and who signed it off", &self.source),
            note: field("note", "What the reader should know", &self.note).optional(),
            rows,
        }
    }

    /// Row `row` of what was typed, shown in place `place`.
    fn row(&self, place: usize, row: usize, error: &impl Fn(&str) -> Option<String>) -> StepRow {
        let fresh = row >= self.rows();
        let field = |name: &str, label: &str, value: &str| {
            Field::new(name, label).id(format!("{name}-{place}")).value(value).error(error(&format!("{name}-{row}")))
        };
        let pick = |name: &str, label: &str, value: &str, list: &[(&str, &str)]| {
            let first = Choice::new("", "Choose");
            let choices = std::iter::once(first).chain(list.iter().map(|(code, word)| Choice::new(*code, *word)));
            (field(name, label, ""), Choice::choose(choices.collect(), value))
        };
        let anchors: Vec<(&str, &str)> = Anchor::ALL.iter().map(|(code, anchor)| (*code, anchor.words())).collect();
        let modes: Vec<(&str, &str)> = Mode::ALL.iter().map(|(code, mode)| (*code, mode.words())).collect();
        let limits = limits()
            .into_iter()
            .map(|(fact, code, words)| {
                let ticked = self.limit.iter().any(|l| *l == format!("{row}:{fact}:{code}"));
                Choice::new(format!("{place}:{fact}:{code}"), words).checked(ticked && !fresh)
            })
            .collect();
        StepRow {
            number: (place + 1).to_string(),
            place: place.to_string(),
            id: at(&self.step_id, row).to_owned(),
            title: field("step_title", "What it is called", at(&self.step_title, row)).width(Width::Medium),
            anchor: pick("anchor", "Counted from", at(&self.anchor, row), &anchors),
            shape: pick("shape", "Meant as", at(&self.shape, row), &SHAPES),
            count: field("count", "Number", at(&self.count, row)).width(Width::Short),
            unit: pick("unit", "of", at(&self.unit, row), &UNITS),
            to_count: field("to_count", "To number", at(&self.to_count, row)).width(Width::Short).optional(),
            to_unit: pick("to_unit", "of", at(&self.to_unit, row), &UNITS),
            repeat: field("repeat", "Again every, in the first unit", at(&self.repeat, row))
                .width(Width::Short)
                .optional(),
            mode: pick("mode", "Takes place", at(&self.mode, row), &modes),
            note: field("step_note", "Note", at(&self.step_note, row)).width(Width::Full).optional(),
            remove: !fresh && self.remove.iter().any(|r| *r == row.to_string()),
            limits: (field("limit", "Only for", "").hint("None ticked: for all"), limits),
            fresh,
        }
    }
}

/// `steps[2].offset` → 2.
fn row_of(field: &str) -> Option<usize> {
    field.strip_prefix("steps[")?.split(']').next()?.parse().ok()
}

/// The element of the page in which a field of the protocol stands.
fn element_of(field: &str, kept: &[usize]) -> String {
    let Some(row) = row_of(field).and_then(|n| kept.get(n)) else {
        return if field == "steps" { "step_title-0".to_owned() } else { field.to_owned() };
    };
    let name = match field.rsplit('.').next().unwrap_or("") {
        "offset" | "from" => "count",
        "to" => "to_count",
        "title" | "id" => "step_title",
        "note" => "step_note",
        "kind" | "construction" | "permanence" | "surgery" | "when" => "limit",
        other => other,
    };
    format!("{name}-{row}")
}

/// An id for a new step: from its title, other than those there.
fn free_id(title: &str, taken: &[String]) -> String {
    let mut id: String =
        title.to_lowercase().chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).take(60).collect();
    while id.contains("--") {
        id = id.replace("--", "-");
    }
    let id = id.trim_matches('-');
    let id = if id.is_empty() { "step".to_owned() } else { id.to_owned() };
    let numbered = (2..taken.len() + 3).map(|n| format!("{id}-{n}"));
    std::iter::once(id.clone()).chain(numbered).find(|id| !taken.contains(id)).unwrap_or(id)
}

/// One row as the template reads it.
#[derive(Clone, Debug)]
#[allow(missing_docs, reason = "one field per list of `ProtocolForm`")]
pub struct StepRow {
    pub number: String,
    pub place: String,
    pub id: String,
    pub title: Field,
    pub anchor: (Field, Vec<Choice>),
    pub shape: (Field, Vec<Choice>),
    pub count: Field,
    pub unit: (Field, Vec<Choice>),
    pub to_count: Field,
    pub to_unit: (Field, Vec<Choice>),
    pub repeat: Field,
    pub mode: (Field, Vec<Choice>),
    pub note: Field,
    pub limits: (Field, Vec<Choice>),
    pub remove: bool,
    pub fresh: bool,
}

/// The form as the template reads it.
#[derive(Clone, Debug)]
#[allow(missing_docs, reason = "one field per field of `ProtocolForm`")]
pub struct ProtocolFields {
    pub version: String,
    pub errors: ErrorSummary,
    pub title: Field,
    pub source: Field,
    pub note: Field,
    pub rows: Vec<StepRow>,
}

/// What a refusal of the reader says on the form; of a step (`steps[2].mode`) by the last part of the field's name.
fn words(field: &str, message: &str) -> String {
    let of_step = field.rsplit_once('.').map_or("", |(_, last)| last);
    let text = match (field, of_step) {
        ("title", _) => "Enter the title",
        ("source", _) => "Enter where it comes from and who decides",
        ("note", _) => "Shorten the note to 2,000 characters",
        ("steps", _) => "Enter at least one step",
        (_, "title") => "enter what the review is called",
        (_, "anchor") => "choose from which day it is counted",
        (_, "mode") => "choose how the review takes place",
        (_, "shape") => "choose how the day is meant",
        _ => message,
    };
    text.to_owned()
}
