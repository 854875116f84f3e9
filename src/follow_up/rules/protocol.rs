//! A follow-up protocol: versioned data with a source and a standing, never code.
//!
//! Types only, and how they are written as JSON. They are read (and checked) in `protocol_read.rs`; whoever makes one
//! by hand goes round those checks.

use serde_json::{Map, Value, json};

use super::facts::{Anchor, Construction, Permanence, StomaFacts, StomaKind, SurgeryType, codes};
use super::offset::Offset;
use crate::provenance::Standing;

codes! {
    /// How a review takes place.
    Mode {
        /// In the clinic.
        Clinic = "clinic", "in the clinic";
        /// By telephone.
        Phone = "phone", "by telephone";
        /// At the patient's home.
        Home = "home", "at home";
        /// On the ward.
        Ward = "ward", "on the ward";
        /// By video.
        Video = "video", "by video";
    }
}

codes! {
    /// The name of a shape.
    ShapeKind {
        /// A deadline.
        By = "by", "deadline";
        /// A point.
        At = "at", "point";
        /// From a day to a day.
        Window = "window", "window";
    }
}

/// When a step is due, counted from its anchor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// Not later than this.
    By(Offset),
    /// On this date or the next working day.
    At(Offset),
    /// Between these two dates, both included.
    Window {
        /// First day.
        from: Offset,
        /// Last day.
        to: Offset,
    },
}

impl Shape {
    /// Its name.
    pub fn kind(self) -> ShapeKind {
        match self {
            Self::By(_) => ShapeKind::By,
            Self::At(_) => ShapeKind::At,
            Self::Window { .. } => ShapeKind::Window,
        }
    }
}

/// Which stomas a step is for. An empty list limits nothing.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct When {
    /// Only these kinds.
    pub kind: Vec<StomaKind>,
    /// Only these constructions.
    pub construction: Vec<Construction>,
    /// Only permanent, or only temporary ones.
    pub permanence: Vec<Permanence>,
    /// Only after planned, or only after emergency surgery.
    pub surgery: Vec<SurgeryType>,
}

/// Whether a step is for a stoma; the fact is given as the path of the field.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Applies {
    /// It is.
    Yes,
    /// It is not, for this fact: `stoma.kind`, `stoma.construction`, `stoma.permanence` or `stoma.surgery`.
    No(&'static str),
    /// This fact decides and is not known.
    Unknown(&'static str),
}

impl When {
    /// Whether the step is for a stoma of these facts. A fact that rules the step out wins over one that is not known.
    pub fn applies(&self, stoma: &StomaFacts) -> Applies {
        let checks = [
            ("stoma.kind", one(&self.kind, Some(stoma.kind))),
            ("stoma.construction", one(&self.construction, stoma.construction)),
            ("stoma.permanence", one(&self.permanence, stoma.permanence)),
            ("stoma.surgery", one(&self.surgery, stoma.surgery)),
        ];
        if let Some((fact, _)) = checks.iter().find(|(_, matches)| *matches == Some(false)) {
            return Applies::No(fact);
        }
        checks.iter().find(|(_, matches)| matches.is_none()).map_or(Applies::Yes, |(fact, _)| Applies::Unknown(fact))
    }

    fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}

/// True, false, or `None` when the fact is needed and not known.
fn one<T: PartialEq>(allowed: &[T], fact: Option<T>) -> Option<bool> {
    if allowed.is_empty() { Some(true) } else { fact.map(|fact| allowed.contains(&fact)) }
}

/// One planned review, or a series of them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Step {
    /// Unique within the protocol; reviews keep it, so it must not change between versions without need.
    pub id: String,
    /// What the page calls it.
    pub title: Option<String>,
    /// The date its offset is counted from.
    pub anchor: Anchor,
    /// When it is due.
    pub shape: Shape,
    /// How far apart its occurrences are, in the unit of its offset; none: it happens once.
    pub repeat: Option<Offset>,
    /// How it takes place.
    pub mode: Mode,
    /// Which stomas it is for.
    pub when: When,
    /// What the reader should know of it.
    pub note: Option<String>,
}

/// A follow-up protocol.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Protocol {
    /// Plain id, as `leeds-community`.
    pub id: String,
    /// What the page calls it.
    pub title: String,
    /// From 1, raised with every change.
    pub version: u32,
    /// Publisher, title, date read; for a local one, who decides.
    pub source: String,
    /// Year of the source, where it names one.
    pub year: Option<i32>,
    /// Where it was published.
    pub address: Option<String>,
    /// How well the source was seen.
    pub standing: Standing,
    /// What was left out, what had to be assumed.
    pub note: Option<String>,
    /// In the order in which they stand.
    pub steps: Vec<Step>,
}

impl Protocol {
    /// The step of an id.
    pub fn step(&self, id: &str) -> Option<&Step> {
        self.steps.iter().find(|step| step.id == id)
    }

    /// As the JSON that [`Protocol::from_json`] reads, for keeping a version in the database.
    pub fn to_json(&self) -> Value {
        let mut map = Map::new();
        map.insert("id".into(), json!(self.id));
        map.insert("title".into(), json!(self.title));
        map.insert("version".into(), json!(self.version));
        map.insert("source".into(), json!(self.source));
        map.insert("standing".into(), json!(self.standing.code()));
        optional(&mut map, "year", self.year);
        optional(&mut map, "address", self.address.as_deref());
        optional(&mut map, "note", self.note.as_deref());
        map.insert("steps".into(), self.steps.iter().map(Step::to_json).collect());
        map.into()
    }
}

impl Step {
    fn to_json(&self) -> Value {
        let mut map = Map::new();
        map.insert("id".into(), json!(self.id));
        optional(&mut map, "title", self.title.as_deref());
        map.insert("anchor".into(), json!(self.anchor.code()));
        map.insert("shape".into(), json!(self.shape.kind().code()));
        match self.shape {
            Shape::By(offset) | Shape::At(offset) => optional(&mut map, "offset", Some(offset.to_string())),
            Shape::Window { from, to } => {
                optional(&mut map, "from", Some(from.to_string()));
                optional(&mut map, "to", Some(to.to_string()));
            }
        }
        optional(&mut map, "repeat", self.repeat.map(|repeat| repeat.to_string()));
        map.insert("mode".into(), json!(self.mode.code()));
        if !self.when.is_empty() {
            map.insert("when".into(), self.when.to_json());
        }
        optional(&mut map, "note", self.note.as_deref());
        map.into()
    }
}

impl When {
    fn to_json(&self) -> Value {
        let mut map = Map::new();
        let mut list = |name: &str, codes: Vec<&str>| {
            if !codes.is_empty() {
                map.insert(name.into(), json!(codes));
            }
        };
        list("kind", self.kind.iter().map(|fact| fact.code()).collect());
        list("construction", self.construction.iter().map(|fact| fact.code()).collect());
        list("permanence", self.permanence.iter().map(|fact| fact.code()).collect());
        list("surgery", self.surgery.iter().map(|fact| fact.code()).collect());
        map.into()
    }
}

fn optional<T: Into<Value>>(map: &mut Map<String, Value>, name: &str, value: Option<T>) {
    if let Some(value) = value {
        map.insert(name.into(), value.into());
    }
}
