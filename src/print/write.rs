//! Set pages to bytes: the only file that talks to the PDF writer about pages.
//!
//! Both validators are on, PDF/A-2a (ISO 19005-2) and PDF/UA-1 (ISO 14289-1): the writer refuses to give bytes when a
//! rule that a program can check is broken.

use chrono::{Datelike, Timelike};
use krilla::color::luma;
use krilla::configure::{Accessibility, Archival, ConfigurationBuilder};
use krilla::destination::XyzDestination;
use krilla::error::KrillaError;
use krilla::geom::{PathBuilder, Point, Rect};
use krilla::metadata::{DateTime, Metadata};
use krilla::num::NormalizedF32;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::{Fill, Stroke};
use krilla::surface::Surface;
use krilla::tagging::{Artifact, ArtifactType, ContentTag, SpanTag};
use krilla::{Document as Pdf, SerializeSettings};

use super::flow::{Laid, Mark, Page, Part, Placed, Shape};
use super::fonts::Faces;
use super::sheet::{PAGE, SIDE};
use super::tags::{self, Marks};
use super::{Document, PrintError};

/// The bytes of the document.
pub fn write(document: &Document, laid: Laid) -> Result<Vec<u8>, PrintError> {
    let refused = |what: &str| PrintError::Writer(what.to_owned());
    let configuration = ConfigurationBuilder::new()
        .with_archival_validator(Archival::A2_A)
        .with_accessibility_validator(Accessibility::UA1)
        .finish()
        .map_err(|_| refused("PDF/A-2a and PDF/UA-1 do not go together"))?;
    let settings = SerializeSettings { configuration, enable_tagging: true, ..Default::default() };
    let mut pdf = Pdf::new_with(settings);
    let faces = Faces::get()?;
    let mut marks = Marks::new(laid.leaves);
    for page in &laid.pages {
        let size = PageSettings::from_wh(PAGE.0, PAGE.1).ok_or_else(|| refused("the page has no size"))?;
        let mut sheet = pdf.start_page_with(size);
        let mut surface = sheet.surface();
        draw(&mut surface, page, faces, &mut marks);
        surface.finish();
        sheet.finish();
    }
    pdf.set_tag_tree(tags::tree(&document.language, laid.tree, marks));
    pdf.set_outline(outline(&laid.marks));
    pdf.set_metadata(
        Metadata::new()
            .title(document.title.trim().to_owned())
            .language(document.language.trim().to_owned())
            .creator("Roundel".to_owned())
            .creation_date(date(document)?),
    );
    pdf.finish().map_err(|error| match error {
        KrillaError::Validation(found) => PrintError::Writer(format!("{found:?}")),
        other => PrintError::Writer(other.to_string()),
    })
}

fn date(document: &Document) -> Result<DateTime, PrintError> {
    let made = document.created;
    let year = u16::try_from(made.year()).ok().filter(|year| (1..=9999).contains(year));
    // The other parts of a time are below 60.
    let part = |n: u32| u8::try_from(n).unwrap_or(0);
    Ok(DateTime::new(year.ok_or(PrintError::Year(made.year()))?)
        .month(part(made.month()))
        .day(part(made.day()))
        .hour(part(made.hour()))
        .minute(part(made.minute()))
        .second(part(made.second())))
}

fn draw(surface: &mut Surface, page: &Page, faces: Faces, marks: &mut Marks) {
    surface.start_tagged(artifact(ArtifactType::Layout));
    for shape in &page.shapes {
        draw_shape(surface, *shape);
    }
    surface.end_tagged();
    surface.set_stroke(None);
    for texts in page.texts.chunk_by(|a, b| a.part == b.part) {
        let Some(first) = texts.first() else { continue };
        let tag = match first.part {
            Part::Leaf(_) => ContentTag::Span(SpanTag::empty()),
            Part::Header => artifact(ArtifactType::Header),
            Part::Footer => artifact(ArtifactType::Footer),
            Part::Repeat => artifact(ArtifactType::PaginationOther),
        };
        let place = surface.start_tagged(tag);
        if let Part::Leaf(leaf) = first.part {
            marks.add(leaf, place);
        }
        for text in texts {
            draw_text(surface, text, faces);
        }
        surface.end_tagged();
    }
}

fn artifact<'a>(kind: ArtifactType) -> ContentTag<'a> {
    ContentTag::Artifact(Artifact::with_kind(kind))
}

fn grey(level: u8) -> Fill {
    Fill { paint: luma::Color::new(level).into(), opacity: NormalizedF32::ONE, ..Default::default() }
}

fn draw_text(surface: &mut Surface, text: &Placed, faces: Faces) {
    surface.set_fill(Some(grey(text.style.luma)));
    let mut x = text.x;
    for run in &text.line.runs {
        let font = faces.face(run.face).font.clone();
        surface.draw_glyphs(Point::from_xy(x, text.y), &run.glyphs, font, &run.text, text.style.size, false);
        x += run.advance * text.style.size;
    }
}

fn draw_shape(surface: &mut Surface, shape: Shape) {
    let stroke = |width: f32, level: u8| Stroke { paint: luma::Color::new(level).into(), width, ..Default::default() };
    let mut path = PathBuilder::new();
    match shape {
        Shape::Fill(left, top, width, height, level) => {
            if let Some(rect) = Rect::from_xywh(left, top, width, height) {
                path.push_rect(rect);
            }
            surface.set_stroke(None);
            surface.set_fill(Some(grey(level)));
        }
        Shape::Frame(left, top, width, height, thick, level) => {
            if let Some(rect) = Rect::from_xywh(left, top, width, height) {
                path.push_rect(rect);
            }
            surface.set_fill(None);
            surface.set_stroke(Some(stroke(thick, level)));
        }
        Shape::Rule(left, right, y, thick, level) => {
            path.move_to(left, y);
            path.line_to(right, y);
            surface.set_fill(None);
            surface.set_stroke(Some(stroke(thick, level)));
        }
    }
    if let Some(path) = path.finish() {
        surface.draw_path(&path);
    }
}

/// The headings as a tree of bookmarks; the title is the first and holds the others.
fn outline(marks: &[Mark]) -> Outline {
    let mut outline = Outline::new();
    for node in branches(marks) {
        outline.push_child(node);
    }
    outline
}

fn branches(marks: &[Mark]) -> Vec<OutlineNode> {
    let mut nodes = Vec::new();
    let mut rest = marks;
    while let Some((first, after)) = rest.split_first() {
        let inner = after.iter().take_while(|mark| mark.level > first.level).count();
        let place = XyzDestination::new(first.page, Point::from_xy(SIDE, first.y));
        let mut node = OutlineNode::new(first.text.clone(), place);
        for child in branches(&after[..inner]) {
            node.push_child(child);
        }
        nodes.push(node);
        rest = &after[inner..];
    }
    nodes
}
