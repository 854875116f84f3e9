//! What stands at the edges of every page: the boxed mark, the identity strip, the footer with the page number.
//!
//! For those who hear the document the strip and the mark are read once, at its beginning, and the footer once, at its
//! end; on the other pages they are ornament, so that nobody has to hear them on every page.

use super::flow::{Flow, Page, Part, Placed, Shape};
use super::measure::{Line, Setter};
use super::sheet::{GROUND, MEASURE, MM, PAGE, RULE, SIDE, Sheet, Style};
use super::tags::{Branch, Leaf, Role};
use super::{Document, PrintError};

/// From the edge of the paper to what stands first and last on it.
const EDGE: f32 = 12.0 * MM;
/// Between the edges and the body.
const BREATH: f32 = 18.0;
const INSET: f32 = 8.0;
/// The body keeps at least this part of the page.
const LEAST_BODY: f32 = 0.5;

/// The set lines of the edges, and the body that they leave.
pub struct Edges {
    mark: Vec<Line>,
    strip: Vec<Line>,
    foot: Vec<Line>,
    page_of: String,
    /// Top of the body.
    pub top: f32,
    /// Bottom of the body.
    pub bottom: f32,
    strip_top: f32,
    foot_top: f32,
}

impl Edges {
    /// Sets the edges of a document.
    pub fn set(document: &Document, setter: &mut Setter, sheet: &Sheet) -> Result<Self, PrintError> {
        let mark = match &document.mark {
            Some(mark) if mark.trim().is_empty() => return Err(PrintError::Blank("mark")),
            Some(mark) => setter.wrap(mark, &sheet.mark, MEASURE - 2.0 * INSET)?,
            None => Vec::new(),
        };
        let strip = setter.wrap(&document.identity, &sheet.strip, MEASURE - 2.0 * INSET)?;
        // A loose page must say which document it belongs to, not only whose it is.
        let foot = format!("{}\n{}", document.title, document.footer);
        let foot = setter.wrap(&foot, &sheet.foot, MEASURE * 0.78)?;
        let tall = |lines: &[Line], style: &Style| lines.len() as f32 * style.lead;
        let strip_top = if mark.is_empty() { EDGE } else { EDGE + tall(&mark, &sheet.mark) + 9.0 };
        let strip_height = if strip.is_empty() { 0.0 } else { tall(&strip, &sheet.strip) + INSET };
        let top = strip_top + strip_height + if strip.is_empty() && mark.is_empty() { 4.0 } else { BREATH };
        let foot_top = PAGE.1 - EDGE - tall(&foot, &sheet.foot).max(sheet.foot.lead);
        let bottom = foot_top - BREATH;
        if bottom - top < PAGE.1 * LEAST_BODY {
            let strip_is_longest = strip_height >= tall(&foot, &sheet.foot) && strip_height >= strip_top - EDGE;
            let footer_is_longer = tall(&foot, &sheet.foot) > strip_top - EDGE;
            return Err(PrintError::TooTall(match (strip_is_longest, footer_is_longer) {
                (true, _) => "the identity strip",
                (false, true) => "the footer",
                (false, false) => "the mark",
            }));
        }
        Ok(Self { mark, strip, foot, page_of: document.page_of.clone(), top, bottom, strip_top, foot_top })
    }

    /// Puts the edges on all pages. Gives what belongs at the beginning and at the end of the tree.
    pub fn place(self, flow: &mut Flow) -> Result<(Vec<Branch>, Vec<Branch>), PrintError> {
        let sheet = flow.sheet;
        let count = flow.pages.len();
        let mut make = |lines: &[Line]| if lines.is_empty() { None } else { Some(flow.leaf()) };
        let (mark, strip, foot) = (make(&self.mark), make(&self.strip), make(&self.foot));
        for at in 0..count {
            let number = self.page_of.replace("{page}", &(at + 1).to_string()).replace("{pages}", &count.to_string());
            let number = flow.setter.wrap(&number, &sheet.foot.tabular(), MEASURE)?;
            let mut head = Page::default();
            let page = &mut flow.pages[at];
            let read = |leaf: Option<Leaf>, here: bool, other: Part| match leaf {
                Some(leaf) if here => Part::Leaf(leaf),
                _ => other,
            };
            let first = at == 0;
            self.put_mark(&mut head, sheet.mark, read(mark, first, Part::Header));
            self.put_strip(&mut head, sheet.strip, read(strip, first, Part::Header));
            head.shapes.append(&mut page.shapes);
            head.texts.append(&mut page.texts);
            *page = head;
            page.shapes.push(Shape::Rule(SIDE, SIDE + MEASURE, self.foot_top - 6.0, 0.5, RULE));
            let part = read(foot, at + 1 == count, Part::Footer);
            put(page, SIDE, self.foot_top, sheet.foot, &self.foot, part);
            let x = SIDE + MEASURE - number.first().map_or(0.0, |line| line.width);
            put(page, x, self.foot_top, sheet.foot, &number, Part::Footer);
        }
        let heard = |leaf: Option<Leaf>| leaf.map(|leaf| Branch::text(Role::Paragraph, leaf));
        Ok((heard(mark).into_iter().chain(heard(strip)).collect(), heard(foot).into_iter().collect()))
    }

    fn put_mark(&self, page: &mut Page, style: Style, part: Part) {
        let Some(wide) = self.mark.iter().map(|line| line.width).reduce(f32::max) else { return };
        let (x, height) = (SIDE + MEASURE - wide - INSET, self.mark.len() as f32 * style.lead);
        page.shapes.push(Shape::Frame(x - INSET, EDGE - 2.0, wide + 2.0 * INSET, height + 4.0, 0.9, RULE));
        put(page, x, EDGE, style, &self.mark, part);
    }

    fn put_strip(&self, page: &mut Page, style: Style, part: Part) {
        if self.strip.is_empty() {
            return;
        }
        let height = self.strip.len() as f32 * style.lead + INSET;
        page.shapes.push(Shape::Fill(SIDE, self.strip_top, MEASURE, height, GROUND));
        page.shapes.push(Shape::Rule(SIDE, SIDE + MEASURE, self.strip_top + height, 0.9, RULE));
        put(page, SIDE + INSET, self.strip_top + INSET / 2.0, style, &self.strip, part);
    }
}

fn put(page: &mut Page, x: f32, top: f32, style: Style, lines: &[Line], part: Part) {
    for (at, line) in lines.iter().enumerate() {
        let y = top + at as f32 * style.lead + style.rise();
        page.texts.push(Placed { x, y, style, line: line.clone(), part });
    }
}
