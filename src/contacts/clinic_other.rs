//! Another visit signed while this form was open: theirs and mine side by side, before anything of mine is signed.

use super::clinic_form::ClinicForm;
use super::clinic_map::read_cells;
use super::clinic_page::measures_words;
use super::clinic_work::Facts;
use crate::db::StoreError;
use crate::display;
use crate::skin::map_view;
use crate::skin::rules::{Domain, causes};
use crate::skin::store::{AssessmentRow, Judged, StomaFound, Symptoms};

/// The other visit.
pub struct OtherVisit {
    /// "A. Nurse signed an assessment of this patient at 10:42, while this form was open."
    pub words: String,
    /// Question, theirs, mine.
    pub rows: Vec<(String, String, String)>,
}

impl OtherVisit {
    /// Compares an assessment signed meanwhile with the form as it stands.
    pub(super) fn of(theirs: &AssessmentRow, facts: &Facts, form: &ClinicForm) -> Result<Self, StoreError> {
        let judged: Judged = theirs.inputs.read()?;
        let symptoms: Symptoms = theirs.symptoms.read()?;
        let found: StomaFound = theirs.findings.read()?;
        let asked = |n: Option<u8>| n.map_or_else(|| "Not asked".to_owned(), |n| n.to_string());
        let typed = |text: &str| if text.trim().is_empty() { "Nothing yet".to_owned() } else { text.trim().to_owned() };
        let cause = |code: &str| causes::shipped().map_or_else(|_| code.to_owned(), |set| set.words(code).to_owned());
        let mut rows = vec![
            ("When".to_owned(), display::short_date(theirs.assessed_on), typed(&form.on)),
            ("Leaks in the last 10 changes".to_owned(), asked(symptoms.leaks_of_last_10), typed(&form.leaks)),
            ("Pain of the skin".to_owned(), asked(symptoms.skin_pain), typed(&form.pain)),
            (
                "Stoma".to_owned(),
                format!("{}; colour {}", measures_words(&found), found.colour.clone().unwrap_or_default()),
                format!("{}; colour {}", measures_words(&form.measures(&None)), typed(&form.colour)),
            ),
            (
                "Map".to_owned(),
                map_view::words(facts.cells(theirs.id)),
                map_view::words(&read_cells(&form.cells).unwrap_or_default()),
            ),
        ];
        let of = [judged.discolouration, judged.erosion, judged.overgrowth];
        for ((domain, judged), (area, severity)) in Domain::ALL.into_iter().zip(of).zip(form.domains()) {
            rows.push((
                format!("{}: area, severity", domain.code()),
                format!("{}, {}", judged.area_points, judged.severity),
                format!("{}, {}", typed(area), typed(severity)),
            ));
        }
        rows.push(("Score".to_owned(), format!("{} of 15", theirs.score), "Counted when it is checked".to_owned()));
        let their_cause = theirs.cause.as_deref().map_or_else(|| "None recorded".to_owned(), cause);
        let mine = if form.cause.is_empty() { typed("") } else { cause(&form.cause) };
        rows.push(("Likely cause".to_owned(), their_cause, mine));
        rows.push(("Plan".to_owned(), theirs.plan.clone().unwrap_or_default(), typed(&form.plan)));
        let at = theirs.signed_at.at().with_timezone(&chrono::Local).format("%H:%M");
        let words = format!(
            "{} signed an assessment of this patient on {} at {at}, while this form was open. Yours is not saved yet. \
             Compare, change yours where it must be changed, and sign it; or leave it.",
            facts.name(theirs.signed_by),
            display::short_date(theirs.signed_at.at().with_timezone(&chrono::Local).date_naive()),
        );
        Ok(Self { words, rows })
    }
}
