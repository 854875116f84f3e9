//! The clock map: which cells of the skin under the plate are affected, and what share of it that makes.
//!
//! Twelve hours by a number of rings; areas come from [`super::geometry`]. It turns a drawing into shares and must not
//! score them: the nurse may overrule an area, with a reason.

use crate::json_input::FieldErrors;

use super::geometry::{GeometryError, HOURS, Plate, Skin, Stoma};
use super::score::{Area, Domain};

/// Most rings a map may have. Local: three are drawn on the page; more than this no hand can tell apart.
pub const MOST_RINGS: u8 = 10;

/// What was seen in a cell.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Finding {
    /// Counts as discolouration.
    Discoloured,
    /// Counts as erosion and as discolouration.
    Eroded,
    /// Counts as overgrowth and as discolouration.
    Overgrown,
}

impl Finding {
    /// The codes in requests and records.
    pub const CODES: [(&'static str, Self); 3] =
        [("discoloured", Self::Discoloured), ("eroded", Self::Eroded), ("overgrown", Self::Overgrown)];

    /// The code in requests and records.
    pub fn code(self) -> &'static str {
        match self {
            Self::Discoloured => "discoloured",
            Self::Eroded => "eroded",
            Self::Overgrown => "overgrown",
        }
    }
}

/// One marked cell; a cell may be marked several times with different findings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MapCell {
    /// 1–12: the 30° centred on that clock position as the nurse faces the patient.
    pub hour: u8,
    /// 1 touches the stoma.
    pub ring: u8,
    /// What was seen.
    pub finding: Finding,
}

/// The map as drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct SkinMap {
    /// The stoma as measured.
    pub stoma: Stoma,
    /// The plate and where it sat.
    pub plate: Plate,
    /// Rings between stoma and plate edge, 1–[`MOST_RINGS`].
    pub rings: u8,
    /// The marked cells.
    pub cells: Vec<MapCell>,
}

/// Shares of the skin under the plate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shares {
    /// Plate less stoma, mm², to 0.1.
    pub skin_mm2: f64,
    /// Percent discoloured (the eroded and overgrown included), to four decimals.
    pub discolouration: f64,
    /// Percent eroded, to four decimals.
    pub erosion: f64,
    /// Percent overgrown, to four decimals.
    pub overgrowth: f64,
}

impl Shares {
    /// The share of one domain as an area to score.
    pub fn area(&self, domain: Domain) -> Area {
        Area::Percent(match domain {
            Domain::Discolouration => self.discolouration,
            Domain::Erosion => self.erosion,
            Domain::Overgrowth => self.overgrowth,
        })
    }
}

/// Which cells count in each domain: a bit for every ring, for every hour.
#[derive(Clone, Copy, Default)]
struct Marked {
    domains: [[u16; HOURS as usize]; 3],
}

impl Marked {
    fn mark(&mut self, cell: MapCell) {
        let hour = usize::from(cell.hour % HOURS);
        let bit = 1_u16 << (cell.ring - 1);
        self.domains[0][hour] |= bit;
        match cell.finding {
            Finding::Discoloured => {}
            Finding::Eroded => self.domains[1][hour] |= bit,
            Finding::Overgrown => self.domains[2][hour] |= bit,
        }
    }
}

/// The shares of the skin under the plate that the marked cells make, exact to far below 0.01 percentage points.
///
/// # Errors
/// Every field that is wrong: rings outside 1–10, an hour outside 1–12, a ring the map has not, a length without
/// sense, a stoma not wholly inside the plate.
pub fn shares(map: &SkinMap) -> Result<Shares, FieldErrors> {
    let mut errors = FieldErrors::default();
    if !(1..=MOST_RINGS).contains(&map.rings) {
        errors.add("rings", format!("must be a whole number from 1 to {MOST_RINGS}"));
    }
    for (index, cell) in map.cells.iter().enumerate() {
        if !(1..=HOURS).contains(&cell.hour) {
            errors.add(format!("cells[{index}].hour"), "must be a whole number from 1 to 12");
        }
        if cell.ring == 0 || cell.ring > map.rings.min(MOST_RINGS) {
            errors.add(format!("cells[{index}].ring"), format!("must be a whole number from 1 to {}", map.rings));
        }
    }
    let skin = skin_of(map.stoma, map.plate, &mut errors);
    if !errors.is_empty() {
        return Err(errors);
    }
    errors.into_result(skin.map(|skin| measure(&skin, map)))
}

/// The skin between stoma and plate, its faults reported under the fields they come from.
pub(super) fn skin_of(stoma: Stoma, plate: Plate, errors: &mut FieldErrors) -> Option<Skin> {
    match Skin::new(stoma, plate) {
        Ok(skin) => Some(skin),
        Err(fault @ GeometryError::NoSize) => {
            errors.add("stoma", format!("{fault}: measure stoma and plate again"));
            None
        }
        Err(fault @ GeometryError::NotInside { .. }) => {
            let advice = "check the stoma's width and height, the plate's diameter and its offset";
            errors.add("plate.diameter_mm", format!("must hold the whole stoma: {fault}; {advice}"));
            None
        }
    }
}

/// Adds up the marked cells; every one of them lies on the map.
fn measure(skin: &Skin, map: &SkinMap) -> Shares {
    let mut marked = Marked::default();
    for cell in &map.cells {
        marked.mark(*cell);
    }
    let mut sums = [0.0_f64; 3];
    for hour in 0..HOURS {
        let of_hour = marked.domains.map(|hours| hours[usize::from(hour)]);
        // The discoloured cells include all others.
        if of_hour[0] == 0 {
            continue;
        }
        let sector = skin.sector(hour);
        for ring in 1..=map.rings {
            let cell_mm2 = sector.ring_mm2(ring, map.rings);
            for (sum, bits) in sums.iter_mut().zip(of_hour) {
                if bits & (1 << (ring - 1)) != 0 {
                    *sum += cell_mm2;
                }
            }
        }
    }
    let skin_mm2 = skin.area_mm2();
    // Four decimals, and before the points are taken: a quarter of the skin is then 25 and not 24.999….
    let [discolouration, erosion, overgrowth] = sums.map(|sum| round(sum / skin_mm2 * 100.0, 1e4));
    Shares { skin_mm2: round(skin_mm2, 10.0), discolouration, erosion, overgrowth }
}

fn round(value: f64, parts: f64) -> f64 {
    (value * parts).round() / parts
}
