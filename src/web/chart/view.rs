//! What the macro in `templates/parts/chart.html` reads: positions and prepared texts only.

#![allow(missing_docs, reason = "prepared texts, named as the template reads them")]

/// A chart, ready to be drawn.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Chart {
    /// Id of the figure, unique in the page; its parts are named after it.
    pub id: String,
    /// What is shown, "Skin score".
    pub title: String,
    /// Scale or unit in words, "0 to 15, higher is worse".
    pub unit: String,
    /// The whole picture in words.
    pub description: String,
    pub height: String,
    /// Where the plot begins and how tall it is.
    pub top: String,
    pub plot_height: String,
    pub shaded: Option<ShadedView>,
    pub levels: Vec<Line>,
    pub grid: Vec<Line>,
    pub ticks: Vec<Tick>,
    pub axis_words: String,
    /// Where today lies, if it is on a timeline.
    pub today: Option<String>,
    pub events: Vec<EventView>,
    pub spans: Vec<SpanView>,
    pub series: Vec<SeriesView>,
    pub lanes: Vec<LaneView>,
    /// Kinds of marks used, for the key.
    pub key: Vec<KeyView>,
    /// The same numbers; `None` when the page has its own table, then `table_at` is its id.
    pub table: Option<TableView>,
    pub table_at: String,
    /// What could not be drawn, in words.
    pub notes: Vec<String>,
}

/// A level line with its label.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Line {
    pub y: String,
    pub label: String,
}

/// The one shaded area.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ShadedView {
    pub y: String,
    pub height: String,
    pub label: String,
    pub label_y: String,
}

/// A mark of the time axis.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Tick {
    pub x: String,
    pub label: String,
    /// The year, at its first mark.
    pub below: Option<String>,
    /// Left out where there is little room.
    pub minor: bool,
}

/// An event above the plot.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct EventView {
    pub x: String,
    pub letter: String,
    pub words: String,
    pub on: String,
    pub on_iso: String,
}

/// A stretch of time.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SpanView {
    pub x: String,
    pub width: String,
    pub words: String,
}

/// One series of a plot.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SeriesView {
    /// 1 to 4: colour and symbol.
    pub nth: usize,
    /// Id of the symbol in `parts/defs.html`.
    pub symbol: String,
    pub label: String,
    pub latest: String,
    /// "was 5", or empty.
    pub previous: String,
    pub lines: Vec<Segment>,
    pub bars: Vec<Segment>,
    pub points: Vec<Point>,
    /// Where the label beside the last point stands.
    pub label_y: String,
    pub caption_y: String,
    /// From the last point to its label, where they are apart.
    pub lead: Option<Segment>,
    pub symbol_y: String,
    pub has_symbol: bool,
}

/// A straight line.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Segment {
    pub x1: String,
    pub y1: String,
    pub x2: String,
    pub y2: String,
}

/// A point; `beyond` when the value lies outside the range of the scale and the point at its edge.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Point {
    pub x: String,
    pub y: String,
    pub beyond: bool,
}

/// One lane of a timeline.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LaneView {
    pub label: String,
    pub label_y: String,
    pub y: String,
    pub span_y: String,
    pub spans: Vec<SpanView>,
    pub marks: Vec<MarkView>,
}

/// A mark in a lane.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct MarkView {
    pub x: String,
    /// `done`, `planned`, `booked`, `missed`, `cancelled` or `event`.
    pub kind: String,
    pub words: String,
}

/// A kind of mark in the key; `kind` as in [`MarkView`], or `window`.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct KeyView {
    pub kind: String,
    pub words: String,
}

/// The same numbers as text.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct TableView {
    pub caption: String,
    pub head: Vec<String>,
    pub rows: Vec<RowView>,
    /// Whether the cells are numbers, set to the right.
    pub numbers: bool,
}

/// A row of the table, most recent first.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct RowView {
    pub on: String,
    pub on_iso: String,
    pub cells: Vec<String>,
}
