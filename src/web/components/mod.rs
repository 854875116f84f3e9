//! The living page of all parts of the look, in the demonstration only: every macro of `templates/parts/` in every state.
//!
//! It calls the macros and holds no copy of their markup, so that what is seen here is what the pages show. Everything on
//! it is invented; it reads no record.

mod pictures;
mod samples;

use actix_web::http::StatusCode;
use askama::Template;

use super::chart::Chart;
use super::form_view::{DateParts, ErrorSummary, Field, Question};
use super::shell::{Message, Shell};
use super::views::{Band, Pager, PatientBanner, Roundel, Score};
use super::{Answer, AppError, Signed, page, see_other};

/// A domain of the score sheet.
pub struct DomainSample {
    /// Code.
    pub key: String,
    /// Title.
    pub name: String,
    /// What counts.
    pub help: String,
    /// What is wrong.
    pub error: Option<String>,
    /// Area.
    pub area: Question,
    /// Severity.
    pub severity: Question,
    /// Points as last counted.
    pub points: String,
}

/// A draft of a form that was kept.
pub struct DraftSample {
    /// When it was kept.
    pub from: Option<String>,
    /// Where the form lives.
    pub place: String,
}

/// A field that differs from the record.
pub struct DifferenceSample {
    /// Field.
    pub label: String,
    /// As typed.
    pub typed: String,
    /// As it stands in the record.
    pub stands: String,
}

/// A marked cell of a map.
pub struct CellSample {
    /// discoloured, eroded or overgrown.
    pub finding: String,
    /// Its outline.
    pub path: String,
}

/// The clock map as a drawing.
pub struct MapSample {
    /// `viewBox`.
    pub view: String,
    /// Half width and half height of the stoma.
    pub stoma: (String, String),
    /// Centre and radius of the plate.
    pub plate: (String, String, String),
    /// Lines between cells.
    pub grid: String,
    /// Marked cells.
    pub cells: Vec<CellSample>,
    /// Words on the rim: x, y, word.
    pub marks: Vec<(String, String, String)>,
    /// Size of the letters.
    pub letters: String,
    /// All of it in words.
    pub words: String,
}

/// Somebody in a list.
pub struct RowSample {
    /// Address.
    pub href: String,
    /// Name.
    pub name: String,
    /// Set when another in the list has the same name.
    pub same_name: Option<String>,
    /// Birth date.
    pub born: String,
    /// The same for machines.
    pub born_iso: String,
    /// Age.
    pub age: String,
    /// Number.
    pub nhs: String,
}

/// `GET /account/components`
#[derive(Template)]
#[template(path = "web/components.html")]
#[allow(missing_docs, reason = "one field per kind of part")]
pub struct ComponentsPage {
    pub shell: Shell,
    pub errors: ErrorSummary,
    pub texts: Vec<Field>,
    pub numbers: Vec<Field>,
    pub dates: Vec<Field>,
    pub secret: Field,
    pub code: Field,
    pub births: Vec<DateParts>,
    pub radios: Vec<Question>,
    pub checkboxes: Vec<Question>,
    pub single: Vec<(Field, bool)>,
    pub selects: Vec<Question>,
    pub areas: Vec<Field>,
    pub domains: Vec<DomainSample>,
    pub map: MapSample,
    pub draft: DraftSample,
    pub differences: Vec<DifferenceSample>,
    pub messages: Vec<Message>,
    pub tags: Vec<(String, String)>,
    pub bands: Vec<Band>,
    pub scores: Vec<Score>,
    pub roundels: Vec<Roundel>,
    pub banners: Vec<(String, PatientBanner)>,
    pub rows: Vec<RowSample>,
    pub pagers: Vec<Pager>,
    pub charts: Vec<Chart>,
}

/// `GET /account/components`: in the demonstration; anywhere else there is no such page.
pub async fn components(signed: Signed) -> Answer {
    if !signed.service.demo {
        return Err(AppError::NotFound);
    }
    page(StatusCode::OK, &samples::page_of(signed.shell("Parts of the look", "/account")))
}

/// `POST /account/components`: the buttons of the page lead here; nothing is done, and the page comes again.
pub async fn pressed(signed: Signed) -> Answer {
    if !signed.service.demo {
        return Err(AppError::NotFound);
    }
    Ok(see_other("/account/components"))
}
