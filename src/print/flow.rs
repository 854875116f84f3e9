//! Lines to pages: a pen that moves down the page, turns it when there is no room, and keeps what stands where.
//!
//! It places what it is given and knows neither documents nor the PDF writer.

use super::measure::{Line, Setter};
use super::sheet::{HAIR, MEASURE, SIDE, Sheet, Style};
use super::tags::{Branch, Leaf};

/// What a placed text is for those who hear the document.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// A part of a leaf of the tree.
    Leaf(Leaf),
    /// The strip or mark of a later page: repeats the first page's.
    Header,
    /// A footer that repeats, or a page number.
    Footer,
    /// The head of a table again.
    Repeat,
}

/// A line of text in its place.
#[derive(Clone, Debug)]
pub struct Placed {
    /// Left end of the baseline.
    pub x: f32,
    /// The baseline.
    pub y: f32,
    /// How it is set.
    pub style: Style,
    /// What is set.
    pub line: Line,
    /// What it is.
    pub part: Part,
}

/// A drawn shape; never more than ornament.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// A filled box: left, top, width, height, grey.
    Fill(f32, f32, f32, f32, u8),
    /// A level rule: left, right, height on the page, thickness, grey.
    Rule(f32, f32, f32, f32, u8),
    /// An outlined box: left, top, width, height, thickness, grey.
    Frame(f32, f32, f32, f32, f32, u8),
}

/// What stands on one page.
#[derive(Clone, Debug, Default)]
pub struct Page {
    /// Drawn first.
    pub shapes: Vec<Shape>,
    /// In reading order.
    pub texts: Vec<Placed>,
}

/// Where a heading stands, for the outline.
#[derive(Clone, Debug)]
pub struct Mark {
    /// Level of the heading.
    pub level: u8,
    /// Its text.
    pub text: String,
    /// Page, from 0.
    pub page: usize,
    /// Top of the heading.
    pub y: f32,
}

/// A set document, ready to be written.
pub struct Laid {
    /// At least one.
    pub pages: Vec<Page>,
    /// The headings in order, the title first.
    pub marks: Vec<Mark>,
    /// What it all means, in reading order.
    pub tree: Vec<Branch>,
    /// How many leaves the tree has.
    pub leaves: usize,
}

/// A text in a column of its own beside others, which may go on over the page.
#[derive(Clone, Debug)]
pub struct Cell {
    /// Left edge.
    pub x: f32,
    /// Width.
    pub width: f32,
    /// Set against the right edge.
    pub right: bool,
    /// How it is set.
    pub style: Style,
    /// Its lines.
    pub lines: Vec<Line>,
    /// What it is.
    pub part: Part,
}

/// Space above and below the lines of a row.
#[derive(Clone, Copy, Debug)]
pub struct Pad(pub f32, pub f32);

/// Height of a row of cells.
pub fn height(cells: &[Cell], lead: f32, pad: Pad) -> f32 {
    let lines = cells.iter().map(|cell| cell.lines.len()).max().unwrap_or(0).max(1);
    pad.0 + lines as f32 * lead + pad.1
}

/// The pen.
pub struct Flow {
    /// Set so far; the last one is being filled.
    pub pages: Vec<Page>,
    /// Where the next thing begins.
    pub y: f32,
    /// Words to lines.
    pub setter: Setter,
    /// The styles.
    pub sheet: Sheet,
    /// Headings so far.
    pub marks: Vec<Mark>,
    top: f32,
    bottom: f32,
    leaves: usize,
}

impl Flow {
    /// An empty first page whose body lies between `top` and `bottom`.
    pub fn new(setter: Setter, sheet: Sheet, top: f32, bottom: f32) -> Self {
        Self { pages: vec![Page::default()], y: top, setter, sheet, marks: Vec::new(), top, bottom, leaves: 0 }
    }

    /// A new leaf of the tree.
    pub fn leaf(&mut self) -> Leaf {
        self.leaves += 1;
        self.leaves - 1
    }

    /// How many leaves there are.
    pub fn leaves(&self) -> usize {
        self.leaves
    }

    /// Height of an empty body.
    pub fn body(&self) -> f32 {
        self.bottom - self.top
    }

    /// True if so much still fits on this page.
    pub fn fits(&self, height: f32) -> bool {
        self.y + height <= self.bottom + 0.01
    }

    /// True if nothing stands in the body of this page yet.
    pub fn fresh(&self) -> bool {
        self.y <= self.top
    }

    /// Turns the page.
    pub fn turn(&mut self) {
        self.pages.push(Page::default());
        self.y = self.top;
    }

    /// Turns the page unless so much fits on it. What is higher than a page begins where it is.
    pub fn need(&mut self, height: f32) {
        if !self.fits(height) && height <= self.body() && !self.fresh() {
            self.turn();
        }
    }

    /// Leaves space, but not at the head of a page.
    pub fn space(&mut self, height: f32) {
        if !self.fresh() {
            self.y += height;
        }
    }

    /// Draws a shape on this page.
    pub fn draw(&mut self, shape: Shape) {
        if let Some(page) = self.pages.last_mut() {
            page.shapes.push(shape);
        }
    }

    /// A hairline over the whole width, here; one only, if asked twice.
    pub fn hairline(&mut self) {
        let here = Shape::Rule(SIDE, SIDE + MEASURE, self.y, 0.5, HAIR);
        if self.pages.last().and_then(|page| page.shapes.last()) != Some(&here) {
            self.draw(here);
        }
    }

    /// Puts a line whose top is `y`.
    pub fn put(&mut self, x: f32, y: f32, style: Style, line: Line, part: Part) {
        if let Some(page) = self.pages.last_mut() {
            page.texts.push(Placed { x, y: y + style.rise(), style, line, part });
        }
    }

    /// Puts lines below each other, turning pages without leaving a line alone on either side of one.
    pub fn lines(&mut self, x: f32, style: Style, lines: Vec<Line>, part: Part) {
        let count = lines.len();
        for (at, line) in lines.into_iter().enumerate() {
            let left = count - at;
            let together = match (at, left) {
                (0, 3) => 3.0,
                (0, 2..) | (_, 2) => 2.0,
                _ => 1.0,
            };
            if !self.fits(together * style.lead) && !self.fresh() {
                self.turn();
            }
            let y = self.y;
            self.put(x, y, style, line, part);
            self.y += style.lead;
        }
    }

    /// Puts cells side by side. A row stays on one page if a page can hold it, else it goes on over the page, at least
    /// one line at a time. `turn` turns the page and may put something at its head, no more than half a page high.
    pub fn row(&mut self, cells: &[Cell], lead: f32, pad: Pad, turn: &dyn Fn(&mut Self)) {
        let whole = height(cells, lead, pad);
        if !self.fits(whole) && !self.fresh() {
            let here = self.y - self.top;
            let splits = whole > self.body() / 2.0;
            // A row that would leave most of a page empty is split instead, if two lines of it find room here.
            if !(splits && here < self.body() / 2.0 && self.fits(pad.0 + 2.0 * lead + pad.1)) {
                turn(self);
            }
        }
        let count = cells.iter().map(|cell| cell.lines.len()).max().unwrap_or(0).max(1);
        let mut done = 0;
        loop {
            let top = self.y + pad.0;
            let mut end = done;
            self.y = top;
            while end < count && (end == done || self.fits(lead + pad.1)) {
                self.y += lead;
                end += 1;
            }
            self.y += pad.1;
            // Cell by cell, as it is read, not line by line.
            for cell in cells {
                // An empty cell is still a cell for those who count columns by ear.
                let empty = (done == 0 && cell.lines.is_empty()).then(Line::default);
                let lines = cell.lines.iter().take(end).skip(done).cloned().chain(empty);
                for (at, line) in lines.enumerate() {
                    let shift = if cell.right { cell.width - line.width } else { 0.0 };
                    self.put(cell.x + shift, top + at as f32 * lead, cell.style, line, cell.part);
                }
            }
            if end == count {
                return;
            }
            done = end;
            turn(self);
        }
    }
}
