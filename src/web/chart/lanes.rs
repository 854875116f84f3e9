//! What happened and what is planned, on lanes under one time axis: a patient's reviews, the steps of a protocol.

use super::plot::span_view;
use super::view::{Chart, KeyView, LaneView, MarkView, RowView, TableView};
use super::{Day, Event, Span, TimeAxis, events, percent, rem};

/// Height of a lane in rem, and where its label, line and windows lie in it.
const LANE: f64 = 2.9;
const LABEL: f64 = 0.9;
const LINE: f64 = 1.85;
const WINDOW: f64 = 1.35;
const STRIP: f64 = 1.9;
const HEAD: f64 = 0.4;
const FOOT: f64 = 2.4;

/// What a mark says. Each has its own shape; colour only helps (GTAB-002, 161).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum MarkKind {
    /// It took place.
    Done,
    /// Planned, no date given to the patient yet.
    Planned,
    /// A date is booked.
    Booked,
    /// It was missed.
    Missed,
    /// It was called off, or is not needed.
    Cancelled,
    /// Something that happened: surgery, discharge.
    Event,
}

impl MarkKind {
    /// Key of the class and of the symbol `m-…` in `parts/defs.html`.
    pub fn key(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::Planned => "planned",
            Self::Booked => "booked",
            Self::Missed => "missed",
            Self::Cancelled => "cancelled",
            Self::Event => "event",
        }
    }

    /// The word in key and table.
    pub fn word(self) -> &'static str {
        match self {
            Self::Done => "took place",
            Self::Planned => "planned",
            Self::Booked => "booked",
            Self::Missed => "missed",
            Self::Cancelled => "called off",
            Self::Event => "event",
        }
    }
}

/// One mark.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mark {
    day: Day,
    kind: MarkKind,
    words: String,
}

impl Mark {
    /// A mark on a day; `words` say what, "6 week review".
    pub fn new(day: impl Into<Day>, kind: MarkKind, words: impl Into<String>) -> Self {
        Self { day: day.into(), kind, words: words.into() }
    }
}

/// One lane: marks, and windows behind them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lane {
    label: String,
    marks: Vec<Mark>,
    spans: Vec<Span>,
}

impl Lane {
    /// A lane.
    pub fn new(label: impl Into<String>, marks: Vec<Mark>, spans: Vec<Span>) -> Self {
        Self { label: label.into(), marks, spans }
    }
}

/// Lanes under one time axis.
#[derive(Debug, Clone)]
pub struct Timeline {
    id: String,
    title: String,
    axis: TimeAxis,
    lanes: Vec<Lane>,
    events: Vec<Event>,
    today: Option<Day>,
    table_at: String,
}

impl Timeline {
    /// An empty timeline. `id` is unique in the page, letters and hyphens.
    pub fn new(id: impl Into<String>, title: impl Into<String>, axis: TimeAxis) -> Self {
        let (id, title) = (id.into(), title.into());
        Self { id, title, axis, lanes: Vec::new(), events: Vec::new(), today: None, table_at: String::new() }
    }

    /// Adds a lane under those before.
    #[must_use]
    pub fn lane(mut self, lane: Lane) -> Self {
        self.lanes.push(lane);
        self
    }

    /// Marks events across all lanes.
    #[must_use]
    pub fn events(mut self, events: Vec<Event>) -> Self {
        self.events = events;
        self
    }

    /// Draws a line at today.
    #[must_use]
    pub fn today(mut self, day: impl Into<Day>) -> Self {
        self.today = Some(day.into());
        self
    }

    /// The page has its own table of the same facts, at this id; else the timeline makes one.
    #[must_use]
    pub fn table_at(mut self, id: impl Into<String>) -> Self {
        self.table_at = id.into();
        self
    }

    /// Positions and texts.
    pub fn draw(self) -> Chart {
        let (events, mut outside) = events(&self.axis, &self.events);
        let strip = !events.is_empty() || self.today.is_some();
        let top = if strip { STRIP } else { HEAD };
        #[allow(clippy::cast_precision_loss, reason = "a few lanes")]
        let tall = self.lanes.len() as f64 * LANE;
        let mut kinds: Vec<MarkKind> = Vec::new();
        let mut lanes = Vec::new();
        for (nth, lane) in self.lanes.iter().enumerate() {
            #[allow(clippy::cast_precision_loss, reason = "a few lanes")]
            let at = nth as f64 * LANE;
            let inside: Vec<&Mark> = lane.marks.iter().filter(|mark| self.axis.holds(&mark.day)).collect();
            outside += lane.marks.len() - inside.len();
            kinds.extend(inside.iter().map(|mark| mark.kind));
            lanes.push(LaneView {
                label: lane.label.clone(),
                label_y: rem(at + LABEL),
                y: rem(at + LINE),
                span_y: rem(at + WINDOW),
                spans: lane.spans.iter().filter_map(|span| span_view(&self.axis, span)).collect(),
                marks: inside.into_iter().map(|mark| self.mark(mark)).collect(),
            });
        }
        kinds.sort();
        kinds.dedup();
        let note = format!("{} outside the time shown; the table holds all.", crate::display::counted(outside, "mark"));
        let windows = lanes.iter().any(|lane| !lane.spans.is_empty());
        let entry = |kind: &str, words: &str| KeyView { kind: kind.to_owned(), words: words.to_owned() };
        let window = windows.then(|| entry("window", "window"));
        let keys = kinds.iter().map(|kind| entry(kind.key(), kind.word()));
        Chart {
            description: self.description(),
            id: self.id.clone(),
            title: self.title.clone(),
            height: rem(top + tall + FOOT),
            top: rem(top),
            plot_height: rem(tall),
            ticks: self.axis.ticks(),
            axis_words: self.axis.words.clone(),
            today: self.today.as_ref().filter(|day| self.axis.holds(day)).map(|day| percent(self.axis.x(day))),
            key: keys.chain(window).collect(),
            table: self.table_at.is_empty().then(|| self.table()),
            table_at: self.table_at.clone(),
            notes: if outside > 0 { vec![note] } else { Vec::new() },
            events,
            lanes,
            ..Chart::default()
        }
    }

    fn mark(&self, mark: &Mark) -> MarkView {
        MarkView {
            x: percent(self.axis.x(&mark.day)),
            kind: mark.kind.key().to_owned(),
            words: format!("{}, {}, {}", mark.words, mark.kind.word(), mark.day.words),
        }
    }

    fn description(&self) -> String {
        let mut said = vec![format!("{}, {}.", self.title, self.axis.reach)];
        for lane in &self.lanes {
            let mut kinds: Vec<MarkKind> = lane.marks.iter().map(|mark| mark.kind).collect();
            kinds.sort();
            let mut counts: Vec<(MarkKind, usize)> = Vec::new();
            for kind in kinds {
                match counts.last_mut() {
                    Some((last, count)) if *last == kind => *count += 1,
                    _ => counts.push((kind, 1)),
                }
            }
            let words: Vec<String> = counts.iter().map(|(kind, n)| format!("{n} {}", kind.word())).collect();
            let words = if words.is_empty() { "nothing".to_owned() } else { words.join(", ") };
            said.push(format!("{}: {words}.", lane.label));
        }
        said.push("The same facts stand in the table.".to_owned());
        said.join(" ")
    }

    /// The same facts, most recent at the top (GTAB-189).
    fn table(&self) -> TableView {
        let mut rows: Vec<(Day, [String; 3])> = Vec::new();
        for lane in &self.lanes {
            for mark in &lane.marks {
                let cells = [mark.words.clone(), mark.kind.word().to_owned(), lane.label.clone()];
                rows.push((mark.day.clone(), cells));
            }
            for span in &lane.spans {
                let words = format!("{}, until {}", span.words, span.to.words);
                rows.push((span.from.clone(), [words, "window".to_owned(), lane.label.clone()]));
            }
        }
        rows.extend(self.events.iter().map(|event| {
            let cells = [event.words.clone(), MarkKind::Event.word().to_owned(), "All".to_owned()];
            (event.day.clone(), cells)
        }));
        rows.sort_by_key(|row| std::cmp::Reverse(row.0.number));
        let row = |(day, cells): (Day, [String; 3])| RowView { on: day.words, on_iso: day.iso, cells: cells.into() };
        let head = ["When", "What", "State", "Lane"].map(str::to_owned).to_vec();
        TableView { caption: self.title.clone(), head, rows: rows.into_iter().map(row).collect(), numbers: false }
    }
}
