//! The three domains of the score as questions of a form: area and severity, each with our own words.

use super::rules::{Domain, wording};
use crate::web::form_view::{Choice, Field, Question};

/// Area of a domain by points.
pub const AREAS: [(&str, &str); 4] =
    [("0", "None"), ("1", "Under a quarter"), ("2", "A quarter to a half"), ("3", "Over a half")];

/// One domain of the score sheet.
pub struct DomainQuestion {
    /// Code.
    pub key: String,
    /// Title.
    pub name: String,
    /// What counts, what to feel first.
    pub help: String,
    /// What is wrong.
    pub error: Option<String>,
    /// Area.
    pub area: Question,
    /// Severity.
    pub severity: Question,
    /// Points as last counted, or a dash.
    pub points: String,
}

/// The three domains, with area and severity as typed and with what is wrong of each.
pub fn questions(typed: [(&str, &str); 3], errors: [Option<String>; 3]) -> Vec<DomainQuestion> {
    Domain::ALL
        .into_iter()
        .zip(typed)
        .zip(errors)
        .map(|((domain, (area, severity)), error)| {
            let words = wording::domain_words(domain);
            let key = domain.code();
            let severities =
                words.severity.iter().enumerate().map(|(i, text)| Choice::new(i.to_string(), *text)).collect();
            let areas = AREAS.iter().map(|(code, word)| Choice::new(*code, *word)).collect();
            let points = area.parse::<u8>().ok().zip(severity.parse::<u8>().ok()).map(|(a, s)| (a + s).to_string());
            DomainQuestion {
                key: key.to_owned(),
                name: words.title.to_owned(),
                help: format!("{} {} {}", words.what, words.every_skin_tone, words.colour),
                error,
                area: Question {
                    field: Field::new(format!("{key}_area"), "Area"),
                    choices: Choice::choose(areas, area),
                },
                severity: Question {
                    field: Field::new(format!("{key}_severity"), "Severity"),
                    choices: Choice::choose(severities, severity),
                },
                points: points.unwrap_or_else(|| "–".to_owned()),
            }
        })
        .collect()
}
