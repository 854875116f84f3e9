//! Words to lines: shaping, widths, wrapping.
//!
//! Each word is shaped once and the same glyphs are measured and later drawn, so that what fits here fits on paper.
//! A word longer than the column is cut between characters, never dropped or shrunk.

use std::collections::HashMap;
use std::rc::Rc;

use krilla::text::{GlyphId, KrillaGlyph};
use rustybuzz::ttf_parser::Tag;
use rustybuzz::{Direction, Feature, UnicodeBuffer};
use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

use super::PrintError;
use super::fonts::{FaceId, Faces, Weight};
use super::sheet::Style;

/// A stretch of text in one face, shaped. Advances are in em.
#[derive(Clone, Debug)]
pub struct Run {
    /// Its face.
    pub face: FaceId,
    /// Its text, for those who copy or hear it.
    pub text: String,
    /// Its glyphs, which refer to bytes of `text`.
    pub glyphs: Vec<KrillaGlyph>,
    /// Width in em.
    pub advance: f32,
}

/// One set line.
#[derive(Clone, Debug, Default)]
pub struct Line {
    /// From left to right.
    pub runs: Vec<Run>,
    /// Width in points, without the blank that may end the line.
    pub width: f32,
}

impl Line {
    fn push(&mut self, run: &Run) {
        match self.runs.last_mut().filter(|last| last.face == run.face) {
            Some(last) => {
                let at = last.text.len();
                last.text.push_str(&run.text);
                last.glyphs.extend(run.glyphs.iter().cloned().map(|mut glyph| {
                    glyph.text_range = glyph.text_range.start + at..glyph.text_range.end + at;
                    glyph
                }));
                last.advance += run.advance;
            }
            None => self.runs.push(run.clone()),
        }
    }
}

/// What is set without a break, and what divides it from the piece before.
struct Piece {
    spaced: bool,
    text: String,
    runs: Rc<[Run]>,
}

impl Piece {
    fn width(&self, size: f32) -> f32 {
        self.runs.iter().map(|run| run.advance).sum::<f32>() * size
    }
}

/// Shapes and wraps; remembers the words it has shaped.
pub struct Setter {
    faces: Faces,
    seen: HashMap<(Weight, bool, String), Rc<[Run]>>,
}

impl Setter {
    /// With the faces of the program.
    pub fn new() -> Result<Self, PrintError> {
        Ok(Self { faces: Faces::get()?, seen: HashMap::new() })
    }

    /// The lines of a text no wider than `width`; none for an empty text. A line that goes on after a blank ends with
    /// the blank, so that words do not run together for those who hear the text.
    pub fn wrap(&mut self, text: &str, style: &Style, width: f32) -> Result<Vec<Line>, PrintError> {
        let blank = self.shape(" ", style)?;
        let gap = blank.iter().map(|run| run.advance).sum::<f32>() * style.size;
        let mut lines: Vec<Line> = Vec::new();
        for hard in hard_lines(text) {
            if let Some(before) = lines.last_mut() {
                blank.iter().for_each(|run| before.push(run));
            }
            let mut line = Line::default();
            for piece in self.pieces(&hard, style)? {
                let before = if piece.spaced && !line.runs.is_empty() { gap } else { 0.0 };
                if line.runs.is_empty() || line.width + before + piece.width(style.size) <= width + 0.01 {
                    if before > 0.0 {
                        blank.iter().for_each(|run| line.push(run));
                    }
                    line.width += before;
                } else {
                    if piece.spaced {
                        blank.iter().for_each(|run| line.push(run));
                    }
                    lines.push(std::mem::take(&mut line));
                }
                let parts = if line.width + piece.width(style.size) <= width + 0.01 {
                    vec![piece.runs]
                } else {
                    self.cut(&piece.text, style, width)?
                };
                for (index, part) in parts.iter().enumerate() {
                    if index > 0 {
                        lines.push(std::mem::take(&mut line));
                    }
                    part.iter().for_each(|run| line.push(run));
                    line.width += part.iter().map(|run| run.advance).sum::<f32>() * style.size;
                }
            }
            lines.push(line);
        }
        Ok(lines)
    }

    /// Widths in points: of the longest line as given, and of the longest piece that should not be broken.
    pub fn extent(&mut self, text: &str, style: &Style) -> Result<(f32, f32), PrintError> {
        let mut longest = 0.0_f32;
        let mut piece_most = 0.0_f32;
        for line in self.wrap(text, style, f32::MAX)? {
            longest = longest.max(line.width);
        }
        for hard in hard_lines(text) {
            for piece in self.pieces(&hard, style)? {
                piece_most = piece_most.max(piece.width(style.size));
            }
        }
        Ok((longest, piece_most))
    }

    fn pieces(&mut self, line: &str, style: &Style) -> Result<Vec<Piece>, PrintError> {
        let mut words: Vec<String> = Vec::new();
        for word in line.split([' ', '\t']).filter(|word| !word.is_empty()) {
            match words.last_mut().filter(|before| keeps_together(before, word)) {
                Some(before) => before.extend([" ", word]),
                None => words.push(word.to_owned()),
            }
        }
        let mut pieces = Vec::new();
        for word in &words {
            let mut rest = word.as_str();
            let mut spaced = true;
            while !rest.is_empty() {
                let (text, after) = rest.split_at(break_at(rest));
                pieces.push(Piece { spaced, text: text.to_owned(), runs: self.shape(text, style)? });
                spaced = false;
                rest = after;
            }
        }
        Ok(pieces)
    }

    /// Cuts a word into parts no wider than the column, each at least one character.
    fn cut(&self, word: &str, style: &Style, width: f32) -> Result<Vec<Rc<[Run]>>, PrintError> {
        let mut parts = Vec::new();
        let mut part: Rc<[Run]> = Rc::new([]);
        let mut text = String::new();
        for cluster in clusters(word) {
            text.push_str(cluster);
            let longer = self.shape_anew(&text, style)?;
            let wide = longer.iter().map(|run| run.advance).sum::<f32>() * style.size;
            if wide > width && !part.is_empty() {
                cluster.clone_into(&mut text);
                parts.push(std::mem::replace(&mut part, self.shape_anew(&text, style)?));
            } else {
                part = longer;
            }
        }
        parts.push(part);
        Ok(parts)
    }

    fn shape(&mut self, text: &str, style: &Style) -> Result<Rc<[Run]>, PrintError> {
        let key = (style.weight, style.tabular, text.to_owned());
        if let Some(known) = self.seen.get(&key) {
            return Ok(Rc::clone(known));
        }
        let runs = self.shape_anew(text, style)?;
        self.seen.insert(key, Rc::clone(&runs));
        Ok(runs)
    }

    fn shape_anew(&self, text: &str, style: &Style) -> Result<Rc<[Run]>, PrintError> {
        let faces = self.faces_for(text, style.weight)?;
        Ok(faces.into_iter().map(|(face, part)| self.shape_run(face, part, style.tabular)).collect())
    }

    /// The face of each part of a word: one face for all of it if there is one, else character by character.
    fn faces_for<'t>(&self, text: &'t str, weight: Weight) -> Result<Vec<(FaceId, &'t str)>, PrintError> {
        let chain = Faces::chain(weight);
        if let Some(face) = chain.into_iter().find(|face| self.faces.covers(*face, text)) {
            return Ok(vec![(face, text)]);
        }
        let mut parts = Vec::new();
        for cluster in clusters(text) {
            match chain.into_iter().find(|face| self.faces.covers(*face, cluster)) {
                Some(face) => parts.push((face, cluster)),
                None => return Err(PrintError::Missing(self.first_missing(cluster, chain))),
            }
        }
        Ok(parts)
    }

    fn first_missing(&self, cluster: &str, chain: [FaceId; 3]) -> char {
        let lacking = |c: &char| !chain.into_iter().any(|face| self.faces.covers(face, &c.to_string()));
        cluster.chars().find(lacking).or_else(|| cluster.chars().last()).unwrap_or(' ')
    }

    fn shape_run(&self, face: FaceId, text: &str, tabular: bool) -> Run {
        let shaper = &self.faces.face(face).shaper;
        let em = shaper.units_per_em() as f32;
        let mut buffer = UnicodeBuffer::new();
        buffer.push_str(text);
        buffer.guess_segment_properties();
        buffer.set_direction(Direction::LeftToRight);
        let figures = Feature::new(Tag::from_bytes(b"tnum"), 1, ..);
        let features = if tabular { std::slice::from_ref(&figures) } else { &[] };
        let set = rustybuzz::shape(shaper, features, buffer);
        let starts: Vec<usize> = set.glyph_infos().iter().map(|info| info.cluster as usize).collect();
        let glyphs: Vec<KrillaGlyph> = set
            .glyph_infos()
            .iter()
            .zip(set.glyph_positions())
            .map(|(info, at)| {
                let start = info.cluster as usize;
                // Glyphs of one cluster share its bytes; the next cluster begins where they end.
                let end = starts.iter().copied().filter(|next| *next > start).min().unwrap_or(text.len());
                KrillaGlyph::new(
                    GlyphId::new(info.glyph_id),
                    at.x_advance as f32 / em,
                    at.x_offset as f32 / em,
                    at.y_offset as f32 / em,
                    at.y_advance as f32 / em,
                    start..end,
                    None,
                )
            })
            .collect();
        let advance = glyphs.iter().map(|glyph| glyph.x_advance).sum();
        Run { face, text: text.to_owned(), glyphs, advance }
    }
}

/// The lines as given: composed letters (canonically the same text), line ends of either kind, signs that have no width
/// and only steer line breaking or direction left out. None for an empty text.
fn hard_lines(text: &str) -> Vec<String> {
    if text.trim().is_empty() {
        return Vec::new();
    }
    let composed: String = text.nfc().filter(|c| !steers_only(*c)).collect();
    composed.trim().lines().map(ToOwned::to_owned).collect()
}

/// Soft hyphen, zero-width space and joiners, direction marks, variation selectors, byte order mark: nothing of them is
/// seen on paper.
fn steers_only(c: char) -> bool {
    let direction = matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    direction || matches!(c, '\u{ad}' | '\u{200b}'..='\u{200d}' | '\u{2060}' | '\u{fe00}'..='\u{fe0f}' | '\u{feff}')
}

/// A number is not parted from its unit: "50 mL".
fn keeps_together(before: &str, word: &str) -> bool {
    const UNITS: [&str; 9] = ["mm", "cm", "m", "mL", "ml", "L", "g", "kg", "%"];
    before.ends_with(|c: char| c.is_ascii_digit()) && UNITS.contains(&word.trim_end_matches([',', '.', ';', ':', ')']))
}

/// Where the first piece of a word ends: after a hyphen, dash or stroke between two letters, so that "cut-to-fit" may
/// break and "25-Nov-2026" may not.
fn break_at(word: &str) -> usize {
    let chars: Vec<(usize, char)> = word.char_indices().collect();
    chars
        .windows(3)
        .find(|w| w[0].1.is_alphabetic() && matches!(w[1].1, '-' | '\u{2010}' | '–' | '/') && w[2].1.is_alphabetic())
        .map_or(word.len(), |w| w[2].0)
}

/// Characters with the marks that stand on them.
fn clusters(text: &str) -> Vec<&str> {
    let mut starts: Vec<usize> =
        text.char_indices().filter(|(at, c)| *at == 0 || !is_combining_mark(*c)).map(|(at, _)| at).collect();
    starts.push(text.len());
    starts.windows(2).map(|w| &text[w[0]..w[1]]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::print::TextSize;
    use crate::print::sheet::Sheet;

    /// Whatever the width: no line is wider, and the lines read one after the other are the text.
    #[test]
    fn lines_fit_and_lose_nothing() {
        let text = "Marion Thistlewood-Ọláwálé uses a cut-to-fit 15–45 mm pouch, changed 25-Nov-2026; \
            leakedandthenleakedandthenleakedagainandagain → 50 mL.\nNext line Ñ.";
        let mut setter = Setter::new().unwrap();
        for style in [Sheet::new(TextSize::Usual).body, Sheet::new(TextSize::ClearPrint).strip.tabular()] {
            for width in (12..500).step_by(7) {
                let width = f32::from(u16::try_from(width).unwrap());
                let lines = setter.wrap(text, &style, width).unwrap();
                let read: String = lines.iter().flat_map(|line| &line.runs).map(|run| run.text.as_str()).collect();
                let expected: String = text.replace('\n', " ").nfc().collect();
                assert_eq!(read, expected, "at {width}");
                let most = lines.iter().map(|line| line.width).fold(0.0, f32::max);
                assert!(most <= width + 0.1 || width < 2.0 * style.size, "{most} is over {width}");
            }
        }
    }

    #[test]
    fn glyphs_refer_to_the_text_they_write() {
        let mut setter = Setter::new().unwrap();
        let style = Sheet::new(TextSize::Usual).body;
        for line in setter.wrap("Zoe\u{308} Ngọc 15–45 mm → NGUYỄN e\u{323}\u{301}", &style, 60.0).unwrap() {
            for run in &line.runs {
                let mut covered: Vec<_> = run.glyphs.iter().map(|glyph| glyph.text_range.clone()).collect();
                covered.dedup();
                assert_eq!(covered.first().map(|range| range.start), Some(0));
                assert_eq!(covered.last().map(|range| range.end), Some(run.text.len()));
                assert!(covered.windows(2).all(|pair| pair[0].end == pair[1].start), "{covered:?}");
            }
        }
    }
}
