//! The form in which a stoma is recorded or corrected: what comes in, and what is wrong with it.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::store::Stoma;
use crate::dates_in::{self, DateProblem};
use crate::web::form_view::{Choice, ErrorSummary, Field, Width, chosen};

/// Kinds, code and word.
pub const KINDS: [(&str, &str); 3] = [("colostomy", "Colostomy"), ("ileostomy", "Ileostomy"), ("urostomy", "Urostomy")];
const CONSTRUCTIONS: [(&str, &str); 4] =
    [("end", "End"), ("loop", "Loop"), ("double-barrel", "Double-barrel"), ("not-known", "Not known")];
const PERMANENCES: [(&str, &str); 3] =
    [("permanent", "Permanent"), ("temporary", "Temporary"), ("not-known", "Not known")];
const SURGERIES: [(&str, &str); 3] = [("planned", "Planned"), ("emergency", "Emergency"), ("not-known", "Not known")];

/// What the form sends.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct StomaForm {
    /// Row version that was shown; 0 for a new stoma.
    pub version: i32,
    /// Kind code.
    pub kind: String,
    /// Construction code.
    pub construction: String,
    /// Permanence code.
    pub permanence: String,
    /// Surgery code.
    pub surgery: String,
    /// Date of surgery as typed.
    pub surgery_on: String,
    /// Date of discharge as typed.
    pub discharge_on: String,
    /// Planned reversal as typed.
    pub reversal_on: String,
    /// Reversed as typed.
    pub reversed_on: String,
    /// Where on the abdomen.
    pub place: String,
    /// Width as typed.
    pub width_mm: String,
    /// Height as typed.
    pub height_mm: String,
    /// Protrusion as typed.
    pub protrusion_mm: String,
    /// Last seen elsewhere, as typed.
    pub last_seen_on: String,
    /// Protocol id.
    pub protocol: String,
}

/// What is wrong: field and words.
pub type Wrong = Vec<(&'static str, String)>;

fn text(date: Option<NaiveDate>) -> String {
    date.map(crate::display::short_date).unwrap_or_default()
}

fn number(value: Option<i32>) -> String {
    value.map(|n| n.to_string()).unwrap_or_default()
}

impl StomaForm {
    /// The form as it opens on a stoma.
    pub fn of(stoma: &Stoma) -> Self {
        Self {
            version: stoma.version,
            kind: stoma.kind.clone(),
            construction: stoma.construction.clone(),
            permanence: stoma.permanence.clone(),
            surgery: stoma.surgery.clone(),
            surgery_on: text(stoma.surgery_on),
            discharge_on: text(stoma.discharge_on),
            reversal_on: text(stoma.reversal_on),
            reversed_on: text(stoma.reversed_on),
            place: stoma.place.clone().unwrap_or_default(),
            width_mm: number(stoma.width_mm),
            height_mm: number(stoma.height_mm),
            protrusion_mm: number(stoma.protrusion_mm),
            last_seen_on: text(stoma.last_seen_on),
            protocol: stoma.protocol_id.clone(),
        }
    }

    /// Puts what the form says on a stoma, or says everything that is wrong. `protocols` are the ids to choose from.
    pub fn put_on(
        &self,
        stoma: &mut Stoma,
        born_on: Option<NaiveDate>,
        today: NaiveDate,
        protocols: &[(String, String)],
    ) -> Result<(), Wrong> {
        let mut wrong = Wrong::new();
        let mut choose = |name: &'static str, value: &str, list: &[(&str, &str)], words: &str| {
            if !list.iter().any(|(code, _)| *code == value) {
                wrong.push((name, words.to_owned()));
            }
        };
        choose("kind", &self.kind, &KINDS, "Choose the kind of stoma");
        choose("construction", &self.construction, &CONSTRUCTIONS, "Choose one, “Not known” included");
        choose("permanence", &self.permanence, &PERMANENCES, "Choose one, “Not known” included");
        choose("surgery", &self.surgery, &SURGERIES, "Choose one, “Not known” included");
        let mut date = |name: &'static str, typed: &str| match dates_in::read_date(typed, today) {
            Ok(date) => Some(date),
            Err(DateProblem::Empty | DateProblem::Unknown) => None,
            Err(problem) => {
                wrong.push((name, problem.to_string()));
                None
            }
        };
        let surgery_on = date("surgery_on", &self.surgery_on);
        let discharge_on = date("discharge_on", &self.discharge_on);
        let reversal_on = date("reversal_on", &self.reversal_on);
        let reversed_on = date("reversed_on", &self.reversed_on);
        let last_seen_on = date("last_seen_on", &self.last_seen_on);
        let after = |a: Option<NaiveDate>, b: Option<NaiveDate>| a.zip(b).is_some_and(|(a, b)| a > b);
        if after(born_on, surgery_on) {
            wrong.push(("surgery_on", "The date of surgery lies before the patient's birth: check both".to_owned()));
        }
        for (name, later, what) in [
            ("discharge_on", discharge_on, "The discharge"),
            ("reversal_on", reversal_on, "The planned reversal"),
            ("reversed_on", reversed_on, "The reversal"),
        ] {
            if after(surgery_on, later) {
                wrong.push((name, format!("{what} lies before the surgery: check both dates")));
            }
        }
        for (name, past, what) in
            [("reversed_on", reversed_on, "The reversal"), ("last_seen_on", last_seen_on, "The last visit")]
        {
            if after(past, Some(today)) {
                wrong.push((name, format!("{what} must be today or in the past")));
            }
        }
        let mut whole = |name: &'static str, typed: &str, range: std::ops::RangeInclusive<i32>| {
            let typed = typed.trim().trim_end_matches("mm").trim();
            if typed.is_empty() {
                return None;
            }
            let read = typed.parse().ok().filter(|n| range.contains(n));
            if read.is_none() {
                let (low, high) = range.into_inner();
                wrong.push((name, format!("Enter a whole number of millimetres from {low} to {high}")));
            }
            read
        };
        let width_mm = whole("width_mm", &self.width_mm, 1..=300);
        let height_mm = whole("height_mm", &self.height_mm, 1..=300);
        let protrusion_mm = whole("protrusion_mm", &self.protrusion_mm, -50..=300);
        if self.place.chars().count() > 200 {
            wrong.push(("place", "Shorten the place to 200 characters".to_owned()));
        }
        if !protocols.iter().any(|(id, _)| *id == self.protocol) {
            wrong.push(("protocol", "Choose the protocol that plans the reviews".to_owned()));
        }
        if !wrong.is_empty() {
            return Err(wrong);
        }
        stoma.kind.clone_from(&self.kind);
        stoma.construction.clone_from(&self.construction);
        stoma.permanence.clone_from(&self.permanence);
        stoma.surgery.clone_from(&self.surgery);
        stoma.surgery_on = surgery_on;
        stoma.discharge_on = discharge_on;
        stoma.reversal_on = reversal_on;
        stoma.reversed_on = reversed_on;
        stoma.last_seen_on = last_seen_on;
        stoma.place = Some(self.place.trim().to_owned()).filter(|p| !p.is_empty());
        stoma.width_mm = width_mm;
        stoma.height_mm = height_mm;
        stoma.protrusion_mm = protrusion_mm;
        stoma.protocol_id.clone_from(&self.protocol);
        stoma.version = self.version;
        Ok(())
    }

    /// The fields as the page shows them.
    pub fn fields(&self, wrong: &Wrong, protocols: &[(String, String)], today: NaiveDate) -> StomaFields {
        let error = |name: &str| wrong.iter().find(|(n, _)| *n == name).map(|(_, text)| text.clone());
        let field = |name: &str, label: &str, value: &str| Field::new(name, label).value(value).error(error(name));
        let date = |name: &str, label: &str, value: &str| {
            let offers = dates_in::offers(value, today);
            field(name, label, value).optional().hint("27 Nov 2026, or today").offers(offers)
        };
        let pick = |name: &str, label: &str, value: &str, list: &[(&str, &str)]| {
            let choices = list.iter().map(|(code, word)| Choice::new(*code, *word)).collect();
            (Field::new(name, label).error(error(name)), Choice::choose(choices, value))
        };
        let mm =
            |name: &str, label: &str, value: &str| field(name, label, value).unit("mm").width(Width::Short).optional();
        let list = protocols.iter().map(|(id, title)| Choice::new(id.clone(), title.clone())).collect();
        StomaFields {
            version: self.version.to_string(),
            kind: pick("kind", "Kind", &self.kind, &KINDS),
            construction: pick("construction", "Construction", &self.construction, &CONSTRUCTIONS),
            permanence: pick("permanence", "Meant to be", &self.permanence, &PERMANENCES),
            surgery: pick("surgery", "Surgery was", &self.surgery, &SURGERIES),
            surgery_on: date("surgery_on", "Date of surgery", &self.surgery_on),
            discharge_on: date("discharge_on", "Date of discharge", &self.discharge_on),
            reversal_on: date("reversal_on", "Planned reversal", &self.reversal_on),
            reversed_on: date("reversed_on", "Reversed on", &self.reversed_on),
            last_seen_on: date("last_seen_on", "Last seen for this stoma, before this record", &self.last_seen_on),
            place: field("place", "Place on the abdomen", &self.place).width(Width::Full).optional(),
            width_mm: mm("width_mm", "Width, left to right", &self.width_mm),
            height_mm: mm("height_mm", "Height, head to foot on the skin", &self.height_mm),
            protrusion_mm: mm("protrusion_mm", "Protrusion above the skin", &self.protrusion_mm)
                .hint("Below 0 when it lies under the skin"),
            protocol: (
                Field::new("protocol", "Protocol that plans the reviews").error(error("protocol")),
                Choice::choose(list, &self.protocol),
            ),
        }
    }
}

/// The form as the template reads it.
#[derive(Clone, Debug)]
#[allow(missing_docs, reason = "one field per field of `StomaForm`")]
pub struct StomaFields {
    pub version: String,
    pub kind: (Field, Vec<Choice>),
    pub construction: (Field, Vec<Choice>),
    pub permanence: (Field, Vec<Choice>),
    pub surgery: (Field, Vec<Choice>),
    pub surgery_on: Field,
    pub discharge_on: Field,
    pub reversal_on: Field,
    pub reversed_on: Field,
    pub last_seen_on: Field,
    pub place: Field,
    pub width_mm: Field,
    pub height_mm: Field,
    pub protrusion_mm: Field,
    pub protocol: (Field, Vec<Choice>),
}

impl StomaFields {
    /// Every question with what stands in it, in words.
    pub fn said(&self) -> Vec<(String, String)> {
        let plain = |field: &Field| (field.label.clone(), field.value.clone());
        let pick = |(field, choices): &(Field, Vec<Choice>)| (field.label.clone(), chosen(choices));
        let mut said: Vec<_> = [&self.kind, &self.construction, &self.permanence, &self.surgery].map(pick).into();
        said.extend([&self.surgery_on, &self.discharge_on, &self.reversal_on, &self.reversed_on].map(plain));
        said.extend([&self.last_seen_on, &self.place, &self.width_mm, &self.height_mm, &self.protrusion_mm].map(plain));
        said.push(pick(&self.protocol));
        said
    }

    /// Everything wrong, in the order of the page.
    pub fn errors(&self) -> ErrorSummary {
        let mut summary = ErrorSummary::none();
        for field in [&self.kind.0, &self.construction.0, &self.permanence.0, &self.surgery.0, &self.surgery_on] {
            summary.take(field);
        }
        for field in [&self.discharge_on, &self.reversal_on, &self.reversed_on, &self.last_seen_on, &self.place] {
            summary.take(field);
        }
        for field in [&self.width_mm, &self.height_mm, &self.protrusion_mm, &self.protocol.0] {
            summary.take(field);
        }
        summary
    }
}
