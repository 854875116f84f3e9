//! What the clinic form says of the stoma, read or refused: measures, plate, colour, findings.

use super::clinic_form::{ClinicForm, LastFound, Wrong, whole};
use super::clinic_words::{COLOURS, CONSISTENCIES, ONE_OF, SHAPES, STOMA_FINDINGS, known};
use crate::skin::rules::calibration::range;
use crate::skin::rules::{Finding, causes};
use crate::skin::store::{PlateFound, StomaFound};

/// Largest gap between stoma and opening that is taken, mm (local: beyond is a slip of the pen).
const MOST_GAP_MM: f64 = 50.0;

impl ClinicForm {
    /// The measures that would count as the form stands, read leniently: what is wrong is left out and not said here.
    pub fn measures(&self, last: &LastFound) -> StomaFound {
        self.read_stoma(&last.clone().filter(|_| !self.is_amendment()), &mut Wrong::new())
    }

    pub(super) fn read_stoma(&self, last: &LastFound, wrong: &mut Wrong) -> StomaFound {
        let signs = causes::shipped().map_or_else(|_| Vec::new(), |set| set.asked().map(|s| s.id.as_str()).collect());
        let mut found = StomaFound {
            width_mm: whole(&self.width, "width", "the width in mm", 1..=300, wrong),
            height_mm: whole(&self.height, "height", "the height in mm", 1..=300, wrong),
            protrusion_mm: whole(&self.protrusion, "protrusion", "the protrusion in mm", -50..=300, wrong),
            gap_mm: self.read_gap(wrong),
            plate: self.read_plate(wrong),
            parted_hours: self.read_parted(wrong),
            prolapse_mm: whole(&self.prolapse, "prolapse", "how far it has slid out, in mm", 1..=500, wrong),
            bulge_mm: whole(&self.bulge, "bulge", "the width of the bulge in mm", 1..=500, wrong),
            findings: self.stoma_findings.iter().filter(|code| known(&STOMA_FINDINGS, code)).cloned().collect(),
            signs: self.signs.iter().filter(|code| signs.contains(&code.as_str())).cloned().collect(),
            ..StomaFound::default()
        };
        for (list, typed, name, slot) in [
            (&SHAPES[..], &self.shape, "shape", &mut found.shape),
            (&CONSISTENCIES[..], &self.consistency, "consistency", &mut found.consistency),
        ] {
            if known(list, typed) {
                *slot = Some(typed.clone());
            } else if !typed.is_empty() {
                wrong.push((name, "Choose one of the answers".to_owned()));
            }
        }
        self.as_last_time(&mut found, last, wrong);
        if known(&COLOURS, &self.colour) {
            found.colour = Some(self.colour.clone());
        } else {
            wrong.push(("colour", "Choose the colour of the stoma".to_owned()));
        }
        let has = |prefix: &str| found.findings.iter().any(|f| f.starts_with(prefix));
        for (codes, words) in ONE_OF {
            if codes.iter().filter(|code| has(code)).count() > 1 {
                wrong.push(("stoma_findings", words.to_owned()));
            }
        }
        for (given, prefix, name, words) in [
            (
                !found.parted_hours.is_empty(),
                "separation",
                "parted_from",
                "Tick how the edge has parted, or clear the hours",
            ),
            (found.prolapse_mm.is_some(), "prolapse", "prolapse", "Tick whether it goes back, or clear the length"),
            (found.bulge_mm.is_some(), "hernia", "bulge", "Tick the bulge, or clear its width"),
        ] {
            if given && !has(prefix) {
                wrong.push((name, words.to_owned()));
            }
        }
        found
    }

    /// What was true last time counts only once it is confirmed.
    fn as_last_time(&self, found: &mut StomaFound, last: &LastFound, wrong: &mut Wrong) {
        let measured = found.width_mm.is_some()
            || found.height_mm.is_some()
            || found.protrusion_mm.is_some()
            || found.plate.is_some()
            || found.gap_mm.is_some()
            || found.shape.is_some();
        match (self.stoma_same.as_str(), last) {
            ("yes", Some(_)) if measured => {
                wrong.push(("stoma_same", "Size is entered below: choose “Measured now”, or clear it".to_owned()));
            }
            ("yes", Some(last)) => {
                found.width_mm = last.width_mm;
                found.height_mm = last.height_mm;
                found.protrusion_mm = last.protrusion_mm;
                found.shape.clone_from(&last.shape);
                found.gap_mm = last.gap_mm;
                found.plate = last.plate;
            }
            ("no", _) | ("", None) => {}
            _ => wrong.push(("stoma_same", "Say whether the size is as last time".to_owned())),
        }
    }

    fn read_gap(&self, wrong: &mut Wrong) -> Option<f64> {
        let typed = self.gap.trim().replace(',', ".");
        if typed.is_empty() {
            return None;
        }
        let tenths = typed.split_once('.').is_none_or(|(_, after)| after.len() == 1);
        let read = typed.parse::<f64>().ok().filter(|mm| tenths && (0.0..=MOST_GAP_MM).contains(mm));
        if read.is_none() {
            wrong.push(("gap", "Enter the gap in mm from 0 to 50, with one decimal at most".to_owned()));
        }
        read
    }

    fn read_plate(&self, wrong: &mut Wrong) -> Option<PlateFound> {
        let diameter = whole(&self.plate, "plate", "the plate's diameter in mm", 10..=300, wrong);
        let to_left =
            whole(&self.plate_left, "plate_left", "how far the plate sits to the left, in mm", -150..=150, wrong);
        let to_head = whole(&self.plate_head, "plate_head", "how far the plate sits up, in mm", -150..=150, wrong);
        if diameter.is_none() && self.plate.trim().is_empty() && (to_left.is_some() || to_head.is_some()) {
            wrong.push(("plate", "Enter the plate's diameter as well".to_owned()));
        }
        diameter.map(|diameter_mm| PlateFound {
            diameter_mm,
            to_left_mm: to_left.unwrap_or(0),
            to_head_mm: to_head.unwrap_or(0),
        })
    }

    fn read_parted(&self, wrong: &mut Wrong) -> Vec<u8> {
        let from = whole(&self.parted_from, "parted_from", "the first hour", 1..=12, wrong);
        let to = whole(&self.parted_to, "parted_to", "the last hour", 1..=12, wrong);
        match (from, to) {
            (Some(from), Some(to)) => {
                range(from, to, &[1], Finding::Discoloured).into_iter().map(|cell| cell.hour).collect()
            }
            (Some(only), None) if self.parted_to.trim().is_empty() => vec![only],
            (None, Some(_)) => {
                wrong.push(("parted_from", "Enter the first hour as well".to_owned()));
                Vec::new()
            }
            _ => Vec::new(),
        }
    }
}
