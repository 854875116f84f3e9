//! The protocols a service can choose from: the one list that every page and form goes through.
//!
//! First the service's own that were put into force, then those shipped. Whoever adds others adds them here and nowhere
//! else.

use chrono::NaiveDate;

use super::protocols;
use super::rules::{Protocol, StomaKind, shipped};
use crate::access::store::Service;
use crate::db::ids::ServiceId;
use crate::db::{Conn, StoreError};

/// A protocol that can be chosen.
#[derive(Clone, Debug)]
pub struct Offered {
    /// Its id, as kept with a stoma.
    pub id: String,
    /// The service's own, not one shipped.
    pub own: bool,
    /// Title.
    pub title: String,
    /// Version.
    pub version: u32,
    /// Publisher, title, year; for a local one, who decides.
    pub source: String,
    /// How well the source was seen, in words.
    pub standing: &'static str,
    /// What to know before choosing it.
    pub note: String,
    /// Titles of its steps for each kind of stoma, in order; no entry for a kind for which it plans nothing.
    pub steps: Vec<(StomaKind, Vec<String>)>,
}

impl Offered {
    fn of(protocol: &Protocol, own: bool) -> Self {
        let steps_for = |kind: StomaKind| {
            let fits = protocol.steps.iter().filter(|s| s.when.kind.is_empty() || s.when.kind.contains(&kind));
            fits.map(|s| s.title.clone().unwrap_or_else(|| s.id.clone())).collect::<Vec<_>>()
        };
        let kinds = [StomaKind::Colostomy, StomaKind::Ileostomy, StomaKind::Urostomy];
        Self {
            id: protocol.id.clone(),
            own,
            title: protocol.title.clone(),
            version: protocol.version,
            source: protocol.source.clone(),
            standing: protocol.standing.words(),
            note: protocol.note.clone().unwrap_or_default(),
            steps: kinds.map(|kind| (kind, steps_for(kind))).into_iter().filter(|(_, s)| !s.is_empty()).collect(),
        }
    }

    /// Titles of the steps for one kind of stoma; `None` when it plans nothing for it.
    pub fn steps_for(&self, kind: StomaKind) -> Option<&[String]> {
        self.steps.iter().find(|(k, _)| *k == kind).map(|(_, steps)| steps.as_slice())
    }

    /// Title with standing, for a select.
    pub fn words(&self) -> String {
        let whose = if self.own { ", your own" } else { "" };
        format!("{} ({}{whose})", self.title, self.standing)
    }
}

/// Protocols this service can choose from, in the order of pages.
///
/// # Errors
/// When the records cannot be read.
pub fn protocols(conn: &mut Conn, service: ServiceId) -> Result<Vec<Offered>, StoreError> {
    // Of each own one the version that counts last: whoever chooses it now follows it from then on.
    let own = protocols::in_force(conn, service, NaiveDate::MAX)?;
    let mut list: Vec<Offered> = own.values().map(|p| Offered::of(p, true)).collect();
    list.sort_by(|a, b| (&a.title, &a.id).cmp(&(&b.title, &b.id)));
    list.extend(shipped().iter().map(|p| Offered::of(p, false)));
    Ok(list)
}

/// The protocol that this service follows for a kind of stoma.
pub fn usual<'s>(service: &'s Service, kind: &str) -> &'s str {
    match kind {
        "colostomy" => &service.protocol_colostomy,
        "ileostomy" => &service.protocol_ileostomy,
        _ => &service.protocol_urostomy,
    }
}
