//! A document to set pages: checks it, sets its blocks in order, keeps headings with what follows them.
//!
//! Two passes: first every block's words become lines, then the lines go to pages, so that a heading can know how much
//! of the next block must stand under it.

use super::edges::Edges;
use super::facts::Facts;
use super::flow::{Flow, Laid, Mark, Part, Shape};
use super::measure::{Line, Setter};
use super::sheet::{GROUND, MEASURE, RULE, SIDE, Sheet};
use super::table::Table;
use super::tags::{Branch, Role};
use super::{Block, Document, PrintError};

/// Inside a note, around its text.
const NOTE_PAD: f32 = 8.0;
const NOTE_INSET: f32 = 14.0;
/// Room to write above a signature line, and the space between two lines side by side.
const PEN: f32 = 34.0;
const ABREAST: f32 = 24.0;

/// A block whose lines are set.
enum Set {
    Heading(u8, String, Vec<Line>),
    Paragraph(Vec<Line>),
    Facts(Facts),
    Table(Table),
    Note(Vec<Line>),
    Signatures(Vec<Vec<Line>>),
    Gap,
}

/// Sets the whole document.
pub fn lay_out(document: &Document) -> Result<Laid, PrintError> {
    check(document)?;
    let sheet = Sheet::new(document.size);
    let mut setter = Setter::new()?;
    let edges = Edges::set(document, &mut setter, &sheet)?;
    let mut flow = Flow::new(setter, sheet, edges.top, edges.bottom);
    let title = heading(&mut flow, 1, &document.title)?;
    let mut blocks = vec![title];
    for block in &document.blocks {
        blocks.push(set(&mut flow, block)?);
    }
    let mut body = Vec::new();
    let mut openings: Vec<f32> = Vec::new();
    for block in blocks.iter().rev() {
        let below = openings.last().copied().unwrap_or(0.0);
        openings.push(opening(&flow, block, below));
    }
    for (block, opening) in blocks.into_iter().zip(openings.into_iter().rev()) {
        body.extend(place(&mut flow, block, opening)?);
    }
    let (mut tree, last) = edges.place(&mut flow)?;
    tree.extend(body);
    tree.extend(last);
    let leaves = flow.leaves();
    Ok(Laid { pages: flow.pages, marks: flow.marks, tree, leaves })
}

/// What the writer's own checks would say less clearly.
fn check(document: &Document) -> Result<(), PrintError> {
    for (text, what) in [(&document.title, "title"), (&document.language, "language")] {
        if text.trim().is_empty() {
            return Err(PrintError::Blank(what));
        }
    }
    let mut above = 1;
    for block in &document.blocks {
        if let Block::Heading(level, text) = block {
            if text.trim().is_empty() {
                return Err(PrintError::Blank("heading"));
            }
            if !(2..=4).contains(level) || *level > above + 1 {
                return Err(PrintError::Level { level: *level, text: text.clone() });
            }
            above = *level;
        }
    }
    Ok(())
}

fn heading(flow: &mut Flow, level: u8, text: &str) -> Result<Set, PrintError> {
    let style = flow.sheet.heading(level);
    Ok(Set::Heading(level, text.trim().to_owned(), flow.setter.wrap(text, &style, MEASURE)?))
}

fn set(flow: &mut Flow, block: &Block) -> Result<Set, PrintError> {
    let sheet = flow.sheet;
    Ok(match block {
        Block::Heading(level, text) => heading(flow, *level, text)?,
        Block::Paragraph(text) => Set::Paragraph(flow.setter.wrap(text, &sheet.body, sheet.column())?),
        Block::Facts(facts) => Set::Facts(Facts::set(flow, facts)?),
        Block::Table { caption, columns, rows } => Set::Table(Table::set(flow, caption, columns, rows)?),
        Block::Note(text) => {
            let width = sheet.column().min(MEASURE - NOTE_INSET - NOTE_PAD);
            Set::Note(flow.setter.wrap(text, &sheet.body, width)?)
        }
        Block::SignatureLines(labels) => {
            let mut lines = Vec::new();
            for label in labels {
                if label.trim().is_empty() {
                    return Err(PrintError::Blank("label of a signature line"));
                }
                lines.push(flow.setter.wrap(label, &sheet.small, (MEASURE - ABREAST) / 2.0)?);
            }
            Set::Signatures(lines)
        }
        Block::Gap => Set::Gap,
    })
}

/// How much of a block must stand together at its beginning; `below` is that of the next block.
fn opening(flow: &Flow, block: &Set, below: f32) -> f32 {
    let body = flow.sheet.body.lead;
    match block {
        Set::Heading(level, _, lines) => {
            let (before, after) = around(*level);
            before + lines.len() as f32 * flow.sheet.heading(*level).lead + after + below
        }
        Set::Paragraph(lines) if lines.len() <= 3 => lines.len() as f32 * body,
        Set::Paragraph(_) => 2.0 * body,
        Set::Facts(_) => Facts::opening(flow),
        Set::Table(table) => table.opening(flow),
        Set::Note(lines) => lines.len() as f32 * body + 2.0 * NOTE_PAD,
        Set::Signatures(labels) => labels.chunks(2).map(|pair| signature_height(flow, pair)).sum(),
        Set::Gap => body + below,
    }
}

/// Space before and after a heading.
fn around(level: u8) -> (f32, f32) {
    match level {
        1 => (0.0, 10.0),
        2 => (10.0, 5.0),
        3 => (6.0, 3.0),
        _ => (4.0, 2.0),
    }
}

fn place(flow: &mut Flow, block: Set, opening: f32) -> Result<Option<Branch>, PrintError> {
    let body = flow.sheet.body;
    Ok(match block {
        Set::Heading(level, text, lines) => {
            flow.need(opening);
            let (before, after) = around(level);
            flow.space(before);
            flow.marks.push(Mark { level, text: text.clone(), page: flow.pages.len() - 1, y: flow.y });
            let leaf = flow.leaf();
            flow.lines(SIDE, flow.sheet.heading(level), lines, Part::Leaf(leaf));
            flow.y += after;
            Some(Branch::text(Role::Heading(level, text), leaf))
        }
        Set::Paragraph(lines) if lines.is_empty() => None,
        Set::Paragraph(lines) => {
            let leaf = flow.leaf();
            flow.lines(SIDE, body, lines, Part::Leaf(leaf));
            flow.y += 6.0;
            Some(Branch::text(Role::Paragraph, leaf))
        }
        Set::Facts(facts) => {
            let list = facts.place(flow);
            flow.y += 8.0;
            list
        }
        Set::Table(table) => {
            let table = table.place(flow)?;
            flow.y += 12.0;
            Some(table)
        }
        Set::Note(lines) if lines.is_empty() => None,
        Set::Note(lines) => Some(note(flow, lines)),
        Set::Signatures(labels) if labels.is_empty() => None,
        Set::Signatures(labels) => {
            flow.need(opening);
            Some(signatures(flow, labels))
        }
        Set::Gap => {
            flow.space(body.lead);
            None
        }
    })
}

/// A note in its box; a note longer than the page goes on in a box on the next.
fn note(flow: &mut Flow, lines: Vec<Line>) -> Branch {
    let style = flow.sheet.body;
    flow.space(4.0);
    flow.need(lines.len() as f32 * style.lead + 2.0 * NOTE_PAD);
    if !flow.fits(style.lead + 2.0 * NOTE_PAD) {
        flow.turn();
    }
    let leaf = flow.leaf();
    let mut rest = lines.into_iter();
    while rest.len() > 0 {
        let top = flow.y;
        flow.y += NOTE_PAD;
        for line in rest.by_ref() {
            let y = flow.y;
            flow.put(SIDE + NOTE_INSET, y, style, line, Part::Leaf(leaf));
            flow.y += style.lead;
            if !flow.fits(style.lead + NOTE_PAD) {
                break;
            }
        }
        flow.y += NOTE_PAD;
        let height = flow.y - top;
        flow.draw(Shape::Fill(SIDE, top, MEASURE, height, GROUND));
        flow.draw(Shape::Fill(SIDE, top, 3.0, height, RULE));
        if rest.len() > 0 {
            flow.turn();
        }
    }
    flow.y += 12.0;
    Branch::of(Role::Group, vec![Branch::text(Role::Paragraph, leaf)])
}

fn signature_height(flow: &Flow, labels: &[Vec<Line>]) -> f32 {
    let lines = labels.iter().map(Vec::len).max().unwrap_or(0);
    PEN + 4.0 + lines as f32 * flow.sheet.small.lead
}

fn signatures(flow: &mut Flow, labels: Vec<Vec<Line>>) -> Branch {
    let style = flow.sheet.small;
    let width = (MEASURE - ABREAST) / 2.0;
    let mut parts = Vec::new();
    for pair in labels.chunks(2) {
        let height = signature_height(flow, pair);
        flow.need(height);
        let y = flow.y + PEN;
        for (lines, x) in pair.iter().zip([SIDE, SIDE + width + ABREAST]) {
            flow.draw(Shape::Rule(x, x + width, y, 0.7, RULE));
            let leaf = flow.leaf();
            for (at, line) in lines.iter().enumerate() {
                flow.put(x, y + 3.0 + at as f32 * style.lead, style, line.clone(), Part::Leaf(leaf));
            }
            parts.push(Branch::text(Role::Paragraph, leaf));
        }
        flow.y += height;
    }
    flow.y += 8.0;
    Branch::of(Role::Group, parts)
}
