//! The clock map as a drawing: the stoma as measured, the plate where it sat, the marked cells between them.
//!
//! Drawn on the server as SVG paths; the same facts stand beside it in words. Where a measure is missing a round stoma of
//! 30 mm in a plate of 100 mm stands for it, and the drawing says so.

use std::f64::consts::PI;
use std::fmt::Write;

use super::rules::map_words::{self, RINGS, by_cell};
use super::rules::{MapCell, Plate, Skin, Stoma};
use super::store::StomaFound;

/// Stoma and plate that stand for measures not taken.
const STANDS_FOR: (Stoma, Plate) =
    (Stoma { width_mm: 30.0, height_mm: 30.0 }, Plate { diameter_mm: 100.0, offset_x_mm: 0.0, offset_y_mm: 0.0 });
/// Pieces of arc drawn along an hour's edge.
const STEPS: u8 = 6;
/// White around the plate, as a share of its radius: room for the marks of the clock.
const MARGIN: f64 = 1.18;

/// One marked cell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CellPath {
    /// Outline.
    pub path: String,
    /// Finding code: its pattern.
    pub finding: String,
}

/// The drawing.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct MapDrawing {
    /// `viewBox` of the drawing.
    pub view: String,
    /// Half width and half height of the stoma.
    pub stoma: (String, String),
    /// Centre (x, y) and radius of the plate.
    pub plate: (String, String, String),
    /// Lines between cells.
    pub grid: String,
    /// Marked cells.
    pub cells: Vec<CellPath>,
    /// Where 12, 3, 6 and 9 o'clock stand: x, y, word.
    pub marks: Vec<(String, String, String)>,
    /// Size of the letters.
    pub letters: String,
    /// All of it in words.
    pub words: String,
}

/// The stoma and plate to draw, and whether they were measured.
pub fn measures(found: &StomaFound) -> (Stoma, Plate, bool) {
    let size = found.width_mm.or(found.height_mm).zip(found.height_mm.or(found.width_mm));
    let measured = size.zip(found.plate.as_ref()).map(|((width, height), plate)| {
        (Stoma { width_mm: f64::from(width), height_mm: f64::from(height) }, plate.plate())
    });
    match measured {
        Some((stoma, plate)) if Skin::new(stoma, plate).is_ok() => (stoma, plate, true),
        _ => (STANDS_FOR.0, STANDS_FOR.1, false),
    }
}

/// Draws a map.
pub fn draw(found: &StomaFound, cells: &[MapCell]) -> MapDrawing {
    let (stoma, plate, measured) = measures(found);
    draw_as(stoma, plate, cells, measured)
}

/// Draws a map with this stoma and plate.
pub fn draw_as(stoma: Stoma, plate: Plate, cells: &[MapCell], measured: bool) -> MapDrawing {
    let Ok(skin) = Skin::new(stoma, plate) else { return MapDrawing::default() };
    let radius = plate.diameter_mm / 2.0;
    // On paper y runs down, towards the feet.
    let (x, y, side) = (plate.offset_x_mm, -plate.offset_y_mm, radius * MARGIN);
    let mut drawing = MapDrawing {
        view: format!("{} {} {} {}", mm(x - side), mm(y - side), mm(2.0 * side), mm(2.0 * side)),
        stoma: (mm(stoma.width_mm / 2.0), mm(stoma.height_mm / 2.0)),
        plate: (mm(x), mm(y), mm(radius)),
        grid: grid(&skin),
        cells: Vec::new(),
        marks: Vec::new(),
        letters: mm(radius * 0.16),
        words: words(cells),
    };
    if !measured {
        drawing.words.push_str(" Stoma and plate are drawn as usual sizes, not as measured.");
    }
    for ((hour, ring), finding) in by_cell(cells) {
        drawing.cells.push(CellPath { path: cell(&skin, hour, ring), finding: finding.code().to_owned() });
    }
    for (hour, dx, dy) in [(12, 0.0, -1.0), (3, 1.0, 0.0), (6, 0.0, 1.0), (9, -1.0, 0.0)] {
        let far = radius * 1.09;
        drawing.marks.push((mm(x + dx * far), mm(y + dy * far), format!("{hour}")));
    }
    drawing
}

/// The map in one sentence.
pub fn words(cells: &[MapCell]) -> String {
    let parts = map_words::describe(cells);
    if parts.is_empty() {
        "Nothing marked on the clock.".to_owned()
    } else {
        format!("{}.", capital(&parts.join("; ")))
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn mm(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A point along a ray, `share` of the way from the stoma's edge to the plate's.
fn at(skin: &Skin, angle: f64, share: f64) -> String {
    let (stoma, gap) = skin.ray(angle);
    let far = stoma + gap * share;
    format!("{} {}", mm(far * angle.sin()), mm(-far * angle.cos()))
}

fn angles(hour: u8) -> impl DoubleEndedIterator<Item = f64> {
    let from = f64::from(hour) * PI / 6.0 - PI / 12.0;
    (0..=STEPS).map(move |step| from + PI / 6.0 * f64::from(step) / f64::from(STEPS))
}

fn cell(skin: &Skin, hour: u8, ring: u8) -> String {
    let rings = f64::from(RINGS);
    let (near, far) = (f64::from(ring - 1) / rings, f64::from(ring) / rings);
    let outer = angles(hour).map(|angle| at(skin, angle, far));
    let inner = angles(hour).rev().map(|angle| at(skin, angle, near));
    format!("M{}Z", outer.chain(inner).collect::<Vec<_>>().join("L"))
}

fn grid(skin: &Skin) -> String {
    let mut path = String::new();
    for hour in 1..=12 {
        let Some(first) = angles(hour).next() else { continue };
        let _ = write!(path, "M{}L{}", at(skin, first, 0.0), at(skin, first, 1.0));
        for ring in 1..RINGS {
            let share = f64::from(ring) / f64::from(RINGS);
            let points: Vec<String> = angles(hour).map(|angle| at(skin, angle, share)).collect();
            let _ = write!(path, "M{}", points.join("L"));
        }
    }
    path
}
