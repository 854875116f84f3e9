//! Tables: how wide the columns are, the head that is repeated, the rows.
//!
//! Rules lie level and are thin; columns are told apart by space alone.

use super::flow::{Cell, Flow, Pad, Part, Shape, height};
use super::sheet::{MEASURE, RULE, SIDE};
use super::tags::{Branch, Role};
use super::{Column, PrintError};

/// Space between two columns.
const GUTTER: f32 = 12.0;
const ROW: Pad = Pad(3.5, 3.5);
const HEAD: Pad = Pad(3.0, 3.5);
/// Most of the width that a column without a share may take beside one with a share.
const MOST: f32 = 0.4;
/// Most of the width that the longest word of a column may claim; a longer one is cut unless there is room left over.
const MOST_WORD: f32 = 0.5;
/// What is kept for the columns with a share, of the room that is left when all have their longest word.
const KEPT: f32 = 0.6;

/// What a column asks for: its longest line, its longest word, its share.
#[derive(Clone, Copy, Debug)]
struct Wish {
    longest: f32,
    word: f32,
    share: Option<u16>,
}

/// A table whose lines are set, ready to be put on pages.
pub struct Table {
    caption: String,
    head: Vec<Cell>,
    rows: Vec<Vec<Cell>>,
}

impl Table {
    /// Checks and sets the table. Every column needs a head; a cell may be empty.
    pub fn set(flow: &mut Flow, caption: &str, columns: &[Column], rows: &[Vec<String>]) -> Result<Self, PrintError> {
        if columns.is_empty() {
            return Err(PrintError::Blank("head of a table"));
        }
        if let Some((at, row)) = rows.iter().enumerate().find(|(_, row)| row.len() != columns.len()) {
            let (found, expected) = (row.len(), columns.len());
            return Err(PrintError::Uneven { caption: caption.to_owned(), row: at + 1, found, expected });
        }
        let (head_style, body) = (flow.sheet.head, flow.sheet.body);
        let mut wishes = Vec::new();
        for (at, column) in columns.iter().enumerate() {
            if column.head.trim().is_empty() {
                return Err(PrintError::Blank("head of a table column"));
            }
            let style = if column.right { body.tabular() } else { body };
            let (mut longest, mut word) = flow.setter.extent(&column.head, &head_style)?;
            if column.right {
                // Numbers are short: their head may take two lines rather than widen the column.
                longest = word;
            }
            for row in rows {
                let (line, piece) = flow.setter.extent(&row[at], &style)?;
                longest = longest.max(line);
                word = word.max(piece);
            }
            wishes.push(Wish { longest, word, share: column.share });
        }
        let widths = widths(&wishes, MEASURE - GUTTER * (columns.len() as f32 - 1.0));
        let mut set_row = |texts: &[String], is_head: bool| -> Result<Vec<Cell>, PrintError> {
            let mut x = SIDE;
            let mut cells = Vec::new();
            for ((text, column), width) in texts.iter().zip(columns).zip(&widths) {
                let style = if is_head {
                    head_style
                } else if column.right {
                    body.tabular()
                } else {
                    body
                };
                let lines = flow.setter.wrap(text, &style, *width)?;
                let part = Part::Leaf(flow.leaf());
                cells.push(Cell { x, width: *width, right: column.right, style, lines, part });
                x += width + GUTTER;
            }
            Ok(cells)
        };
        let names: Vec<String> = columns.iter().map(|column| column.head.clone()).collect();
        let head = set_row(&names, true)?;
        let rows = rows.iter().map(|row| set_row(row, false)).collect::<Result<_, _>>()?;
        Ok(Self { caption: caption.to_owned(), head, rows })
    }

    /// The least that must stand together at its beginning: caption, head and first row.
    pub fn opening(&self, flow: &Flow) -> f32 {
        let caption = if self.caption.trim().is_empty() { 0.0 } else { flow.sheet.caption.lead + 4.0 };
        let whole = self.rows.first().map_or(0.0, |row| height(row, flow.sheet.body.lead, ROW));
        // A row of more than half a page may be split, see `Flow::row`.
        let first = if whole > flow.body() / 2.0 { 2.0 * flow.sheet.body.lead + ROW.0 + ROW.1 } else { whole };
        caption + height(&self.head, flow.sheet.head.lead, HEAD) + first
    }

    /// Puts it on pages.
    pub fn place(self, flow: &mut Flow) -> Result<Branch, PrintError> {
        let mut parts = Vec::new();
        flow.need(self.opening(flow));
        if !self.caption.trim().is_empty() {
            let style = flow.sheet.caption;
            let lines = flow.setter.wrap(&self.caption, &style, MEASURE)?;
            let leaf = flow.leaf();
            flow.lines(SIDE, style, lines, Part::Leaf(leaf));
            flow.y += 4.0;
            parts.push(Branch::text(Role::Caption, leaf));
        }
        put_head(flow, &self.head);
        parts.push(Branch::of(Role::Head, vec![branch(&self.head, Role::ColumnHead)]));
        // A head that fills half a page is not repeated: there would be no room for rows.
        let repeat = height(&self.head, flow.sheet.head.lead, HEAD) <= flow.body() / 2.0;
        let again: Vec<Cell> =
            self.head.iter().cloned().map(|cell| Cell { part: Part::Repeat, ..cell }).filter(|_| repeat).collect();
        let turn = |flow: &mut Flow| {
            flow.hairline();
            flow.turn();
            if !again.is_empty() {
                put_head(flow, &again);
            }
        };
        let lead = flow.sheet.body.lead;
        let mut rows = Vec::new();
        let last = self.rows.len();
        for (at, row) in self.rows.iter().enumerate() {
            flow.row(row, lead, ROW, &turn);
            if at + 1 < last {
                flow.hairline();
            }
            rows.push(branch(row, Role::Cell));
        }
        let y = flow.y;
        flow.draw(Shape::Rule(SIDE, SIDE + MEASURE, y, 0.9, RULE));
        if !rows.is_empty() {
            parts.push(Branch::of(Role::Rows, rows));
        }
        Ok(Branch::of(Role::Table, parts))
    }
}

fn put_head(flow: &mut Flow, head: &[Cell]) {
    let y = flow.y;
    flow.draw(Shape::Rule(SIDE, SIDE + MEASURE, y, 0.9, RULE));
    let lead = flow.sheet.head.lead;
    let most = head.iter().map(|cell| cell.lines.len()).max().unwrap_or(0);
    let top = flow.y + HEAD.0;
    for cell in head {
        // Short heads stand on the line next to the first row.
        let drop = (most - cell.lines.len()) as f32 * lead;
        for (at, line) in cell.lines.iter().enumerate() {
            let shift = if cell.right { cell.width - line.width } else { 0.0 };
            flow.put(cell.x + shift, top + drop + at as f32 * lead, cell.style, line.clone(), cell.part);
        }
    }
    flow.y = top + most as f32 * lead + HEAD.1;
    let y = flow.y;
    flow.draw(Shape::Rule(SIDE, SIDE + MEASURE, y, 0.6, RULE));
}

fn branch(cells: &[Cell], role: Role) -> Branch {
    let texts = cells.iter().filter_map(|cell| match cell.part {
        Part::Leaf(leaf) => Some(Branch::text(role.clone(), leaf)),
        _ => None,
    });
    Branch::of(Role::Row, texts.collect())
}

/// Widths that add up to `room`. Each column first gets its longest word (the longest words are cut if they do not all
/// fit), then columns without a share get their longest line as far as there is room, then the shares divide the rest.
fn widths(wishes: &[Wish], room: f32) -> Vec<f32> {
    let shared = wishes.iter().any(|wish| wish.share.is_some());
    let words: Vec<f32> = wishes.iter().map(|wish| wish.word).collect();
    let cap = cap(&words, room).min(if words.len() > 1 { room * MOST_WORD } else { room });
    let least: Vec<f32> = wishes.iter().map(|wish| wish.word.min(cap)).collect();
    let spare = room - least.iter().sum::<f32>();
    let want: Vec<f32> = wishes
        .iter()
        .zip(&least)
        .map(|(wish, least)| match wish.share {
            Some(_) => 0.0,
            None if shared => (wish.longest.min(room * MOST) - least).max(0.0),
            None => (wish.longest - least).max(0.0),
        })
        .collect();
    let wanted: f32 = want.iter().sum();
    let asked = |(wish, least): (&Wish, &f32)| wish.share.map_or(0.0, |_| wish.longest - least);
    let shared_want: f32 = wishes.iter().zip(&least).map(asked).sum();
    let offered = spare - shared_want.clamp(0.0, spare * KEPT);
    let part = if wanted > offered { offered / wanted } else { 1.0 };
    let mut widths: Vec<f32> = least.iter().zip(&want).map(|(least, want)| least + want * part).collect();
    let rest = room - widths.iter().sum::<f32>();
    let weights: Vec<f32> = wishes
        .iter()
        .map(|wish| if shared { f32::from(wish.share.unwrap_or(0)) } else { wish.longest.max(1.0) })
        .collect();
    if shared {
        // Shares are of the whole that the shared columns have together, not of what is left beside their longest words.
        let held = |(width, wish): (&f32, &Wish)| wish.share.map_or(0.0, |_| *width);
        let pool = rest + widths.iter().zip(wishes).map(held).sum::<f32>();
        divide(&mut widths, &weights, pool);
    } else {
        let total: f32 = weights.iter().sum();
        widths.iter_mut().zip(&weights).for_each(|(width, weight)| *width += rest * weight / total);
    }
    widths
}

/// Divides `pool` by weight among the columns that have one; none falls below the width it has.
fn divide(widths: &mut [f32], weights: &[f32], mut pool: f32) {
    let mut open: Vec<usize> = (0..widths.len()).filter(|at| weights[*at] > 0.0).collect();
    loop {
        let total: f32 = open.iter().map(|at| weights[*at]).sum();
        let (held, rest): (Vec<usize>, Vec<usize>) =
            open.iter().partition(|at| widths[**at] > pool * weights[**at] / total);
        if held.is_empty() || rest.is_empty() {
            for at in rest {
                widths[at] = pool * weights[at] / total;
            }
            return;
        }
        pool -= held.iter().map(|at| widths[*at]).sum::<f32>();
        open = rest;
    }
}

/// The widest that a word may claim, so that all columns together fit in `room`.
fn cap(words: &[f32], room: f32) -> f32 {
    let mut sorted = words.to_vec();
    sorted.sort_by(f32::total_cmp);
    let mut left = room;
    for (at, word) in sorted.iter().enumerate() {
        let even = left / (sorted.len() - at) as f32;
        if *word > even {
            return even;
        }
        left -= word;
    }
    f32::MAX
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wish(longest: f32, word: f32, share: Option<u16>) -> Wish {
        Wish { longest, word, share }
    }

    fn close(got: &[f32], expected: &[f32]) {
        assert!(got.iter().zip(expected).all(|(a, b)| (a - b).abs() < 0.01), "{got:?} is not {expected:?}");
    }

    #[test]
    fn shares_divide_what_the_others_leave() {
        close(
            &widths(&[wish(500.0, 40.0, Some(2)), wish(500.0, 40.0, Some(1)), wish(60.0, 30.0, None)], 360.0),
            &[200.0, 100.0, 60.0],
        );
    }

    #[test]
    fn a_share_never_cuts_a_word_that_has_room() {
        close(&widths(&[wish(500.0, 40.0, Some(9)), wish(120.0, 90.0, Some(1))], 300.0), &[210.0, 90.0]);
    }

    #[test]
    fn a_word_longer_than_the_table_claims_half_and_then_what_is_left_over() {
        let all = widths(&[wish(900.0, 900.0, None), wish(50.0, 20.0, None), wish(50.0, 20.0, None)], 300.0);
        assert!(all[0] > 200.0 && all[1] > 20.0 && (all[1] - all[2]).abs() < 0.01, "{all:?}");
        close(&[all.iter().sum()], &[300.0]);
        close(&widths(&[wish(900.0, 900.0, None), wish(800.0, 20.0, Some(1))], 300.0), &[150.0, 150.0]);
    }

    #[test]
    fn widths_fill_the_measure() {
        let all = widths(&[wish(30.0, 30.0, None), wish(60.0, 20.0, None)], 300.0);
        close(&[all.iter().sum()], &[300.0]);
        close(&all, &[100.0, 200.0]);
    }
}
