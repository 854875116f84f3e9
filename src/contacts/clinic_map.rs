//! What the clinic form says of the skin, read or refused: the map, the areas that follow from it, severities.
//!
//! An area that is not chosen is the map's. One that is chosen otherwise than the map gives it needs a reason, and both
//! are kept.

use super::clinic_form::{ClinicForm, Wrong};
use crate::skin::rules::calibration::range;
use crate::skin::rules::map_words::RINGS;
use crate::skin::rules::{Domain, Finding, MapCell, Shares, SkinMap, Stoma, shares};
use crate::skin::store::{DomainJudged, Inputs, Judged, MapFound, Overruled, StomaFound};

/// The value of a cell in the form.
pub fn cell_value(cell: MapCell) -> String {
    format!("{}-{}-{}", cell.hour, cell.ring, cell.finding.code())
}

fn finding(code: &str) -> Option<Finding> {
    Finding::CODES.iter().find(|(known, _)| *known == code).map(|(_, finding)| *finding)
}

/// The cells of a form; `None` when one cannot be read, which no page of ours sends.
pub fn read_cells(values: &[String]) -> Option<Vec<MapCell>> {
    values.iter().filter(|value| !value.is_empty()).map(|value| read_cell(value)).collect()
}

fn read_cell(value: &str) -> Option<MapCell> {
    let mut parts = value.splitn(3, '-');
    let hour = parts.next()?.parse().ok().filter(|h| (1..=12).contains(h))?;
    let ring = parts.next()?.parse().ok().filter(|r| (1..=RINGS).contains(r))?;
    Some(MapCell { hour, ring, finding: finding(parts.next()?)? })
}

/// Stoma and plate as measured this time, where both were; one of width and height stands for the other.
pub fn measured(found: &StomaFound) -> Option<(Stoma, crate::skin::rules::Plate)> {
    let size = found.width_mm.or(found.height_mm).zip(found.height_mm.or(found.width_mm));
    size.zip(found.plate).map(|((width, height), plate)| {
        (Stoma { width_mm: f64::from(width), height_mm: f64::from(height) }, plate.plate())
    })
}

/// Shares of the skin by the map, where stoma and plate were measured; what is wrong with the measures otherwise.
pub fn shares_of(found: &StomaFound, cells: &[MapCell]) -> Result<Option<Shares>, String> {
    let Some((stoma, plate)) = measured(found).filter(|_| !cells.is_empty()) else { return Ok(None) };
    shares(&SkinMap { stoma, plate, rings: RINGS, cells: cells.to_vec() })
        .map(Some)
        .map_err(|errors| errors.errors.into_iter().map(|e| e.message).collect::<Vec<_>>().join("; "))
}

impl ClinicForm {
    /// Marks the range that was asked for: its cells take the finding, or become clear.
    pub fn mark_range(&mut self) -> Result<(), Wrong> {
        let hour = |typed: &str| typed.parse::<u8>().ok().filter(|h| (1..=12).contains(h));
        let rings: Vec<u8> = match self.range_ring.as_str() {
            "all" => (1..=RINGS).collect(),
            one => one.parse().ok().filter(|r| (1..=RINGS).contains(r)).into_iter().collect(),
        };
        let mark = finding(&self.range_finding);
        let mut wrong = Wrong::new();
        if mark.is_none() && self.range_finding != "clear" {
            wrong.push(("range_finding", "Choose what to mark".to_owned()));
        }
        let (from, to) = (hour(&self.range_from), hour(&self.range_to));
        if from.is_none() {
            wrong.push(("range_from", "Choose the first hour".to_owned()));
        }
        if to.is_none() {
            wrong.push(("range_to", "Choose the last hour; it may be the same".to_owned()));
        }
        if rings.is_empty() {
            wrong.push(("range_ring", "Choose how far out".to_owned()));
        }
        let (Some(from), Some(to)) = (from, to) else { return Err(wrong) };
        if !wrong.is_empty() {
            return Err(wrong);
        }
        // The finding does not matter for the place.
        let place = range(from, to, &rings, Finding::Discoloured);
        let held = read_cells(&self.cells).unwrap_or_default();
        let outside = held.into_iter().filter(|c| !place.iter().any(|p| (p.hour, p.ring) == (c.hour, c.ring)));
        let marked = place.iter().filter_map(|p| mark.map(|finding| MapCell { finding, ..*p }));
        self.cells = outside.chain(marked).map(cell_value).collect();
        self.skin_clear = "no".to_owned();
        for field in [&mut self.range_finding, &mut self.range_from, &mut self.range_to, &mut self.range_ring] {
            field.clear();
        }
        Ok(())
    }

    pub(super) fn read_skin(&self, found: &StomaFound, wrong: &mut Wrong) -> Option<(Inputs, Vec<MapCell>)> {
        let Some(cells) = read_cells(&self.cells) else {
            wrong.push(("map", "The map did not arrive whole: open the form again".to_owned()));
            return None;
        };
        if [&self.range_finding, &self.range_from, &self.range_to].iter().any(|field| !field.is_empty()) {
            wrong.push(("range_finding", "Press “Mark the range”, or clear it".to_owned()));
        }
        let skin_tone = Some(self.skin_tone.clone()).filter(|tone| !tone.is_empty());
        match self.skin_clear.as_str() {
            "yes" => {
                let scored = self
                    .domains()
                    .iter()
                    .any(|(area, severity)| !matches!(*area, "" | "0") || !matches!(*severity, "" | "0"));
                if scored || !cells.is_empty() {
                    let words = "The map or a domain is marked below: choose “Not clear”, or clear it";
                    wrong.push(("skin_clear", words.to_owned()));
                    return None;
                }
                let map = MapFound { skin_tone, ..MapFound::default() };
                Some((Inputs { judged: Judged::default(), map }, cells))
            }
            "no" => self.read_domains(found, cells, skin_tone, wrong),
            _ => {
                wrong.push(("skin_clear", "Say whether the skin is clear all round".to_owned()));
                None
            }
        }
    }

    fn read_domains(
        &self,
        found: &StomaFound,
        cells: Vec<MapCell>,
        skin_tone: Option<String>,
        wrong: &mut Wrong,
    ) -> Option<(Inputs, Vec<MapCell>)> {
        let by_map = shares_of(found, &cells).unwrap_or_else(|words| {
            wrong.push(("plate", words));
            None
        });
        let mut map = MapFound { shares: by_map.map(Into::into), skin_tone, ..MapFound::default() };
        let mut judged = [DomainJudged::default(); 3];
        let mut whole = true;
        let fields = ["discolouration_area", "erosion_area", "overgrowth_area"];
        for ((domain, (area, severity)), (slot, field)) in
            Domain::ALL.into_iter().zip(self.domains()).zip(judged.iter_mut().zip(fields))
        {
            let word = domain.code();
            let chosen: Option<u8> = area.parse().ok().filter(|a| *a <= 3);
            let mapped = by_map.map(|shares| shares.area(domain).points());
            let area_points = chosen.or(mapped);
            // Nothing affected has no severity to choose.
            let severity: Option<u8> = match (severity, area_points) {
                ("", Some(0)) => Some(0),
                (text, _) => text.parse().ok().filter(|s| *s <= 2),
            };
            match (area_points, severity) {
                (Some(area_points), Some(severity)) => *slot = DomainJudged { area_points, severity },
                (Some(_), None) => {
                    wrong.push((field, format!("Choose the severity of {word}")));
                    whole = false;
                }
                (None, _) if !cells.is_empty() => {
                    let words =
                        format!("Choose the area of {word}, or enter size of stoma and plate for the map to count");
                    wrong.push((field, words));
                    whole = false;
                }
                (None, _) => {
                    wrong.push((field, format!("Choose area and severity of {word}, “None” included")));
                    whole = false;
                }
            }
            if let (Some(judged), Some(mapped)) = (chosen, mapped)
                && judged != mapped
            {
                let reason = self.area_reason.trim().to_owned();
                map.overruled.push(Overruled { domain: word.to_owned(), by_map: mapped, judged, reason });
            }
        }
        if !map.overruled.is_empty() && self.area_reason.trim().chars().count() < 5 {
            wrong.push(("area_reason", "Write why an area is judged otherwise than the map gives it".to_owned()));
        }
        let [discolouration, erosion, overgrowth] = judged;
        let judged = Judged { discolouration, erosion, overgrowth };
        whole.then_some((Inputs { judged, map }, cells))
    }
}
