//! Where one occurrence of a step falls: its nominal date, its bounds, the working day it is planned for, and why.
//!
//! Contract: `by` is planned on the deadline or the working day before it; `at` on its date or the next working day; a
//! window on its first working day, or, if it has none, on the nearest one outside, the earlier on a tie. It must not
//! look at "today": a plan made twice is the same plan.

use std::cmp::Ordering;
use std::fmt::Write;

use chrono::NaiveDate;

use super::calendar::{Day, WorkingDays};
use super::facts::Anchor;
use super::offset::Offset;
use super::protocol::{Shape, Step};
use super::words::{Count, Date, LongDate};

/// One occurrence, placed.
pub(super) struct Placed {
    pub(super) nominal: NaiveDate,
    pub(super) earliest: Option<NaiveDate>,
    pub(super) latest: NaiveDate,
    pub(super) planned: NaiveDate,
    pub(super) outside_window: bool,
    pub(super) reasons: Vec<String>,
}

/// The nominal date of occurrence `k` (from 1): what the offset gives, for a window its first day. `None` only beyond
/// the calendar of the machine.
pub(super) fn nominal(step: &Step, k: u32, anchor_on: NaiveDate) -> Option<NaiveDate> {
    let (Shape::By(first) | Shape::At(first) | Shape::Window { from: first, .. }) = step.shape;
    shifted(first, step, k).after(anchor_on)
}

fn shifted(offset: Offset, step: &Step, k: u32) -> Offset {
    step.repeat.map_or(offset, |repeat| offset.occurrence(repeat, k))
}

/// Places occurrence `k`. `Err` carries words for the page: the window of this anchor ends before it begins, or a date
/// lies beyond the calendar of the machine.
pub(super) fn place(step: &Step, k: u32, anchor_on: NaiveDate, days: &WorkingDays) -> Result<Placed, String> {
    let mut reasons = Vec::with_capacity(3);
    let (nominal, earliest, latest, planned, outside_window) = match step.shape {
        Shape::By(offset) => {
            let offset = shifted(offset, step, k);
            let on = reach(offset, anchor_on)?;
            let planned = days.previous_on_or_before(on);
            reasons.push(dated("the deadline, ", offset, step.anchor, anchor_on, ", is ", on, days));
            if planned != on {
                reasons.push(sentence(format_args!("planned for the working day before it, {}", LongDate(planned))));
            }
            (on, None, on, planned, false)
        }
        Shape::At(offset) => {
            let offset = shifted(offset, step, k);
            let on = reach(offset, anchor_on)?;
            let planned = days.next_on_or_after(on);
            reasons.push(dated("", offset, step.anchor, anchor_on, " is ", on, days));
            if planned != on {
                reasons.push(sentence(format_args!("planned for the next working day, {}", LongDate(planned))));
            }
            (on, Some(on), on, planned, false)
        }
        Shape::Window { from, to } => {
            let (from, to) = (shifted(from, step, k), shifted(to, step, k));
            let (first, last) = (reach(from, anchor_on)?, reach(to, anchor_on)?);
            if last < first {
                return Err(format!(
                    "for this date its window would end ({}) before it begins ({})",
                    Date(last),
                    Date(first)
                ));
            }
            let (anchor, on) = (step.anchor.words(), Date(anchor_on));
            let (begin, end) = (LongDate(first), LongDate(last));
            // "3 to 5 days", but "3 days to 1 week"; a window of one day says its length once.
            reasons.push(if from == to {
                sentence(format_args!("the window, {} after {anchor} on {on}, is {begin}", to.words()))
            } else if from.unit() == to.unit() {
                let count = from.count();
                sentence(format_args!(
                    "the window, {count} to {} after {anchor} on {on}, is {begin} to {end}",
                    to.words()
                ))
            } else {
                let (from, to) = (from.words(), to.words());
                sentence(format_args!("the window, {from} to {to} after {anchor} on {on}, is {begin} to {end}"))
            });
            let (planned, outside) = in_window(first, last, days, &mut reasons);
            (first, Some(first), last, planned, outside)
        }
    };
    if let Some(repeat) = step.repeat {
        reasons.push(sentence(format_args!("occurrence {k} of a review every {}", every(repeat))));
    }
    if planned < anchor_on {
        reasons.push(sentence(format_args!(
            "this is before {} on {}: choose another day by hand if that cannot be",
            step.anchor.words(),
            Date(anchor_on)
        )));
    }
    // The days looked at lie between the planned date and the bounds; one in an unknown year is enough to say so.
    reasons.extend([planned, nominal, latest].into_iter().find_map(|on| days.unknown_holidays(on)));
    Ok(Placed { nominal, earliest, latest, planned, outside_window, reasons })
}

fn in_window(first: NaiveDate, last: NaiveDate, days: &WorkingDays, reasons: &mut Vec<String>) -> (NaiveDate, bool) {
    let inside = days.next_on_or_after(first);
    if inside <= last {
        reasons.push(sentence(format_args!("its first working day is {}", LongDate(inside))));
        return (inside, false);
    }
    let (before, after) = (days.previous_on_or_before(first), inside);
    let (early, late) = ((first - before).num_days(), (after - last).num_days());
    let (planned, why) = match early.cmp(&late) {
        Ordering::Less => (before, "the nearest one outside is"),
        Ordering::Greater => (after, "the nearest one outside is"),
        Ordering::Equal => (before, "of the two nearest outside the earlier is taken,"),
    };
    reasons.push(sentence(format_args!("no working day lies in it: {why} {}", LongDate(planned))));
    (planned, true)
}

fn reach(offset: Offset, anchor_on: NaiveDate) -> Result<NaiveDate, String> {
    offset
        .after(anchor_on)
        .ok_or_else(|| format!("{} after {} lies beyond the calendar", offset.words(), Date(anchor_on)))
}

/// "3 months after surgery on 15-Jan-2026 is Wed 15-Apr-2026, a working day".
fn dated(
    head: &str,
    offset: Offset,
    anchor: Anchor,
    anchor_on: NaiveDate,
    is: &str,
    on: NaiveDate,
    days: &WorkingDays,
) -> String {
    let (count, anchor, from, to) = (offset.words(), anchor.words(), Date(anchor_on), LongDate(on));
    let mut text = sentence(format_args!("{head}{count} after {anchor} on {from}{is}{to}, "));
    // Writing into a String cannot fail.
    let _ = match days.day(on) {
        Day::Working => text.write_str("a working day"),
        Day::Weekend => text.write_str("a weekend"),
        Day::BankHoliday(name) => write!(text, "a bank holiday in {} ({name})", days.nation().words()),
        Day::Closure => text.write_str("a day on which the service is closed"),
    };
    if offset.clamps(anchor_on, on) {
        text.push_str(" (the month is shorter, so its last day counts)");
    }
    text
}

/// `12 months`, `month`: as in "every 12 months", "every month".
fn every(repeat: Offset) -> String {
    let Count(count, noun) = repeat.words();
    if count == 1 { noun.to_owned() } else { repeat.words().to_string() }
}

/// `format!` with room for a usual reason, so that the text is not grown piece by piece.
fn sentence(words: std::fmt::Arguments<'_>) -> String {
    let mut text = String::with_capacity(112);
    let _ = text.write_fmt(words);
    text
}
