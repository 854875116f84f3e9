//! The geometry, and the guidelines that it keeps ("Displaying Graphs and Tables", GTAB, by number).

use askama::Template;
use chrono::NaiveDate;

use super::plot::settle;
use super::*;

/// The macro, by itself.
#[derive(Template)]
#[template(source = "{% import \"parts/chart.html\" as charts %}{{ charts::chart(c) }}", ext = "html")]
struct Alone {
    c: Chart,
}

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn reading(on: &str, value: f64) -> Reading {
    Reading::new(day(on), Some(value))
}

fn score(readings: Vec<Reading>) -> Chart {
    let axis = TimeAxis::dates(day("2026-08-01"), day("2026-11-09"));
    Plot::new("scores", "Skin score", axis, Scale::new(0.0, 15.0, 5.0, "0 to 15, higher is worse"))
        .shaded(7.0, 15.0, "severe by set a, adults with a stoma")
        .series(Series::new("Score", Draw::Points, readings))
        .draw()
}

fn xs(chart: &Chart) -> Vec<&str> {
    chart.series[0].points.iter().map(|p| p.x.as_str()).collect()
}

#[test]
fn gtab_085_the_time_axis_is_proportional() {
    // 100 days from 1 August to 9 November: a day is one per cent.
    let chart = score(vec![reading("2026-08-11", 3.0), reading("2026-08-12", 3.0), reading("2026-11-09", 8.0)]);
    assert_eq!(xs(&chart), ["10%", "11%", "100%"]);
}

#[test]
fn gtab_072_the_range_is_fixed_and_marked_at_round_numbers() {
    let low = score(vec![reading("2026-11-01", 1.0)]);
    let high = score(vec![reading("2026-11-01", 15.0)]);
    assert_eq!(low.grid, high.grid);
    assert_eq!(low.grid.iter().map(|g| g.label.as_str()).collect::<Vec<_>>(), ["0", "5", "10", "15"]);
    assert_eq!(low.grid.iter().map(|g| g.y.as_str()).collect::<Vec<_>>(), ["11rem", "7.333rem", "3.667rem", "0rem"]);
    assert_eq!(high.series[0].points[0].y, "0rem");
    let outside = score(vec![reading("2026-11-01", 16.0)]);
    assert_eq!(outside.grid, high.grid);
    assert!(outside.series[0].points[0].beyond);
    assert_eq!(outside.notes, ["16 on 01-Nov-2026 lies outside the range drawn."]);
}

#[test]
fn gtab_166_170_straight_lines_thinner_than_points() {
    let chart = score(vec![reading("2026-08-11", 3.0), reading("2026-09-20", 6.0), reading("2026-11-09", 3.0)]);
    let lines = &chart.series[0].lines;
    assert_eq!(lines.len(), 2);
    assert_eq!((lines[0].x2.as_str(), lines[0].y2.as_str()), (lines[1].x1.as_str(), lines[1].y1.as_str()));
    let html = Alone { c: chart }.render().unwrap();
    assert!(html.contains("stroke-width=\"1.5\"") && !html.contains("<path class=\"chart-line"));
    let defs = include_str!("../../../templates/parts/defs.html");
    assert!(defs.contains("id=\"c-disc\" r=\"5\""), "a point is 10 pixels across, a line 1.5");
}

#[test]
fn what_was_not_asked_breaks_the_line_and_is_said_in_the_table() {
    let not_asked = Reading::new(day("2026-09-20"), None);
    let chart = score(vec![reading("2026-08-11", 3.0), not_asked, reading("2026-11-09", 3.0)]);
    assert!(chart.series[0].lines.is_empty());
    assert_eq!(chart.series[0].points.len(), 2);
    let table = chart.table.unwrap();
    assert_eq!(table.rows.iter().map(|r| r.cells[0].as_str()).collect::<Vec<_>>(), ["3", "Not recorded", "3"]);
}

#[test]
fn gtab_045_047_the_latest_value_is_large_and_the_one_before_is_seen() {
    let chart = score(vec![reading("2026-11-09", 8.0), reading("2026-08-11", 3.0)]);
    assert_eq!((chart.series[0].latest.as_str(), chart.series[0].previous.as_str()), ("8", "was 3"));
    let first = score(vec![reading("2026-11-09", 8.0)]);
    assert_eq!(first.series[0].previous, "");
    let none = score(vec![]);
    assert_eq!(none.series[0].latest, "Not recorded");
}

#[test]
fn gtab_174_183_one_style_of_shading_with_whose_range_it_is() {
    let chart = score(vec![reading("2026-11-09", 8.0)]);
    let shaded = chart.shaded.clone().unwrap();
    assert_eq!((shaded.y.as_str(), shaded.height.as_str()), ("0rem", "5.867rem"));
    assert!(shaded.label.contains("set a"));
    let html = Alone { c: chart }.render().unwrap();
    assert_eq!(html.matches("chart-shaded").count(), 1);
}

#[test]
fn gtab_002_161_each_series_has_its_own_symbol_and_colour_never_red_against_green() {
    let axis = TimeAxis::dates(day("2026-08-01"), day("2026-11-09"));
    let mut plot = Plot::new("parts", "Parts", axis, Scale::new(0.0, 5.0, 1.0, "0 to 5"));
    for label in ["One", "Two", "Three", "Four", "Five"] {
        plot = plot.series(Series::new(label, Draw::Points, vec![reading("2026-11-01", 2.0)]));
    }
    let chart = plot.draw();
    let marks: Vec<_> = chart.series.iter().map(|s| (s.nth, s.symbol.as_str())).collect();
    assert_eq!(marks, [(1, "c-disc"), (2, "c-square"), (3, "c-triangle"), (4, "c-diamond")]);
    assert_eq!(chart.notes, ["Only the first 4 series are drawn; the table holds all."]);
    assert_eq!(chart.table.unwrap().head, ["Date", "One", "Two", "Three", "Four", "Five"]);
}

#[test]
fn gtab_188_189_most_recent_at_the_right_and_at_the_top_of_the_table() {
    let chart = score(vec![reading("2026-11-09", 8.0), reading("2026-08-11", 3.0), reading("2026-09-20", 5.0)]);
    assert_eq!(xs(&chart), ["10%", "50%", "100%"]);
    let table = chart.table.unwrap();
    let days: Vec<&str> = table.rows.iter().map(|r| r.on.as_str()).collect();
    assert_eq!(days, ["09-Nov-2026", "20-Sep-2026", "11-Aug-2026"]);
}

#[test]
fn two_values_of_one_day_keep_their_order() {
    let chart = score(vec![reading("2026-11-09", 8.0), reading("2026-11-09", 5.0)]);
    assert_eq!((chart.series[0].latest.as_str(), chart.series[0].previous.as_str()), ("5", "was 8"));
    let rows = chart.table.unwrap().rows;
    assert_eq!(rows.iter().map(|r| r.cells[0].as_str()).collect::<Vec<_>>(), ["5", "8"]);
}

#[test]
fn labels_stand_beside_their_series_and_never_on_one_another() {
    let near = |places: &[f64], expected: &[f64]| {
        let same = places.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-9);
        assert!(same && places.len() == expected.len(), "{places:?} is not {expected:?}");
    };
    near(&settle(&[1.0, 6.0], 2.0, 11.0), &[1.0, 6.0]);
    near(&settle(&[3.0, 3.0, 3.5], 2.0, 11.0), &[3.0, 5.0, 7.0]);
    near(&settle(&[10.5, 11.0, 11.0], 2.0, 11.0), &[7.0, 9.0, 11.0]);
    near(&settle(&[], 2.0, 11.0), &[]);
}

#[test]
fn marks_of_the_time_axis_lie_on_round_days() {
    let labels = |axis: &TimeAxis| {
        let word = |t: super::view::Tick| t.below.map_or(t.label.clone(), |year| format!("{} {year}", t.label));
        axis.ticks().into_iter().map(word).collect::<Vec<_>>()
    };
    let quarter = TimeAxis::dates(day("2026-08-11"), day("2026-11-25"));
    assert_eq!(labels(&quarter), ["Sep 2026", "Oct", "Nov"]);
    let year = TimeAxis::dates(day("2025-11-25"), day("2026-11-25"));
    assert_eq!(labels(&year), ["Jan 2026", "Mar", "May", "Jul", "Sep", "Nov"]);
    let life = TimeAxis::dates(day("2014-05-01"), day("2026-11-25"));
    assert_eq!(labels(&life), ["2016", "2018", "2020", "2022", "2024", "2026"]);
    let single = TimeAxis::dates(day("2026-11-25"), day("2026-11-25"));
    assert_eq!(labels(&single), ["02-Nov 2026", "09-Nov", "16-Nov", "23-Nov"]);
    assert_eq!(single.reach, "28-Oct-2026 to 25-Nov-2026");
    let after = TimeAxis::since("surgery", 365, Unit::Months);
    assert_eq!(labels(&after), ["0", "2", "4", "6", "8", "10"]);
    assert_eq!(after.words, "months after surgery");
    for axis in [&quarter, &year, &life, &single, &after] {
        assert!(axis.ticks().len() <= 9);
    }
}

#[test]
fn counts_have_a_range_of_round_numbers() {
    let top = |limit| {
        let axis = TimeAxis::dates(day("2026-01-01"), day("2026-11-09"));
        let chart = Plot::new("c", "Reviews", axis, Scale::counts(limit, "reviews a week")).draw();
        chart.grid.last().unwrap().label.clone()
    };
    assert_eq!([0, 10, 11, 50, 51, 101, 201, 600].map(top), ["10", "10", "20", "50", "100", "200", "500", "1000"]);
}

#[test]
fn bars_stand_on_the_foot_beside_a_line_of_slots() {
    let axis = TimeAxis::dates(day("2026-01-01"), day("2026-12-27"));
    let weeks: Vec<NaiveDate> = day("2026-01-05").iter_weeks().take(50).collect();
    let counts = weeks.iter().map(|week| Reading::new(*week, Some(7.0))).collect();
    let slots = weeks.iter().map(|week| Reading::new(*week, Some(10.0))).collect();
    let chart = Plot::new("load", "Reviews a week", axis, Scale::counts(20, "reviews"))
        .series(Series::new("Reviews due", Draw::Bars, counts))
        .series(Series::new("Slots", Draw::Line, slots))
        .draw();
    assert_eq!((chart.series[0].bars.len(), chart.series[0].points.len()), (50, 0));
    assert_eq!(chart.series[0].bars[0].y1, "11rem");
    assert_eq!((chart.series[1].lines.len(), chart.series[1].points.len()), (49, 0));
    assert_eq!(chart.table.unwrap().rows.len(), 50);
}

#[test]
fn lanes_show_reviews_windows_and_today() {
    let axis = TimeAxis::dates(day("2026-08-01"), day("2026-11-09"));
    let marks = vec![
        Mark::new(day("2026-08-11"), MarkKind::Done, "6 week review"),
        Mark::new(day("2026-09-20"), MarkKind::Missed, "3 month review"),
        Mark::new(day("2027-09-20"), MarkKind::Planned, "yearly review"),
    ];
    let window = Span::new(day("2026-07-25"), day("2026-08-21"), "window of the 6 week review");
    let chart = Timeline::new("plan", "Reviews", axis)
        .lane(Lane::new("Ileostomy", marks, vec![window]))
        .lane(Lane::new("Calls", vec![], vec![]))
        .events(vec![Event::new(day("2026-08-01"), "Surgery")])
        .today(day("2026-10-10"))
        .draw();
    assert_eq!(chart.lanes[0].marks.iter().map(|m| m.x.as_str()).collect::<Vec<_>>(), ["10%", "50%"]);
    assert_eq!((chart.lanes[0].spans[0].x.as_str(), chart.lanes[0].spans[0].width.as_str()), ("0%", "20%"));
    assert_eq!(chart.today.as_deref(), Some("70%"));
    assert_eq!(chart.notes, ["1 mark outside the time shown; the table holds all."]);
    let words: Vec<&str> = chart.key.iter().map(|k| k.words.as_str()).collect();
    assert_eq!(words, ["took place", "missed", "window"]);
    let table = chart.table.clone().unwrap();
    assert_eq!(table.rows.len(), 5);
    assert_eq!(table.rows[0].cells, ["yearly review", "planned", "Ileostomy"]);
    assert!(chart.description.contains("Ileostomy: 1 took place, 1 planned, 1 missed."), "{}", chart.description);
    let html = Alone { c: chart }.render().unwrap();
    assert!(html.contains("<b>A</b> Surgery, <time datetime=\"2026-08-01\">01-Aug-2026</time>"));
}

#[test]
fn a_protocol_is_drawn_in_time_after_surgery() {
    let axis = TimeAxis::since("surgery", 364, Unit::Weeks);
    let marks = vec![Mark::new(Day::after(91, "13 weeks"), MarkKind::Planned, "3 month review")];
    let chart = Timeline::new("protocol", "Steps", axis).lane(Lane::new("Clinic", marks, vec![])).draw();
    assert_eq!(chart.lanes[0].marks[0].x, "25%");
    assert_eq!(chart.axis_words, "weeks after surgery");
    assert_eq!(chart.table.unwrap().rows[0].on, "13 weeks");
}

#[test]
fn the_picture_is_told_in_words_and_holds_no_style() {
    let chart = score(vec![reading("2026-08-11", 3.0), reading("2026-11-09", 8.0)]);
    let words = "Skin score, 0 to 15, higher is worse, 01-Aug-2026 to 09-Nov-2026. Score: 2 values, the latest 8 on \
                 09-Nov-2026, before it 3 on 11-Aug-2026. Shaded: severe by set a, adults with a stoma. The same \
                 numbers stand in the table.";
    assert_eq!(chart.description, words);
    let html = Alone { c: chart }.render().unwrap();
    assert!(html.contains("role=\"img\" aria-labelledby=\"scores-title scores-words\""));
    assert!(html.contains(words));
    assert!(!html.contains("style="));
}

#[test]
fn letters_of_many_events_differ() {
    let letters: std::collections::BTreeSet<String> = (0..80).map(letter).collect();
    assert_eq!(letters.len(), 80);
    assert_eq!([letter(0), letter(25), letter(26)], ["A", "Z", "A2"]);
}
