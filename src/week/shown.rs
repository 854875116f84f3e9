//! Small prepared texts that the week, the search and the record share.

use chrono::NaiveDate;

use super::store::WeekRow;
use crate::display;
use crate::skin::rules::map_words::hours_words;
use crate::urgency::rules;
use crate::web::views::{Band, Roundel, RoundelMark, Score};

/// A date or the words for not knowing it.
pub fn date_or(date: Option<NaiveDate>, otherwise: &str) -> String {
    date.map_or_else(|| otherwise.to_owned(), display::short_date)
}

/// "6 weeks since surgery", or that the date is not known.
pub fn since_surgery(surgery_on: Option<NaiveDate>, today: NaiveDate) -> String {
    match surgery_on {
        None => "Date of surgery not known".to_owned(),
        Some(on) if on > today => format!("Surgery on {}", display::short_date(on)),
        Some(on) => format!("{} since surgery", display::weeks_since(on, today)),
    }
}

/// The mark of a patient; `marked` are the affected hours of the last map with the worst finding of each.
pub fn roundel(kind: Option<&str>, stoma_words: &str, waiting: bool, marked: &[(u8, String)]) -> Roundel {
    let letter = kind.and_then(|k| k.chars().next()).map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    let mut words = stoma_words.to_owned();
    for finding in ["eroded", "overgrown", "discoloured"] {
        let hours: Vec<u8> = marked.iter().filter(|(_, f)| f == finding).map(|(hour, _)| *hour).collect();
        if !hours.is_empty() {
            words = format!("{words}; {finding} {}", hours_words(&hours));
        }
    }
    if waiting {
        words.push_str("; no review has a date");
    }
    let marks = marked
        .iter()
        .map(|(hour, finding)| RoundelMark { turn: u16::from(*hour % 12) * 30, finding: finding.clone() })
        .collect();
    Roundel { letter, words, marks, waiting }
}

/// An urgency band for its tag.
pub fn band(band: rules::Band) -> Band {
    let mut letters = band.words().chars();
    let word = letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect());
    Band { key: band.code().to_owned(), word }
}

/// A skin score and how it moved.
pub fn score(value: i32, previous: Option<i32>, band: &str, on: Option<NaiveDate>) -> Score {
    let (change, words) = match previous {
        None => ("first", "first score".to_owned()),
        Some(before) if value > before => ("up", format!("worse by {}, was {before}", value - before)),
        Some(before) if value < before => ("down", format!("better by {}, was {before}", before - value)),
        Some(_) => ("same", "as last time".to_owned()),
    };
    Score {
        value: value.to_string(),
        out_of: "15".to_owned(),
        band: if value == 0 { "clear" } else { band }.to_owned(),
        change: change.to_owned(),
        change_words: words,
        date: on.map(display::short_date).unwrap_or_default(),
    }
}

/// The last score of a week's row.
pub fn score_of(row: &WeekRow, on: Option<NaiveDate>) -> Option<Score> {
    row.last_score.map(|value| score(value, row.previous_score, row.last_band.as_deref().unwrap_or(""), on))
}

/// "75y" for a list or banner; words when the birth date is not known.
pub fn age(born_on: Option<NaiveDate>, today: NaiveDate) -> String {
    born_on.and_then(|born| display::age(born, today)).unwrap_or_else(|| "age not known".to_owned())
}
