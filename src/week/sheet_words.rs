//! Skin and supplies of one patient in a line each, for a sheet on paper.

use crate::db::StoreError;
use crate::display;
use crate::skin::rules::Domain;
use crate::skin::rules::wording::{area_words, domain_words};
use crate::skin::store::{AssessmentRow, DomainJudged, Judged};
use crate::stomas::store::Stoma;
use crate::supplies::draft_page::{item_words, use_words};
use crate::supplies::store::LineRow;

/// "Erosion: less than a quarter of the skin under the plate, surface lost"; nothing for a domain that is clear.
fn domain(domain: Domain, judged: DomainJudged) -> Option<String> {
    if judged.area_points == 0 {
        return None;
    }
    let words = domain_words(domain);
    let area = area_words(judged.area_points)?.to_lowercase();
    // The severity's words up to the colon: what it is, without the explanation of the form.
    let severity = words.severity.get(usize::from(judged.severity)).copied().unwrap_or_default();
    let severity = severity.split([':', '.']).next().unwrap_or_default().to_lowercase();
    Some(format!("{}: {area}, {severity}", words.title))
}

/// What was judged of the skin, in words.
pub fn judged_words(judged: &Judged) -> String {
    let found = [
        domain(Domain::Discolouration, judged.discolouration),
        domain(Domain::Erosion, judged.erosion),
        domain(Domain::Overgrowth, judged.overgrowth),
    ];
    let found: Vec<String> = found.into_iter().flatten().collect();
    if found.is_empty() { "clear".to_owned() } else { found.join("; ") }
}

/// The last score of each stoma with the skin in words. `newest_first` is one patient's; stomas may hold others'.
pub fn last_skin(newest_first: &[&AssessmentRow], stomas: &[Stoma]) -> Result<String, StoreError> {
    let mut seen = Vec::new();
    let mut said = Vec::new();
    for a in newest_first {
        let Some(stoma) = stomas.iter().find(|stoma| stoma.id == a.stoma_id) else { continue };
        if seen.contains(&a.stoma_id) || stoma.reversed_on.is_some() {
            continue;
        }
        seen.push(a.stoma_id);
        let band = if a.score == 0 { String::new() } else { format!(" ({})", a.band) };
        said.push(format!(
            "{} of 15{band} on {}: {}",
            a.score,
            display::short_date(a.assessed_on),
            judged_words(&a.inputs.read()?)
        ));
    }
    if said.len() > 1 {
        for (at, words) in said.iter_mut().enumerate() {
            let kind = seen.get(at).and_then(|id| stomas.iter().find(|stoma| stoma.id == *id));
            *words = format!("{}: {words}", kind.map_or("stoma", |stoma| stoma.kind.as_str()));
        }
    }
    Ok(if said.is_empty() { "Not yet scored".to_owned() } else { said.join(" | ") })
}

/// The lists in force in one line.
pub fn supplies_line(lists: &[&[LineRow]]) -> String {
    let line = |row: &LineRow| {
        let opening = row.aperture_mm.map(|mm| format!(", opening {mm} mm")).unwrap_or_default();
        let usage = use_words(row.use_units, row.use_every_days);
        format!("{}{opening}, {usage}", item_words(&row.name, row.size.as_deref()))
    };
    let list = |rows: &&[LineRow]| rows.iter().map(line).collect::<Vec<_>>().join("; ");
    let all: Vec<String> = lists.iter().map(list).filter(|words| !words.is_empty()).collect();
    if all.is_empty() { "No list in force".to_owned() } else { all.join(" | ") }
}
