//! The cases, one case to score, and the lead's page of results.

use std::collections::BTreeMap;

use actix_web::http::StatusCode;
use actix_web::web;
use serde::Deserialize;

use super::pages::{CasePage, CaseRow, CasesPage, PairRow, ResultsPage};
use super::store::{self, AnswerRow};
use crate::access::store::{self as people, say};
use crate::audit::{Event, append, view};
use crate::db::StoreError;
use crate::db::ids::StaffId;
use crate::skin::domains::questions;
use crate::skin::map_view;
use crate::skin::rules::calibration::{self as rules, Agreement, Case, Cases, PLATE, STOMA, SixValues, agreement};
use crate::skin::rules::{change, kappa, wording};
use crate::skin::store as skin;
use crate::web::form_view::ErrorSummary;
use crate::web::{Answer, AppError, PathOf, Permission, Posted, Signed, State, page, see_other};

fn cases() -> Result<&'static Cases, AppError> {
    rules::shipped().map_err(|fault| StoreError::Backend(fault.clone()).into())
}

fn total(values: SixValues) -> u8 {
    values.iter().map(|(area, severity)| area + severity).sum()
}

fn score(row: &AnswerRow) -> u8 {
    u8::try_from(row.score).unwrap_or(0)
}

fn kappa_words(found: Agreement) -> String {
    match found.kappa {
        Some(value) => format!("{value:.2} ({})", kappa::in_words(value)),
        None => "not defined: too few cases, or every answer the same".to_owned(),
    }
}

/// `GET /calibration`
pub async fn list(state: web::Data<State>, signed: Signed) -> Answer {
    let cases = cases()?;
    let (service, staff) = (signed.service.id, signed.staff_id);
    let mine = view(&state.db, &signed.actor, move |conn| {
        Ok((store::of_staff(conn, service, staff, &cases.version)?, Event::read("calibration.cases")))
    })
    .await?;
    let answered = |case: &Case| mine.iter().find(|row| row.case_id == case.id);
    let done = cases.cases.iter().filter(|case| answered(case).is_some()).count();
    // The reference is shown once there is nothing left to be swayed by it.
    let all = done == cases.cases.len();
    let rows = cases
        .cases
        .iter()
        .map(|case| {
            let own = answered(case);
            CaseRow {
                title: case.title.clone(),
                href: own.is_none().then(|| format!("/calibration/{}", case.id)),
                state: if own.is_some() { "Scored" } else { "To be scored" }.to_owned(),
                mine: own.map_or_else(|| "–".to_owned(), |row| row.score.to_string()),
                reference: if all { total(case.reference).to_string() } else { "shown at the end".to_owned() },
            }
        })
        .collect();
    let pairs: Vec<(u8, u8)> =
        cases.cases.iter().filter_map(|case| Some((score(answered(case)?), total(case.reference)))).collect();
    let shown = CasesPage {
        shell: signed.shell("Calibration", "/calibration"),
        standfirst: format!("{done} of {} cases scored. Answers of others are not shown.", cases.cases.len()),
        rows,
        agreement: all.then(|| {
            let found = agreement(&pairs);
            format!(
                "The same total as the reference in {} of {}; weighted kappa {}.",
                found.same,
                found.cases,
                kappa_words(found)
            )
        }),
        source: format!("{} ({})", cases.source.source, cases.source.standing.words()),
        results: signed.may(Permission::EditService).then(|| "/calibration/results".to_owned()),
    };
    page(StatusCode::OK, &shown)
}

/// What the form of a case sends.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
#[allow(missing_docs, reason = "six values as chosen")]
pub struct CaseForm {
    pub discolouration_area: String,
    pub discolouration_severity: String,
    pub erosion_area: String,
    pub erosion_severity: String,
    pub overgrowth_area: String,
    pub overgrowth_severity: String,
}

impl CaseForm {
    fn typed(&self) -> [(&str, &str); 3] {
        [
            (&self.discolouration_area, &self.discolouration_severity),
            (&self.erosion_area, &self.erosion_severity),
            (&self.overgrowth_area, &self.overgrowth_severity),
        ]
    }

    /// The six values with their score, or what is wrong with each domain.
    fn read(&self) -> Result<(SixValues, u8), [Option<String>; 3]> {
        let mut values: SixValues = [(0, 0); 3];
        let mut wrong: [Option<String>; 3] = Default::default();
        for (index, (area, severity)) in self.typed().into_iter().enumerate() {
            // Nothing affected has no severity to choose.
            let severity = if area == "0" && severity.is_empty() { "0" } else { severity };
            match (area.parse::<u8>(), severity.parse::<u8>()) {
                (Ok(area @ 0..=3), Ok(severity @ 0..=2)) => values[index] = (area, severity),
                _ => wrong[index] = Some("Choose area and severity, “None” included".to_owned()),
            }
        }
        if wrong.iter().any(Option::is_some) {
            return Err(wrong);
        }
        match rules::score_of(&values) {
            Ok(score) => Ok((values, score.score)),
            Err(errors) => {
                for error in errors.errors {
                    let index = match error.field.split('.').next() {
                        Some("erosion") => 1,
                        Some("overgrowth") => 2,
                        _ => 0,
                    };
                    wrong[index] = Some(error.message);
                }
                Err(wrong)
            }
        }
    }
}

fn case_page(signed: &Signed, case: &Case, form: &CaseForm, wrong: [Option<String>; 3], status: StatusCode) -> Answer {
    let domains = questions(form.typed(), wrong);
    let mut errors = ErrorSummary::none();
    for domain in &domains {
        if let Some(words) = &domain.error {
            errors.push(domain.area.field.id.clone(), format!("{}: {words}", domain.name));
        }
    }
    let title = if errors.is_empty() { "Score a case" } else { "Error: Score a case" };
    let shown = CasePage {
        shell: signed.shell(title, "/calibration"),
        errors,
        heading: case.title.clone(),
        text: case.text.clone(),
        map: map_view::draw_as(STOMA, PLATE, &case.cells, true),
        action: format!("/calibration/{}", case.id),
        domains,
        before_scoring: "Score what is written and drawn, alone and in one go. An answer is given once.".to_owned()
            + " "
            + wording::COLOUR_HINT,
    };
    page(status, &shown)
}

/// `GET /calibration/{case}`
pub async fn case(state: web::Data<State>, signed: Signed, path: PathOf<String>) -> Answer {
    let cases = cases()?;
    let case = cases.find(&path.into_inner()).ok_or(AppError::NotFound)?;
    let (service, staff) = (signed.service.id, signed.staff_id);
    let mine = view(&state.db, &signed.actor, move |conn| {
        Ok((store::of_staff(conn, service, staff, &cases.version)?, Event::read("calibration.case")))
    })
    .await?;
    if mine.iter().any(|row| row.case_id == case.id) {
        return Ok(see_other("/calibration"));
    }
    case_page(&signed, case, &CaseForm::default(), Default::default(), StatusCode::OK)
}

/// `POST /calibration/{case}`
pub async fn answer(state: web::Data<State>, signed: Signed, path: PathOf<String>, form: Posted<CaseForm>) -> Answer {
    let cases = cases()?;
    let case = cases.find(&path.into_inner()).ok_or(AppError::NotFound)?;
    let (values, score) = match form.0.read() {
        Ok(read) => read,
        Err(wrong) => return case_page(&signed, case, &form.0, wrong, StatusCode::UNPROCESSABLE_ENTITY),
    };
    let written = state
        .db
        .write(&signed.actor, move |tx| {
            store::add(tx, &case.id, &cases.version, values, score)?;
            say(tx, &format!("Scored: {}.", case.title))?;
            append(tx, Event::create("calibration.answer").with("case", &case.id)).map(drop)
        })
        .await;
    match written {
        // Sent twice, or answered in another window: the first answer stands.
        Ok(()) | Err(StoreError::Conflict(_)) => Ok(see_other("/calibration")),
        Err(error) => Err(error.into()),
    }
}

/// `GET /calibration/results`
pub async fn results(state: web::Data<State>, signed: Signed) -> Answer {
    let cases = cases()?;
    let service = signed.service.id;
    let (answers, staff, flags) = view(&state.db, &signed.actor, move |conn| {
        let answers = store::of_service(conn, service, &cases.version)?;
        let staff: Vec<(StaffId, String)> =
            people::everybody(conn, service)?.into_iter().map(|s| (s.id, s.display_name)).collect();
        let flags = skin::red_flags_counted(conn, service)?;
        Ok(((answers, staff, flags), Event::read("calibration.results").with("answers", "all")))
    })
    .await?;
    let mut by_staff: BTreeMap<StaffId, BTreeMap<&str, u8>> = BTreeMap::new();
    for row in &answers {
        if cases.find(&row.case_id).is_some() {
            by_staff.entry(row.staff_id).or_default().insert(&row.case_id, score(row));
        }
    }
    let mut scorers: Vec<(String, &BTreeMap<&str, u8>)> = by_staff
        .iter()
        .map(|(id, scores)| {
            let name = staff.iter().find(|(known, _)| known == id).map_or_else(String::new, |(_, name)| name.clone());
            (name, scores)
        })
        .collect();
    scorers.sort_by(|one, other| one.0.cmp(&other.0));
    let reference: BTreeMap<&str, u8> =
        cases.cases.iter().map(|case| (case.id.as_str(), total(case.reference))).collect();
    let against = scorers.iter().map(|(name, scores)| pair(name, "Reference", scores, &reference)).collect();
    let mut pairs = Vec::new();
    for (index, (one, scores)) in scorers.iter().enumerate() {
        for (other, theirs) in scorers.iter().skip(index + 1) {
            pairs.push(pair(one, other, scores, theirs));
        }
    }
    let published = change::caution_source();
    let shown = ResultsPage {
        shell: signed.shell("Results of the calibration", "/calibration"),
        standfirst: format!("{} of the team have scored at least one of {} cases.", scorers.len(), cases.cases.len()),
        against,
        pairs,
        reading: vec![
            "Weighted kappa of the totals, linear weights: 1 is full agreement, 0 what chance would give (Cohen, Psychol \
             Bull 1968;70:213–20)."
                .to_owned(),
            "The words are those of Landis and Koch, Biometrics 1977;33:159–74 (from memory, to be confirmed); a \
             convention, not a finding."
                .to_owned(),
            format!("Published for comparison: {} ({}).", published.source, published.standing.words()),
            "Few cases give an uncertain figure: talk about the cases on which you differ.".to_owned(),
        ],
        red_flags: format!("Red flags at assessments: {} handed on, {} overruled with a reason.", flags.0, flags.1),
    };
    page(StatusCode::OK, &shown)
}

fn pair(one: &str, other: &str, ours: &BTreeMap<&str, u8>, theirs: &BTreeMap<&str, u8>) -> PairRow {
    let both: Vec<(u8, u8)> =
        ours.iter().filter_map(|(case, score)| theirs.get(case).map(|their| (*score, *their))).collect();
    let found = agreement(&both);
    PairRow {
        one: one.to_owned(),
        other: other.to_owned(),
        cases: found.cases.to_string(),
        same: found.same.to_string(),
        kappa: kappa_words(found),
    }
}
