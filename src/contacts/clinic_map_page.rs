//! The clock map as controls of the form, last visit's map behind and beside it, and what has changed in words.

use super::clinic_form::{ClinicForm, Wrong};
use super::clinic_map::{cell_value, read_cells, shares_of};
use crate::display;
use crate::skin::map_view::{self, MapDrawing};
use crate::skin::rules::map_words::{self, RINGS, by_cell};
use crate::skin::rules::{Domain, Finding, MapCell};
use crate::skin::store::{AssessmentRow, StomaFound};
use crate::web::form_view::{Choice, Field, Question};

/// One cell as a control: a list of four answers.
pub struct CellControl {
    /// 1–12.
    pub hour: u8,
    /// 1 touches the stoma.
    pub ring: u8,
    /// "3 o'clock, next to the stoma; was eroded".
    pub label: String,
    /// Value, word and whether it is chosen.
    pub choices: Vec<Choice>,
    /// Finding of last time, empty for clear.
    pub was: String,
}

/// The map of the last visit.
pub struct LastMap {
    /// "12-Oct-2026".
    pub on: String,
    /// The drawing.
    pub drawing: MapDrawing,
}

/// The whole control.
pub struct MapInput {
    /// Letter of the stoma kind.
    pub letter: String,
    /// The cells, ring by ring, clockwise from 12.
    pub cells: Vec<CellControl>,
    /// What is wrong with it.
    pub error: Option<String>,
    /// Marking a range: finding, first and last hour, ring.
    pub range: [Question; 4],
    /// Last visit's map.
    pub last: Option<LastMap>,
    /// New, healed, and shares by the map; empty before anything is marked.
    pub words: Vec<String>,
}

/// Builds it. `measures` are those that would count now.
pub fn map_input(
    form: &ClinicForm,
    wrong: &Wrong,
    letter: String,
    last: Option<(&AssessmentRow, &StomaFound, &[MapCell])>,
    measures: &StomaFound,
) -> MapInput {
    let error = |name: &str| wrong.iter().find(|(n, _)| *n == name).map(|(_, text)| text.clone());
    let marked = read_cells(&form.cells).unwrap_or_default();
    let now = by_cell(&marked);
    let before = last.map_or_else(Default::default, |(_, _, cells)| by_cell(cells));
    let mut cells = Vec::new();
    for ring in 1..=RINGS {
        for hour in std::iter::once(12).chain(1..=11) {
            let was = before.get(&(hour, ring)).copied();
            let is = now.get(&(hour, ring)).copied();
            cells.push(control(hour, ring, is, was));
        }
    }
    let pick = |name: &str, label: &str, value: &str, mut list: Vec<Choice>| {
        list.insert(0, Choice::new("", "–"));
        Question { field: Field::new(name, label).error(error(name)), choices: Choice::choose(list, value) }
    };
    let hours = || (1..=12).map(|h| Choice::new(h.to_string(), h.to_string())).collect::<Vec<_>>();
    let findings = Finding::CODES
        .iter()
        .map(|(code, finding)| Choice::new(*code, capital(map_words::finding_words(*finding))))
        .chain([Choice::new("clear", "Clear")])
        .collect();
    let rings = std::iter::once(Choice::new("all", "From stoma to edge"))
        .chain((1..=RINGS).map(|ring| Choice::new(ring.to_string(), capital(map_words::ring_words(ring)))))
        .collect();
    MapInput {
        letter,
        cells,
        error: error("map"),
        range: [
            pick("range_finding", "Mark", &form.range_finding, findings),
            pick("range_from", "from (hour)", &form.range_from, hours()),
            pick("range_to", "to (hour)", &form.range_to, hours()),
            pick("range_ring", "how far out", &form.range_ring, rings),
        ],
        last: last.filter(|(_, _, cells)| !cells.is_empty()).map(|(row, found, cells)| LastMap {
            on: display::short_date(row.assessed_on),
            drawing: map_view::draw(found, cells),
        }),
        // Where skin was scored without a map last time there is nothing to compare with.
        words: words(
            &marked,
            last.filter(|(row, _, cells)| row.score == 0 || !cells.is_empty()).map(|(_, _, cells)| cells),
            measures,
        ),
    }
}

fn control(hour: u8, ring: u8, is: Option<Finding>, was: Option<Finding>) -> CellControl {
    let mut choices = vec![Choice::new("", "Clear").checked(is.is_none())];
    for (_, finding) in Finding::CODES {
        let value = cell_value(MapCell { hour, ring, finding });
        choices.push(Choice::new(value, capital(map_words::finding_words(finding))).checked(is == Some(finding)));
    }
    let before = was.map_or_else(String::new, |f| format!("; last time {}", map_words::finding_words(f)));
    CellControl {
        hour,
        ring,
        label: format!("{hour} o'clock, {}{before}", map_words::ring_words(ring)),
        choices,
        was: was.map_or_else(String::new, |f| f.code().to_owned()),
    }
}

fn words(marked: &[MapCell], last: Option<&[MapCell]>, measures: &StomaFound) -> Vec<String> {
    let mut words = Vec::new();
    if marked.is_empty() {
        return words;
    }
    words.push(map_view::words(marked));
    if let Some(before) = last {
        let change = map_words::compare(before, marked);
        let said = |list: &[String], none: &str| if list.is_empty() { none.to_owned() } else { list.join("; ") };
        words.push(format!("New or worse since last time: {}.", said(&change.new, "nothing")));
        words.push(format!("Healed since last time: {}.", said(&change.healed, "nothing")));
    }
    match shares_of(measures, marked) {
        Ok(Some(shares)) => {
            let part = |domain: Domain, percent: f64| {
                format!("{} {percent:.1} % ({} points)", domain.code(), shares.area(domain).points())
            };
            words.push(format!(
                "Of the skin under the plate by the map: {}, {}, {}.",
                part(Domain::Discolouration, shares.discolouration),
                part(Domain::Erosion, shares.erosion),
                part(Domain::Overgrowth, shares.overgrowth)
            ));
        }
        Ok(None) => words.push("For the map to count the area, enter size of stoma and plate.".to_owned()),
        Err(fault) => words.push(format!("The area cannot be counted: {fault}.")),
    }
    words
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
