//! Values over time against a fixed scale.

use super::view::{Chart, Line, Point, RowView, Segment, SeriesView, ShadedView, SpanView, TableView};
use super::{Event, Reading, Span, TimeAxis, events, percent, rem, trimmed};

/// Height of the plot in rem, of the strip of letters above it, and of the time axis under it.
const TALL: f64 = 11.0;
const STRIP: f64 = 1.9;
const HEAD: f64 = 1.2;
const FOOT: f64 = 2.4;
/// Height of a label beside its series: value and name.
const LABEL: f64 = 2.35;
/// A series has one of four symbols and colours; more in one picture cannot be told apart.
const MOST: usize = 4;
const SYMBOLS: [&str; MOST] = ["c-disc", "c-square", "c-triangle", "c-diamond"];

/// The fixed range of a scale, marked at round numbers (GTAB-072: it is never stretched to fit the values).
#[derive(Debug, Clone, PartialEq)]
pub struct Scale {
    from: f64,
    to: f64,
    step: f64,
    /// In words, "0 to 15, higher is worse".
    words: String,
}

impl Scale {
    /// A range with a mark every `step`, and the scale in words. Ends in the wrong order are put in order; a step that
    /// does not lead upwards marks the two ends.
    pub fn new(from: f64, to: f64, step: f64, words: impl Into<String>) -> Self {
        let (from, to) = (from.min(to), from.max(to));
        let to = if to > from { to } else { from + 1.0 };
        let step = if step > 0.0 && (to - from) / step <= 20.0 { step } else { to - from };
        Self { from, to, step, words: words.into() }
    }

    /// A range for counts from 0 to the first of 10, 20, 50, 100 … that holds `limit`. Take the limit from what is fixed
    /// (the slots of a week, the largest count of all the pages that are compared), not from the values of one picture.
    pub fn counts(limit: u32, words: impl Into<String>) -> Self {
        let mut to = 10_u32;
        let mut factors = [2_u32, 5, 2].into_iter().cycle();
        // 10, 20, 50 (×2.5), 100: kept in whole numbers as 10 → 20 → 50 → 100.
        while to < limit {
            to = match factors.next() {
                Some(5) => to / 2 * 5,
                _ => to.saturating_mul(2),
            };
        }
        Self::new(0.0, f64::from(to), f64::from(to) / 5.0, words)
    }

    /// How far below the top a value lies, and whether it lies outside the range.
    fn y(&self, value: f64) -> (f64, bool) {
        let inside = value.clamp(self.from, self.to);
        let beyond = (value - inside).abs() > f64::EPSILON;
        ((self.to - inside) / (self.to - self.from) * TALL, beyond)
    }

    fn marks(&self) -> Vec<f64> {
        let next = |at: &f64| Some(at + self.step);
        std::iter::successors(Some(self.from), next).take_while(|at| *at <= self.to + 1e-9).collect()
    }
}

/// How a series is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Draw {
    /// Points joined by thin straight lines: what was observed (GTAB-166, 170).
    #[default]
    Points,
    /// Thin bars from the foot: counts of a week.
    Bars,
    /// A line without points: what is planned or available, such as slots.
    Line,
}

/// One series.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    label: String,
    draw: Draw,
    readings: Vec<Reading>,
}

impl Series {
    /// A series with the label that stands beside it; keep it under 14 letters. Order does not matter.
    pub fn new(label: impl Into<String>, draw: Draw, readings: Vec<Reading>) -> Self {
        let mut readings = readings;
        readings.sort_by_key(|reading| reading.day.number);
        Self { label: label.into(), draw, readings }
    }
}

/// Values over time. Make one with [`Plot::new`], add to it, and [`Plot::draw`] it.
#[derive(Debug, Clone)]
pub struct Plot {
    id: String,
    title: String,
    axis: TimeAxis,
    scale: Scale,
    series: Vec<Series>,
    shaded: Option<(f64, f64, String)>,
    levels: Vec<(f64, String)>,
    events: Vec<Event>,
    spans: Vec<Span>,
    table_at: String,
    missing: String,
    notes: Vec<String>,
}

impl Plot {
    /// An empty plot. `id` is unique in the page, letters and hyphens.
    pub fn new(id: impl Into<String>, title: impl Into<String>, axis: TimeAxis, scale: Scale) -> Self {
        Self {
            id: id.into(),
            title: title.into(),
            axis,
            scale,
            series: Vec::new(),
            shaded: None,
            levels: Vec::new(),
            events: Vec::new(),
            spans: Vec::new(),
            table_at: String::new(),
            missing: "Not recorded".to_owned(),
            notes: Vec::new(),
        }
    }

    /// Adds a series: at most four.
    #[must_use]
    pub fn series(mut self, series: Series) -> Self {
        self.series.push(series);
        self
    }

    /// Shades the one area of values from one to another; its label names whose range it is (GTAB-174 to 183).
    #[must_use]
    pub fn shaded(mut self, from: f64, to: f64, label: impl Into<String>) -> Self {
        self.shaded = Some((from, to, label.into()));
        self
    }

    /// Draws a dashed line at a value, with a label at its left end: a limit of a band.
    #[must_use]
    pub fn level(mut self, at: f64, label: impl Into<String>) -> Self {
        self.levels.push((at, label.into()));
        self
    }

    /// Marks events on the time axis.
    #[must_use]
    pub fn events(mut self, events: Vec<Event>) -> Self {
        self.events = events;
        self
    }

    /// Marks stretches of time under the values.
    #[must_use]
    pub fn spans(mut self, spans: Vec<Span>) -> Self {
        self.spans = spans;
        self
    }

    /// The page has its own table of the same numbers, at this id; else the chart makes one.
    #[must_use]
    pub fn table_at(mut self, id: impl Into<String>) -> Self {
        self.table_at = id.into();
        self
    }

    /// Words for a value that is missing, "Not asked".
    #[must_use]
    pub fn missing(mut self, words: impl Into<String>) -> Self {
        self.missing = words.into();
        self
    }

    /// Adds a sentence under the picture, such as where the limits of its shaded area come from.
    #[must_use]
    pub fn note(mut self, words: impl Into<String>) -> Self {
        self.notes.push(words.into());
        self
    }

    /// Positions and texts.
    pub fn draw(self) -> Chart {
        let (events, outside) = events(&self.axis, &self.events);
        let top = if events.is_empty() { HEAD } else { STRIP };
        let mut notes = self.notes.clone();
        if self.series.len() > MOST {
            notes.push(format!("Only the first {MOST} series are drawn; the table holds all."));
        }
        if outside > 0 {
            notes.push(format!("{} outside the time shown.", crate::display::counted(outside, "event")));
        }
        let mut series: Vec<SeriesView> = Vec::new();
        for (nth, given) in self.series.iter().take(MOST).enumerate() {
            series.push(self.one_series(nth, given, &mut notes));
        }
        let wanted: Vec<f64> = self.series.iter().take(MOST).map(|s| self.last_y(s)).collect();
        place_labels(&mut series, &wanted);
        Chart {
            description: self.description(),
            id: self.id.clone(),
            title: self.title.clone(),
            unit: self.scale.words.clone(),
            height: rem(top + TALL + FOOT),
            top: rem(top),
            plot_height: rem(TALL),
            shaded: self.shaded.as_ref().map(|(from, to, label)| self.shade(*from, *to, label)),
            levels: self.levels.iter().map(|(at, label)| self.line(*at, label.clone())).collect(),
            grid: self.scale.marks().into_iter().map(|at| self.line(at, trimmed(at, 1))).collect(),
            ticks: self.axis.ticks(),
            axis_words: self.axis.words.clone(),
            today: None,
            spans: self.spans.iter().filter_map(|span| span_view(&self.axis, span)).collect(),
            table: self.table_at.is_empty().then(|| self.table()),
            table_at: self.table_at.clone(),
            events,
            series,
            notes,
            ..Chart::default()
        }
    }

    fn line(&self, at: f64, label: String) -> Line {
        Line { y: rem(self.scale.y(at).0), label }
    }

    fn shade(&self, from: f64, to: f64, label: &str) -> ShadedView {
        let (top, foot) = (self.scale.y(from.max(to)).0, self.scale.y(from.min(to)).0);
        ShadedView { y: rem(top), height: rem(foot - top), label: label.to_owned(), label_y: rem(top + 0.9) }
    }

    fn last_y(&self, series: &Series) -> f64 {
        let last = series.readings.iter().rev().filter(|r| self.axis.holds(&r.day)).find_map(|r| r.value);
        last.map_or(TALL, |value| self.scale.y(value).0)
    }

    fn one_series(&self, nth: usize, given: &Series, notes: &mut Vec<String>) -> SeriesView {
        let on_axis: Vec<&Reading> = given.readings.iter().filter(|r| self.axis.holds(&r.day)).collect();
        let known = given.readings.iter().filter(|r| r.value.is_some());
        let missed = known.filter(|r| !self.axis.holds(&r.day)).count();
        if missed > 0 {
            let values = crate::display::counted(missed, "value");
            notes.push(format!("{}: {values} outside the time shown; the table holds all.", given.label));
        }
        let mut view = SeriesView { nth: nth + 1, label: given.label.clone(), ..SeriesView::default() };
        view.symbol = SYMBOLS[nth.min(MOST - 1)].to_owned();
        view.has_symbol = given.draw == Draw::Points;
        let mut before: Option<(f64, f64)> = None;
        for reading in on_axis {
            let Some(value) = reading.value else {
                before = None; // a line across what was not asked would claim to know it
                continue;
            };
            let (x, (y, beyond)) = (self.axis.x(&reading.day), self.scale.y(value));
            if beyond {
                notes.push(format!("{} on {} lies outside the range drawn.", trimmed(value, 1), reading.day.words));
            }
            match (given.draw, before) {
                (Draw::Bars, _) => view.bars.push(segment((x, TALL), (x, y))),
                (_, Some(before)) => view.lines.push(segment(before, (x, y))),
                _ => {}
            }
            if given.draw == Draw::Points {
                view.points.push(Point { x: percent(x), y: rem(y), beyond });
            }
            before = Some((x, y));
        }
        let mut latest = given.readings.iter().rev().filter_map(|r| r.value).map(|v| trimmed(v, 1));
        view.latest = latest.next().unwrap_or_else(|| self.missing.clone());
        view.previous = latest.next().map_or_else(String::new, |value| format!("was {value}"));
        view
    }

    /// What the picture shows, for who cannot see it.
    fn description(&self) -> String {
        let mut said = vec![format!("{}, {}, {}.", self.title, self.scale.words, self.axis.reach)];
        for series in &self.series {
            let known: Vec<&Reading> = series.readings.iter().filter(|r| r.value.is_some()).collect();
            let at = |r: &&Reading| format!("{} on {}", trimmed(r.value.unwrap_or(0.0), 1), r.day.words);
            let words = match known.as_slice() {
                [] => "no value".to_owned(),
                [only] => format!("one value, {}", at(only)),
                [.., before, last] => {
                    format!("{} values, the latest {}, before it {}", known.len(), at(last), at(before))
                }
            };
            said.push(format!("{}: {words}.", series.label));
        }
        said.extend(self.shaded.as_ref().map(|(_, _, label)| format!("Shaded: {label}.")));
        said.push("The same numbers stand in the table.".to_owned());
        said.join(" ")
    }

    /// The same numbers, most recent at the top (GTAB-189).
    fn table(&self) -> TableView {
        let mut days: Vec<&super::Day> = self.series.iter().flat_map(|s| s.readings.iter().map(|r| &r.day)).collect();
        days.sort();
        days.dedup();
        // Series with as many values at one day as it was measured: each its own row, in the order given.
        let times = |series: &Series, day: &super::Day| series.readings.iter().filter(|r| r.day == *day).count();
        let mut rows = Vec::new();
        for day in days.into_iter().rev() {
            let most = self.series.iter().map(|s| times(s, day)).max().unwrap_or(0);
            for nth in (0..most).rev() {
                let cell = |series: &Series| {
                    let value = series.readings.iter().filter(|r| r.day == *day).nth(nth).and_then(|r| r.value);
                    value.map_or_else(|| self.missing.clone(), |value| trimmed(value, 1))
                };
                let cells = self.series.iter().map(cell).collect();
                rows.push(RowView { on: day.words.clone(), on_iso: day.iso.clone(), cells });
            }
        }
        let head = std::iter::once("Date".to_owned()).chain(self.series.iter().map(|s| s.label.clone())).collect();
        TableView { caption: format!("{}, {}", self.title, self.scale.words), head, rows, numbers: true }
    }
}

fn segment(from: (f64, f64), to: (f64, f64)) -> Segment {
    Segment { x1: percent(from.0), y1: rem(from.1), x2: percent(to.0), y2: rem(to.1) }
}

/// A stretch of time as the template draws it.
pub(super) fn span_view(axis: &TimeAxis, span: &Span) -> Option<SpanView> {
    let (x, width) = axis.stretch(&span.from, &span.to)?;
    let words = format!("{}, {} to {}", span.words, span.from.words, span.to.words);
    Some(SpanView { x: percent(x), width: percent(width.max(0.4)), words })
}

/// Labels stand beside the ends of their series (GTAB "label next to series") and never on one another: from the top
/// down each is pushed below the one before, then the whole stack is pushed back up into the plot.
fn place_labels(series: &mut [SeriesView], wanted: &[f64]) {
    let mut order: Vec<usize> = (0..series.len()).collect();
    order.sort_by(|a, b| wanted[*a].total_cmp(&wanted[*b]));
    let mut places = settle(&order.iter().map(|nth| wanted[*nth]).collect::<Vec<_>>(), LABEL, TALL);
    places.reverse();
    for nth in order {
        let (Some(place), Some(view)) = (places.pop(), series.get_mut(nth)) else { continue };
        view.label_y = rem(place + 0.1);
        view.caption_y = rem(place + 1.05);
        view.symbol_y = rem(place - 0.2);
        if (place - wanted[nth]).abs() > 0.6 {
            view.lead = Some(Segment { y1: rem(wanted[nth]), y2: rem(place - 0.2), ..Segment::default() });
        }
    }
}

/// Heights at least `gap` apart and within 0 to `tall` where they fit, near those wanted (given from the top down).
pub(super) fn settle(wanted: &[f64], gap: f64, tall: f64) -> Vec<f64> {
    let mut placed: Vec<f64> = Vec::new();
    for want in wanted {
        let low = placed.last().map_or(0.0, |before| before + gap);
        placed.push(want.max(low));
    }
    let mut high = tall;
    for place in placed.iter_mut().rev() {
        *place = place.min(high);
        high = *place - gap;
    }
    placed
}
