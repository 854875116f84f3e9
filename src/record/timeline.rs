//! A patient's time with a stoma as a picture: what was done, missed and planned with its windows, appliance lists, and
//! under the same axis the scores. It draws what the record holds and decides nothing.

use chrono::{Datelike, Months, NaiveDate};

use crate::display;
use crate::follow_up::store::Review;
use crate::skin::store::AssessmentRow;
use crate::stomas::store::Stoma;
use crate::supplies::store::Prescription;
use crate::web::chart::{
    Chart, Draw, Event, Lane, Mark, MarkKind, Plot, Reading, Scale, Series, Span, TimeAxis, Timeline,
};

/// Years looked back and months looked ahead; what lies outside stands in the table.
const YEARS_BACK: i32 = 3;
const MONTHS_AHEAD: u32 = 14;

/// Everything that is drawn.
pub struct Told<'a> {
    /// All stomas.
    pub stomas: &'a [Stoma],
    /// All reviews.
    pub reviews: &'a [Review],
    /// Signed assessments that no later one replaced.
    pub assessments: &'a [AssessmentRow],
    /// All lists.
    pub prescriptions: &'a [Prescription],
    /// The day.
    pub today: NaiveDate,
}

impl Told<'_> {
    fn axis(&self) -> TimeAxis {
        let firsts = self.stomas.iter().filter_map(|s| s.surgery_on.or(s.discharge_on));
        let seen = self.assessments.iter().map(|a| a.assessed_on);
        let first = firsts.chain(seen).chain(self.reviews.iter().map(Review::due_on)).min().unwrap_or(self.today);
        let oldest = self.today.with_year(self.today.year() - YEARS_BACK).unwrap_or(self.today);
        let last = self.today.checked_add_months(Months::new(MONTHS_AHEAD)).unwrap_or(self.today);
        TimeAxis::dates(first.clamp(oldest, self.today), last)
    }

    fn lane(&self, stoma: &Stoma) -> Lane {
        let (mut marks, mut spans) = (Vec::new(), Vec::new());
        for review in self.reviews.iter().filter(|r| r.stoma_id == Some(stoma.id)) {
            let kind = match review.status.as_str() {
                "fulfilled" => MarkKind::Done,
                "noshow" => MarkKind::Missed,
                "booked" => MarkKind::Booked,
                "proposed" => MarkKind::Planned,
                // What a change of facts closed was never agreed with anybody.
                "cancelled" if !review.closed_by_plan => MarkKind::Cancelled,
                _ => continue,
            };
            let on = match kind {
                MarkKind::Done => review.closed_on.unwrap_or(review.due_on()),
                _ => review.due_on(),
            };
            let off = if review.off_plan.is_some() { ", off plan" } else { "" };
            marks.push(Mark::new(on, kind, format!("{} ({}{off})", review.title, review.mode)));
            if review.is_open() {
                let from = review.earliest_on.unwrap_or(review.planned_on.min(review.latest_on));
                if from < review.latest_on {
                    spans.push(Span::new(from, review.latest_on, format!("{}, window", review.title)));
                }
            }
        }
        Lane::new(format!("Reviews, {}", stoma.words().to_lowercase()), marks, spans)
    }

    fn events(&self) -> Vec<Event> {
        let several = self.stomas.len() > 1;
        let mut events = Vec::new();
        for stoma in self.stomas {
            let whose = if several { format!(", {}", stoma.words().to_lowercase()) } else { String::new() };
            let ended = if stoma.refashioned_as.is_some() { "Refashioned" } else { "Reversed" };
            let dates = [
                (stoma.surgery_on, "Surgery"),
                (stoma.discharge_on, "Discharge"),
                (stoma.reversal_on, "Planned reversal"),
                (stoma.reversed_on, ended),
            ];
            events.extend(dates.into_iter().filter_map(|(on, what)| Some(Event::new(on?, format!("{what}{whose}")))));
        }
        events
    }

    /// The pictures: reviews and appliances on lanes, the scores under them. None without a stoma.
    pub fn charts(&self) -> Vec<Chart> {
        if self.stomas.is_empty() {
            return Vec::new();
        }
        let title = "Reviews and appliances over time";
        let mut lanes = Timeline::new("timeline", title, self.axis()).events(self.events()).today(self.today);
        for stoma in self.stomas {
            lanes = lanes.lane(self.lane(stoma));
        }
        let changed: Vec<Mark> = self
            .prescriptions
            .iter()
            .filter_map(|p| {
                let on = p.signed_at?.at().with_timezone(&chrono::Local).date_naive();
                Some(Mark::new(on, MarkKind::Event, format!("Appliance list {} signed", p.number)))
            })
            .collect();
        if !changed.is_empty() {
            lanes = lanes.lane(Lane::new("Appliance list changed", changed, Vec::new()));
        }
        let mut charts = vec![lanes.draw()];
        let scores: Vec<Series> = self
            .stomas
            .iter()
            .filter_map(|stoma| {
                let of: Vec<Reading> = self
                    .assessments
                    .iter()
                    .filter(|a| a.stoma_id == stoma.id)
                    .map(|a| Reading::new(a.assessed_on, Some(f64::from(a.score))))
                    .collect();
                (!of.is_empty()).then(|| Series::new(display_kind(stoma), Draw::Points, of))
            })
            .collect();
        if !scores.is_empty() {
            let scale = Scale::new(0.0, 15.0, 5.0, "0 to 15, higher is worse");
            let plot = Plot::new("scores-over-time", "Skin score on the same axis", self.axis(), scale);
            charts.push(scores.into_iter().fold(plot, Plot::series).draw());
        }
        charts
    }
}

fn display_kind(stoma: &Stoma) -> String {
    let since = stoma.surgery_on.map(|on| display::short_date(on)[7..].to_owned()).unwrap_or_default();
    if since.is_empty() { stoma.kind.clone() } else { format!("{} {}", &stoma.kind, since) }
}
