//! A protocol as a picture: each step on a lane, once over the first 8 weeks and once over the first 2 years. The same
//! facts stand in words beside it, and the picture decides nothing: a month is a twelfth of a year here.

use super::rules::{Offset, Protocol, Shape, Step, Unit};
use crate::web::chart::{self, Chart, Day, Lane, Mark, MarkKind, Span, TimeAxis, Timeline};

/// Days of the two pictures.
const EARLY_DAYS: i64 = 56;
const LATE_DAYS: i64 = 731;
/// More occurrences than any picture holds.
const MOST: u32 = 200;

/// Days of an offset: good enough for a picture, never for a date.
fn days(offset: Offset) -> i64 {
    let count = i64::from(offset.count());
    match offset.unit() {
        Unit::Days => count,
        Unit::Weeks => count * 7,
        Unit::Months => (count * 1461 + 24) / 48,
    }
}

fn lane(step: &Step, until: i64) -> Lane {
    let (mut marks, mut spans) = (Vec::new(), Vec::new());
    let what = step.name();
    for k in 1..=MOST {
        let shift = |offset: Offset| step.repeat.map_or(offset, |repeat| offset.occurrence(repeat, k));
        let after = |offset: Offset| Day::after(days(shift(offset)), shift(offset).words().to_string());
        let first = match step.shape {
            Shape::By(offset) | Shape::At(offset) => offset,
            Shape::Window { from, .. } => from,
        };
        if days(shift(first)) > until {
            break;
        }
        match step.shape {
            Shape::By(offset) => {
                spans.push(Span::new(
                    Day::after(0, "the day itself"),
                    after(offset),
                    format!("{what}, not later than this"),
                ));
                marks.push(Mark::new(after(offset), MarkKind::Planned, format!("{what}, last day")));
            }
            Shape::At(offset) => marks.push(Mark::new(after(offset), MarkKind::Planned, what)),
            Shape::Window { from, to } => {
                spans.push(Span::new(after(from), after(to), format!("window of {what}")));
                marks.push(Mark::new(after(from), MarkKind::Planned, format!("{what}, first day")));
            }
        }
        if step.repeat.is_none() {
            break;
        }
    }
    Lane::new(format!("{what}, from {}", step.anchor.words()), marks, spans)
}

/// The pictures of a protocol; the page has the table of its steps at the id `steps`.
pub fn of_protocol(protocol: &Protocol) -> Vec<Chart> {
    let pictures = [
        ("early", "The first 8 weeks", EARLY_DAYS, chart::Unit::Weeks),
        ("late", "The first 2 years", LATE_DAYS, chart::Unit::Months),
    ];
    pictures
        .into_iter()
        .map(|(id, title, until, unit)| {
            let axis = TimeAxis::since("the day counted from", until, unit);
            let drawn = Timeline::new(id, title, axis).table_at("steps");
            protocol.steps.iter().fold(drawn, |drawn, step| drawn.lane(lane(step, until))).draw()
        })
        .collect()
}
