//! Page struct of the scores over time.

use askama::Template;

use super::map_view::MapDrawing;
use crate::web::chart::Chart;
use crate::web::shell::Shell;
use crate::web::views::{Link, PatientBanner};

/// One assessment in the table.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct ScoreRow {
    pub on: String,
    pub on_iso: String,
    pub stoma: String,
    pub score: String,
    pub band: String,
    pub change: String,
    pub discolouration: String,
    pub erosion: String,
    pub overgrowth: String,
    pub pain: String,
    pub itch: String,
    pub burning: String,
    pub leaks: String,
    pub cause: String,
    pub by: String,
    pub rule: String,
    pub note: String,
    pub amended: bool,
    pub amend_href: Option<String>,
}

/// One map beside the others.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct MapRow {
    pub on: String,
    pub on_iso: String,
    pub stoma: String,
    pub score: String,
    pub by: String,
    pub drawing: MapDrawing,
    pub change: Vec<String>,
}

/// `GET /patients/{id}/skin`
#[derive(Template)]
#[template(path = "skin/over_time.html")]
pub struct SkinPage {
    /// Frame.
    pub shell: Shell,
    /// Whose.
    pub banner: PatientBanner,
    /// Parts of the record.
    pub parts: Vec<Link>,
    /// The same numbers as pictures.
    pub charts: Vec<Chart>,
    /// Maps, the newest first.
    pub maps: Vec<MapRow>,
    /// Newest first.
    pub rows: Vec<ScoreRow>,
    /// How far to trust a change, with source.
    pub caution: String,
}
