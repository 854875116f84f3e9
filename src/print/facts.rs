//! Labels with their values: two abreast where the values are short, in the order given, row by row.

use super::PrintError;
use super::flow::{Cell, Flow, Pad, Part};
use super::sheet::{MEASURE, SIDE};
use super::tags::{Branch, Role};

const PAD: Pad = Pad(1.0, 1.0);
/// Between the two halves, and between a label and its value.
const GUTTER: f32 = 18.0;
const AFTER_LABEL: f32 = 10.0;
/// Most of its half that a label may take.
const MOST: f32 = 0.42;

/// Facts whose lines are set, ready to be put on pages.
pub struct Facts {
    rows: Vec<Vec<(Cell, Cell)>>,
}

impl Facts {
    /// Sets them. A label may not be empty; an empty value stays empty.
    pub fn set(flow: &mut Flow, facts: &[(String, String)]) -> Result<Self, PrintError> {
        let (label, body) = (flow.sheet.label, flow.sheet.body);
        let half = if flow.sheet.abreast { (MEASURE - GUTTER) / 2.0 } else { MEASURE };
        let mut labels = 0.0_f32;
        for (name, _) in facts {
            if name.trim().is_empty() {
                return Err(PrintError::Blank("label of a fact"));
            }
            labels = labels.max(flow.setter.extent(name, &label)?.0);
        }
        let labels = labels.min(half * MOST);
        let beside = labels + AFTER_LABEL;
        let mut rows: Vec<Vec<(Cell, Cell)>> = Vec::new();
        let mut right_is_free = false;
        for (name, value) in facts {
            let wide = !flow.sheet.abreast || flow.setter.wrap(value, &body, half - beside)?.len() > 2;
            let x = if right_is_free && !wide { SIDE + half + GUTTER } else { SIDE };
            let width = if wide { flow.sheet.column().max(half) } else { half };
            let name_lines = flow.setter.wrap(name, &label, labels)?;
            let value_lines = flow.setter.wrap(value, &body, width - beside)?;
            let mut cell = |x, width, style, lines| {
                let part = Part::Leaf(flow.leaf());
                Cell { x, width, right: false, style, lines, part }
            };
            let pair = (cell(x, labels, label, name_lines), cell(x + beside, width - beside, body, value_lines));
            match rows.last_mut() {
                Some(row) if right_is_free && !wide => row.push(pair),
                _ => rows.push(vec![pair]),
            }
            right_is_free = !wide && x <= SIDE;
        }
        Ok(Self { rows })
    }

    /// The least that must stand together at its beginning.
    pub fn opening(flow: &Flow) -> f32 {
        2.0 * (flow.sheet.body.lead + PAD.0 + PAD.1)
    }

    /// Puts them on pages.
    pub fn place(self, flow: &mut Flow) -> Option<Branch> {
        let pitch = flow.sheet.body.lead;
        let mut items = Vec::new();
        for row in self.rows {
            let cells: Vec<Cell> = row.into_iter().flat_map(|(label, value)| [label, value]).collect();
            flow.row(&cells, pitch, PAD, &Flow::turn);
            let leaf = |cell: &Cell| match cell.part {
                Part::Leaf(leaf) => Some(leaf),
                _ => None,
            };
            for pair in cells.chunks(2) {
                let texts = pair.iter().filter_map(leaf).zip([Role::Label, Role::Value]);
                items.push(Branch::of(Role::Item, texts.map(|(leaf, role)| Branch::text(role, leaf)).collect()));
            }
        }
        (!items.is_empty()).then(|| Branch::of(Role::List, items))
    }
}
