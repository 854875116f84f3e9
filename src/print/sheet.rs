//! The style sheet: page, margins, sizes and greys. Lengths are points (1/72 inch), y runs down the page.
//!
//! Greys only, for office printers: text is never lighter than a contrast of 7:1 on white. Nothing here places anything.

use super::TextSize;
use super::fonts::Weight;

/// Points in a millimetre.
pub const MM: f32 = 72.0 / 25.4;
/// A4 (ISO 216: 210 by 297 mm).
pub const PAGE: (f32, f32) = (210.0 * MM, 297.0 * MM);
/// Left and right margin.
pub const SIDE: f32 = 20.0 * MM;
/// Width of the text.
pub const MEASURE: f32 = PAGE.0 - 2.0 * SIDE;
/// Grey levels, 0 black to 255 white.
pub const INK: u8 = 0;
/// Labels and the footer: 7.1:1 on white.
pub const QUIET: u8 = 88;
/// Hairlines between rows.
pub const HAIR: u8 = 190;
/// Rules that close something.
pub const RULE: u8 = 70;
/// Ground of strip and note.
pub const GROUND: u8 = 240;

/// How a text is set.
#[derive(Clone, Copy, Debug)]
pub struct Style {
    /// Regular or bold.
    pub weight: Weight,
    /// Size of the type.
    pub size: f32,
    /// From one baseline to the next.
    pub lead: f32,
    /// Grey level.
    pub luma: u8,
    /// Figures all of one width, for columns of numbers.
    pub tabular: bool,
}

impl Style {
    const fn new(weight: Weight, size: f32, lead: f32, luma: u8) -> Self {
        Self { weight, size, lead, luma, tabular: false }
    }

    /// From the top of a line to its baseline: the type (0.984 em above, 0.316 em below the baseline in the first face)
    /// stands in the middle of the line.
    pub fn rise(&self) -> f32 {
        (self.lead - 1.3 * self.size) / 2.0 + 0.984 * self.size
    }

    /// The same with figures of one width.
    pub fn tabular(mut self) -> Self {
        self.tabular = true;
        self
    }
}

/// The styles of a document.
#[derive(Clone, Copy, Debug)]
pub struct Sheet {
    /// Running text, values, table cells.
    pub body: Style,
    /// Labels of facts.
    pub label: Style,
    /// Table heads.
    pub head: Style,
    /// Captions of tables.
    pub caption: Style,
    /// Labels under signature lines.
    pub small: Style,
    /// Footer.
    pub foot: Style,
    /// Identity strip.
    pub strip: Style,
    /// Boxed mark.
    pub mark: Style,
    /// Facts stand two abreast.
    pub abreast: bool,
    headings: [Style; 4],
}

impl Sheet {
    /// The sheet for a text size.
    pub fn new(size: TextSize) -> Self {
        use Weight::{Bold, Regular};
        match size {
            TextSize::Usual => Self {
                body: Style::new(Regular, 10.0, 14.0, INK),
                label: Style::new(Regular, 10.0, 14.0, QUIET),
                head: Style::new(Bold, 9.0, 12.0, INK),
                caption: Style::new(Bold, 10.0, 14.0, INK),
                small: Style::new(Regular, 8.5, 11.5, QUIET),
                foot: Style::new(Regular, 8.0, 11.0, QUIET),
                strip: Style::new(Bold, 10.5, 14.5, INK),
                mark: Style::new(Bold, 8.5, 11.5, INK),
                abreast: true,
                headings: [
                    Style::new(Bold, 18.0, 23.0, INK),
                    Style::new(Bold, 12.5, 17.0, INK),
                    Style::new(Bold, 10.5, 14.5, INK),
                    Style::new(Bold, 10.0, 14.0, QUIET),
                ],
            },
            TextSize::ClearPrint => Self {
                body: Style::new(Regular, 14.0, 21.0, INK),
                label: Style::new(Regular, 14.0, 21.0, QUIET),
                head: Style::new(Bold, 13.0, 18.0, INK),
                caption: Style::new(Bold, 14.0, 21.0, INK),
                small: Style::new(Regular, 12.0, 17.0, QUIET),
                foot: Style::new(Regular, 12.0, 17.0, QUIET),
                strip: Style::new(Bold, 13.0, 18.0, INK),
                mark: Style::new(Bold, 12.0, 16.0, INK),
                abreast: false,
                headings: [
                    Style::new(Bold, 23.0, 30.0, INK),
                    Style::new(Bold, 18.0, 25.0, INK),
                    Style::new(Bold, 15.0, 21.0, INK),
                    Style::new(Bold, 14.0, 21.0, QUIET),
                ],
            },
            TextSize::LargePrint => Self {
                body: Style::new(Regular, 18.0, 27.0, INK),
                label: Style::new(Regular, 18.0, 27.0, QUIET),
                head: Style::new(Bold, 17.0, 23.0, INK),
                caption: Style::new(Bold, 18.0, 27.0, INK),
                small: Style::new(Regular, 16.0, 22.0, QUIET),
                foot: Style::new(Regular, 16.0, 21.0, QUIET),
                strip: Style::new(Bold, 16.0, 22.0, INK),
                mark: Style::new(Bold, 16.0, 21.0, INK),
                abreast: false,
                headings: [
                    Style::new(Bold, 27.0, 34.0, INK),
                    Style::new(Bold, 22.0, 30.0, INK),
                    Style::new(Bold, 19.0, 27.0, INK),
                    Style::new(Bold, 18.0, 27.0, QUIET),
                ],
            },
        }
    }

    /// Style of a heading: level 1 is the title, 4 the deepest.
    pub fn heading(&self, level: u8) -> Style {
        self.headings[usize::from(level.clamp(1, 4)) - 1]
    }

    /// The longest line of running text: about 80 characters of usual size, so that the eye finds the next line.
    pub fn column(&self) -> f32 {
        (self.body.size * 41.0).min(MEASURE)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// UK Association for Accessible Formats, G003, 2019: no text under 12 point, 14 recommended; large print from 16
    /// (RNIB, Clear Print guidelines).
    #[test]
    fn clear_print_is_never_small() {
        for (size, least, body) in [(TextSize::ClearPrint, 12.0, 14.0), (TextSize::LargePrint, 16.0, 16.0)] {
            let sheet = Sheet::new(size);
            let all =
                [sheet.body, sheet.label, sheet.head, sheet.caption, sheet.small, sheet.foot, sheet.strip, sheet.mark];
            assert!(all.iter().chain(&sheet.headings).all(|style| style.size >= least));
            assert!(sheet.body.size >= body && sheet.body.lead >= 1.5 * sheet.body.size);
        }
    }

    /// WCAG 2.2, 1.4.6: text against its ground at least 7:1 (formula of relative luminance as given there).
    #[test]
    fn greys_stand_out() {
        let light = |level: u8| {
            let part = f64::from(level) / 255.0;
            if part <= 0.04045 { part / 12.92 } else { ((part + 0.055) / 1.055).powf(2.4) }
        };
        assert!((light(255) + 0.05) / (light(QUIET) + 0.05) >= 7.0);
        assert!((light(GROUND) + 0.05) / (light(INK) + 0.05) >= 7.0);
    }
}
