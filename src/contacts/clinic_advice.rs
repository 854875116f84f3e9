//! What the rules say to what stands in the form so far: fit, likely causes with signs for and against, codes.
//!
//! It reads leniently, for the form may be half filled: what cannot be read makes no sign. Nothing here is written, and
//! nothing is chosen for the nurse.

use super::clinic_form::ClinicForm;
use super::clinic_map::read_cells;
use crate::db::StoreError;
use crate::skin::rules::signs::{Seen, signs};
use crate::skin::rules::{causes, codes, fit};
use crate::skin::store::StomaFound;

/// One suggested cause.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct CauseView {
    pub title: String,
    pub urgent: bool,
    pub speaks_for: String,
    pub speaks_against: String,
    pub first_step: String,
    pub escalate: String,
    pub source: String,
}

/// What is said.
#[derive(Default)]
pub struct Advice {
    /// Notes on opening and protrusion, with source.
    pub fit: Vec<String>,
    /// Likely causes.
    pub causes: Vec<CauseView>,
    /// What is done first whatever the cause, with source.
    pub first: String,
}

/// Reads the form as it stands; `measures` are those that would count now.
pub fn advice(form: &ClinicForm, kind: &str, measures: &StomaFound) -> Result<Advice, StoreError> {
    let set = causes::shipped().map_err(|fault| StoreError::Backend(fault.to_string()))?;
    let cells = read_cells(&form.cells).unwrap_or_default();
    let small = |typed: &str| typed.trim().parse::<u8>().ok();
    let affected = form.domains().map(|(area, _)| matches!(area, "1" | "2" | "3"));
    let codes: Vec<String> = form.also.iter().chain(&form.stoma_findings).chain(&form.signs).cloned().collect();
    let found = signs(&Seen {
        kind,
        cells: &cells,
        affected: if form.skin_clear == "no" { affected } else { [false; 3] },
        leak_hour: small(&form.leak_hour),
        leaks: small(&form.leaks),
        wear_days: small(&form.wear),
        complaints: [small(&form.itch), small(&form.burning), small(&form.pain)],
        gap_mm: measures.gap_mm,
        protrusion_mm: measures.protrusion_mm,
        output_ml_24h: form.output.trim().parse().ok(),
        codes: &codes,
    });
    let notes =
        [measures.gap_mm.and_then(fit::opening), measures.protrusion_mm.and_then(|mm| fit::protrusion(kind, mm))];
    // Where the skin is clear there is no cause to look for, but what must not wait is said all the same.
    let clear = form.skin_clear != "no";
    let list = set.suggest(&found).into_iter().filter(|s| !clear || s.cause.urgent);
    let words = |signs: Vec<&str>| if signs.is_empty() { "nothing found".to_owned() } else { signs.join(", ") };
    Ok(Advice {
        fit: notes
            .into_iter()
            .flatten()
            .map(|n| format!("{} ({}, {})", n.words, n.source.source, n.source.standing.words()))
            .collect(),
        causes: list
            .map(|s| CauseView {
                title: s.cause.title.clone(),
                urgent: s.cause.urgent,
                speaks_for: words(s.speaks_for),
                speaks_against: words(s.speaks_against),
                first_step: s.cause.first_step.clone(),
                escalate: s.cause.escalate.clone(),
                source: sources(s.cause),
            })
            .collect(),
        first: format!("{} ({}, {})", set.first_for_all, set.first_source.source, set.first_source.standing.words()),
    })
}

fn sources(cause: &causes::Cause) -> String {
    let words = |s: &crate::provenance::Source| format!("{}, {}", s.source, s.standing.words());
    if cause.source == cause.step_source {
        words(&cause.source)
    } else {
        format!("Signs: {}. Step and escalation: {}", words(&cause.source), words(&cause.step_source))
    }
}

/// Codes that fit what was decided, for whoever has to code, with the pairs that exclude one another.
pub fn coding(kind: &str, cause: Option<&str>, findings: &[String]) -> Result<Vec<String>, StoreError> {
    let table = codes::shipped().map_err(|fault| StoreError::Backend(fault.clone()))?;
    let mut list = table.of(kind, cause, findings);
    list.extend(table.status(kind));
    let conflicts = table.conflicts(&list);
    let [source, choice] = table.sources();
    let mut words: Vec<String> = list.iter().map(|c| format!("{} {}", c.code, c.title)).collect();
    words.extend(conflicts);
    words.push(format!(
        "{} ({}; {}, {})",
        table.version(),
        source.standing.words(),
        choice.source,
        choice.standing.words()
    ));
    Ok(words)
}
