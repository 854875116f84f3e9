//! The patient's change routine as page and as PDF, from a signed list only.

use actix_web::http::StatusCode;
use actix_web::web;
use askama::Template;
use serde::Deserialize;

use super::draft::local;
use super::paper::{Printing, Wanted, answer, text_size};
use super::patient_words::{all, foot, identity, language, mark};
use super::routine_sheet::{RoutineLine, Sheet, SheetFor, sheet};
use super::rules::{StomaKind, routine_rules};
use super::summary::{Loaded, seen};
use crate::db::StoreError;
use crate::db::ids::PrescriptionId;
use crate::patients::banner::banner;
use crate::print::Document;
use crate::web::form_view::Choice;
use crate::web::shell::Shell;
use crate::web::views::PatientBanner;
use crate::web::{Answer, PathOf, QueryOf, Signed, State, page, see_other};
use crate::words::Language;

/// In which language, how large.
#[derive(Clone, Debug, Default, Deserialize)]
pub struct Asked {
    /// Language tag; empty for the usual one.
    #[serde(default)]
    language: String,
    /// `large` for large print.
    #[serde(default)]
    size: String,
}

/// `GET /prescriptions/{id}/routine`
#[derive(Template)]
#[template(path = "supplies/routine.html")]
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct RoutinePage {
    pub shell: Shell,
    pub banner: PatientBanner,
    pub heading: String,
    /// The sheet, or why there is none.
    pub sheet: Result<Sheet, String>,
    pub large: bool,
    pub pdf_href: String,
    pub large_pdf_href: String,
    pub size_href: String,
    pub summary_href: String,
    /// Languages, where there is a choice.
    pub languages: Vec<Choice>,
    /// What each step and caution rests on: words, source, standing.
    pub sources: Vec<(String, String)>,
}

/// The sheet of a loaded list. The refusal is for the nurse.
fn sheet_of(loaded: &Loaded, phone: Option<&str>, words: &Language) -> Result<Result<Sheet, String>, StoreError> {
    let held = &loaded.held;
    let (Some(signed_at), "signed") = (held.signed_at, held.status.as_str()) else {
        let why = "This list is not in force. The change routine is made from a signed list only.";
        return Ok(Err(why.to_owned()));
    };
    let unknown = |what: &str| StoreError::Backend(format!("stored {what} is not known"));
    let kind = StomaKind::from_code(&loaded.stoma.kind).ok_or_else(|| unknown("kind of stoma"))?;
    let lines: Option<Vec<RoutineLine>> = loaded.lines.iter().map(RoutineLine::of).collect();
    let lines = lines.ok_or_else(|| unknown("kind of item"))?;
    let whose = SheetFor { kind, signed_on: local(signed_at), version: held.number, phone };
    Ok(sheet(whose, &lines, words).map_err(|why| why.to_string()))
}

/// Where the steps and cautions are taught, each source once.
fn sources(words: &Language) -> Vec<(String, String)> {
    let rules = routine_rules();
    let steps = rules.steps.iter().map(|step| (words.say(&format!("step.{}.title", step.id), &[]), &step.source));
    let cautions = rules.cautions.iter().map(|one| (words.say(&format!("caution.{}", one.id), &[]), &one.source));
    let mut found: Vec<(String, String)> = Vec::new();
    for (what, source) in steps.chain(cautions) {
        let source = format!("{} ({})", source.source, source.standing.words());
        match found.iter_mut().find(|(_, known)| *known == source) {
            Some((whats, _)) => *whats = format!("{whats}; {what}"),
            None => found.push((what, source)),
        }
    }
    found
}

/// `GET /prescriptions/{id}/routine`
pub async fn page_of(
    state: web::Data<State>,
    signed: Signed,
    path: PathOf<PrescriptionId>,
    asked: QueryOf<Asked>,
) -> Answer {
    let id = path.into_inner();
    let asked = asked.0;
    let words = language(&asked.language)?;
    let loaded = seen(&state, &signed, id, "prescription.routine").await?;
    let heading = words.routine_title();
    let here = format!("/prescriptions/{id}/routine");
    let query = |size: &str| format!("?language={}{size}", words.tag());
    let large = asked.size == "large";
    let choices = all()?.choices();
    let shown = RoutinePage {
        shell: signed.shell("Change routine", "/patients"),
        banner: banner(&loaded.patient, &loaded.identifiers, state.clock.today()),
        heading,
        sheet: sheet_of(&loaded, signed.service.phone.as_deref(), words)?,
        large,
        pdf_href: format!("{here}.pdf{}", query("")),
        large_pdf_href: format!("{here}.pdf{}", query("&size=larger")),
        size_href: format!("{here}{}", query(if large { "" } else { "&size=large" })),
        summary_href: format!("/prescriptions/{id}/summary"),
        languages: choices
            .into_iter()
            .map(|(tag, name)| Choice::new(tag.clone(), name).checked(tag == words.tag()))
            .collect(),
        sources: sources(words),
    };
    page(StatusCode::OK, &shown)
}

/// The routine on paper.
pub fn document(loaded: &Loaded, sheet: &Sheet, printing: &Printing<'_>, words: &Language) -> Document {
    Document {
        title: sheet.title.clone(),
        language: words.tag().to_owned(),
        identity: identity(loaded, words),
        footer: foot(loaded, printing, words),
        page_of: words.page_of("{page}", "{pages}"),
        mark: mark(loaded, printing.demo, words),
        created: printing.at,
        size: printing.size,
        blocks: sheet.blocks(),
    }
}

/// `GET /prescriptions/{id}/routine.pdf`: 14 point, or 18 with `?size=larger`. Where there is no routine, the page says
/// why.
pub async fn pdf(
    state: web::Data<State>,
    signed: Signed,
    path: PathOf<PrescriptionId>,
    wanted: QueryOf<Wanted>,
) -> Answer {
    let id = path.into_inner();
    let words = language(&wanted.0.language)?;
    let loaded = seen(&state, &signed, id, "prescription.routine-pdf").await?;
    let Ok(sheet) = sheet_of(&loaded, signed.service.phone.as_deref(), words)? else {
        return Ok(see_other(format!("/prescriptions/{id}/routine")));
    };
    let now = state.clock.now().with_timezone(&chrono::Local).naive_local();
    let printing = Printing::of(&signed, now, text_size(&wanted.0.size, crate::print::TextSize::ClearPrint));
    let made = document(&loaded, &sheet, &printing, words);
    let on = local(loaded.held.signed_at.unwrap_or(loaded.held.drawn_up_at));
    answer(made, &format!("change-routine-{}-version-{}", on.format("%Y-%m-%d"), loaded.held.number)).await
}

/// Holds the languages against the program, for the start of the service.
pub fn check_words() -> Result<(), String> {
    super::patient_words::languages().map(|_| ()).map_err(|error| format!("The words for patients: {error}"))
}
