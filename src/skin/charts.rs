//! The pictures of a patient's skin: score, its parts, and what the patient told, each against its fixed range.

use chrono::NaiveDate;

use super::rules::bands;
use super::store::{AssessmentRow, Symptoms};
use crate::db::StoreError;
use crate::stomas::store::Stoma;
use crate::web::chart::{Chart, Draw, Plot, Reading, Scale, Series, TimeAxis};

/// Charts of every stoma that has a signed assessment; `rows` newest first, as the store gives them.
///
/// # Errors
/// When the symptoms of an assessment cannot be read.
pub fn charts(rows: &[AssessmentRow], stomas: &[Stoma], today: NaiveDate) -> Result<Vec<Chart>, StoreError> {
    let mut found = Vec::new();
    for (nth, stoma) in stomas.iter().enumerate() {
        let of: Vec<&AssessmentRow> =
            rows.iter().filter(|a| a.stoma_id == stoma.id && a.status == "signed").rev().collect();
        if !of.is_empty() {
            let whose = if stomas.len() > 1 { format!(", {}", stoma.words().to_lowercase()) } else { String::new() };
            found.extend(of_stoma(&of, nth + 1, &whose, today)?);
        }
    }
    Ok(found)
}

/// `rows`: oldest first, at least one.
fn of_stoma(rows: &[&AssessmentRow], nth: usize, whose: &str, today: NaiveDate) -> Result<[Chart; 4], StoreError> {
    let first = rows.first().map_or(today, |a| a.assessed_on);
    let axis = || TimeAxis::dates(first, today);
    let points = |value: &dyn Fn(&AssessmentRow) -> i32| {
        rows.iter().map(|a| Reading::new(a.assessed_on, Some(f64::from(value(a))))).collect::<Vec<_>>()
    };
    let symptoms = rows.iter().map(|a| Ok((a.assessed_on, a.symptoms.read()?)));
    let symptoms = symptoms.collect::<Result<Vec<(NaiveDate, Symptoms)>, StoreError>>()?;
    let told = |value: &dyn Fn(&Symptoms) -> Option<u8>| {
        symptoms.iter().map(|(on, s)| Reading::new(*on, value(s).map(f64::from))).collect::<Vec<_>>()
    };
    let scale = Scale::new(0.0, 15.0, 5.0, "0 to 15, higher is worse");
    let mut score = Plot::new(format!("score-{nth}"), format!("Skin score{whose}"), axis(), scale);
    if let Some(set) = rows.last().and_then(|a| bands::set(&a.band_set)) {
        let from = f64::from(set.moderate_to + 1);
        let limits = format!("{}: {}, {}.", set.title, set.source.source, set.source.standing.words());
        score = score.shaded(from, 15.0, format!("severe, set {}", set.id)).note(limits);
    }
    let score = score.series(Series::new("Score", Draw::Points, points(&|a| a.score)));
    let scale = Scale::new(0.0, 5.0, 1.0, "0 to 5 each, higher is worse");
    let parts = Plot::new(format!("parts-{nth}"), format!("Parts of the score{whose}"), axis(), scale)
        .series(Series::new("Discoloured", Draw::Points, points(&|a| a.discolouration)))
        .series(Series::new("Eroded", Draw::Points, points(&|a| a.erosion)))
        .series(Series::new("Overgrown", Draw::Points, points(&|a| a.overgrowth)));
    let scale = Scale::new(0.0, 10.0, 2.0, "0 to 10, higher is worse");
    let told_plot = Plot::new(format!("told-{nth}"), format!("Pain, itch and burning{whose}"), axis(), scale.clone())
        .series(Series::new("Pain of 10", Draw::Points, told(&|s| s.skin_pain)))
        .series(Series::new("Itch of 10", Draw::Points, told(&|s| s.itch)))
        .series(Series::new("Burning of 10", Draw::Points, told(&|s| s.burning)))
        .missing("Not asked");
    let leaks = Plot::new(format!("leaks-{nth}"), format!("Leaks{whose}"), axis(), scale)
        .series(Series::new("Leaks of 10", Draw::Points, told(&|s| s.leaks_of_last_10)))
        .missing("Not asked");
    Ok([score, parts, told_plot, leaks].map(|plot| plot.table_at("scores").draw()))
}
