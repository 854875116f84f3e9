//! Every kind of chart once, with invented values.

use chrono::{Days, NaiveDate};

use super::super::chart::{
    Chart, Day, Draw, Event, Lane, Mark, MarkKind, Plot, Reading, Scale, Series, Span, TimeAxis, Timeline, Unit,
};

/// All of them, on days that do not change.
pub(super) fn charts() -> Vec<Chart> {
    NaiveDate::from_ymd_opt(2026, 11, 25)
        .map(|today| vec![skin(today), load(today), plan(today), protocol()])
        .unwrap_or_default()
}

fn ago(today: NaiveDate, days: u64) -> NaiveDate {
    today.checked_sub_days(Days::new(days)).unwrap_or(today)
}

fn skin(today: NaiveDate) -> Chart {
    let readings = |values: &[(u64, Option<f64>)]| {
        values.iter().map(|(days, value)| Reading::new(ago(today, *days), *value)).collect()
    };
    let axis = TimeAxis::dates(ago(today, 150), today);
    Plot::new("sample-skin", "Pain, itch and leaks", axis, Scale::new(0.0, 10.0, 2.0, "0 to 10, higher is worse"))
        .shaded(7.0, 10.0, "ask today, this service's rule")
        .level(3.0, "mind from here")
        .events(vec![Event::new(ago(today, 120), "Discharge"), Event::new(ago(today, 40), "Another plate")])
        .series(Series::new("Pain", Draw::Points, readings(&[(140, Some(7.0)), (90, Some(4.0)), (6, Some(2.0))])))
        .series(Series::new("Itch", Draw::Points, readings(&[(140, Some(3.0)), (90, None), (6, Some(2.0))])))
        .series(Series::new("Leaks", Draw::Points, readings(&[(140, Some(6.0)), (90, Some(6.0)), (6, Some(1.0))])))
        .series(Series::new("Worry", Draw::Points, readings(&[(90, Some(8.0)), (6, Some(5.0))])))
        .missing("Not asked")
        .draw()
}

fn load(today: NaiveDate) -> Chart {
    let weeks: Vec<NaiveDate> = (0..52).rev().map(|week| ago(today, week * 7)).collect();
    let count = |nth: usize| f64::from(u8::try_from(9 + (nth * 7 + nth / 5) % 11).unwrap_or(9));
    let due = weeks.iter().enumerate().map(|(nth, week)| Reading::new(*week, Some(count(nth)))).collect();
    let slots = weeks.iter().enumerate();
    let slots = slots.map(|(nth, week)| Reading::new(*week, Some(if nth < 30 { 16.0 } else { 14.0 }))).collect();
    let axis = TimeAxis::dates(ago(today, 51 * 7), today);
    Plot::new("sample-load", "Reviews a week", axis, Scale::counts(20, "0 to 20 reviews"))
        .series(Series::new("Due", Draw::Bars, due))
        .series(Series::new("Slots", Draw::Line, slots))
        .draw()
}

fn plan(today: NaiveDate) -> Chart {
    let marks = vec![
        Mark::new(ago(today, 150), MarkKind::Event, "Surgery"),
        Mark::new(ago(today, 130), MarkKind::Done, "2 week review"),
        Mark::new(ago(today, 100), MarkKind::Done, "6 week review"),
        Mark::new(ago(today, 60), MarkKind::Missed, "3 month review"),
        Mark::new(ago(today, 20), MarkKind::Booked, "3 month review, again"),
    ];
    let windows = vec![
        Span::new(ago(today, 107), ago(today, 93), "window of the 6 week review"),
        Span::new(ago(today, 74), ago(today, 46), "window of the 3 month review"),
    ];
    let calls = vec![
        Mark::new(ago(today, 145), MarkKind::Done, "Call"),
        Mark::new(ago(today, 80), MarkKind::Cancelled, "Call"),
        Mark::new(ago(today, 8), MarkKind::Planned, "Call"),
    ];
    Timeline::new("sample-plan", "Reviews of one patient", TimeAxis::dates(ago(today, 150), today))
        .lane(Lane::new("In clinic", marks, windows))
        .lane(Lane::new("By phone", calls, Vec::new()))
        .events(vec![Event::new(ago(today, 140), "Discharge")])
        .today(ago(today, 14))
        .draw()
}

fn protocol() -> Chart {
    let step =
        |weeks: i64, words: &str| Mark::new(Day::after(weeks * 7, format!("{weeks} weeks")), MarkKind::Planned, words);
    let marks = vec![step(2, "First call"), step(6, "First review"), step(13, "3 months"), step(26, "6 months")];
    let window = Span::new(Day::after(35, "5 weeks"), Day::after(56, "8 weeks"), "window of the first review");
    Timeline::new("sample-protocol", "Steps of a protocol", TimeAxis::since("surgery", 364, Unit::Months))
        .lane(Lane::new("After surgery", marks, vec![window]))
        .draw()
}
