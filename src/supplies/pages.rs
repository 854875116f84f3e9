//! Page structs of the summary, the catalogue and the quantity sets, and what changed between two lists in words.
//!
//! Prepared text only: nothing here loads or decides.

use askama::Template;

use super::draft_page::{CheckView, LineView, counted, item_words, use_words};
use super::store::{LineRow, Prescription};
use crate::web::form_view::{Choice, ErrorSummary, Field};
use crate::web::shell::Shell;
use crate::web::views::PatientBanner;

/// One thing that differs from the version before.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ChangeView {
    /// plain, good, mind, bad.
    pub kind: &'static str,
    /// Start, Stop, Change, Same.
    pub word: &'static str,
    pub text: String,
}

/// The form of the signature.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
#[derive(Clone, Debug, Default)]
pub struct SignView {
    pub action: String,
    pub patient_id: String,
    pub version: String,
    pub seal: String,
    /// What a signature does.
    pub words: String,
    /// Asked for when a finding says that the order cannot be right.
    pub reason: Option<Field>,
    pub patient: String,
}

/// The form that stops a list or throws a draft away.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
#[derive(Clone, Debug, Default)]
pub struct StopView {
    pub heading: String,
    pub action: String,
    pub patient_id: String,
    pub version: String,
    pub reason: Field,
    pub button: String,
    pub patient: String,
}

/// `GET /prescriptions/{id}/summary`
#[derive(Template)]
#[template(path = "supplies/summary.html")]
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
pub struct SummaryPage {
    pub shell: Shell,
    pub banner: PatientBanner,
    pub errors: ErrorSummary,
    pub heading: String,
    /// Kind of the tag.
    pub state_kind: &'static str,
    /// State in a word.
    pub state: &'static str,
    /// State in a sentence.
    pub standfirst: String,
    pub pdf_href: String,
    pub large_href: String,
    /// The change routine, of a list in force.
    pub routine_href: Option<String>,
    pub all_href: String,
    pub edit_href: Option<String>,
    /// Label and value.
    pub facts: Vec<(String, String)>,
    pub period: String,
    pub lines: Vec<LineView>,
    pub note: Option<String>,
    pub changes_since: String,
    pub changes: Vec<ChangeView>,
    pub checks_note: String,
    pub checks: Vec<CheckView>,
    pub sign: Option<SignView>,
    pub stop: Option<StopView>,
    /// Label and value.
    pub issued: Vec<(String, String)>,
    pub footer: String,
}

/// One item of the catalogue.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
#[derive(Clone, Debug, Default)]
pub struct ItemView {
    pub id: String,
    pub name: String,
    pub pack: String,
    /// Label and value.
    pub attributes: Vec<(String, String)>,
    pub source: String,
    pub offered: bool,
}

/// Items of one category.
#[derive(Clone, Debug, Default)]
pub struct ItemGroup {
    /// Element id.
    pub id: String,
    /// "One-piece closed pouch".
    pub title: String,
    /// Accessory or appliance.
    pub kind: String,
    /// Items.
    pub items: Vec<ItemView>,
}

/// The form for an own item.
#[allow(missing_docs, reason = "one field each, named as in the form")]
#[derive(Clone, Debug, Default)]
pub struct ItemFields {
    pub category: (Field, Vec<Choice>),
    pub name: Field,
    pub size: Field,
    pub pack: Field,
    pub unit: Field,
    pub convexity: (Field, Vec<Choice>),
    pub precut: (Field, Vec<Choice>),
    pub coupling_mm: Field,
    pub coupling: (Field, Vec<Choice>),
    pub content_g: Field,
    pub content_ml: Field,
    pub latex: (Field, Vec<Choice>),
    pub animal_derived: (Field, Vec<Choice>),
    pub source: Field,
}

/// `GET /catalogue`
#[derive(Template)]
#[template(path = "supplies/catalogue.html")]
pub struct CataloguePage {
    /// Frame.
    pub shell: Shell,
    /// What is wrong with the form.
    pub errors: ErrorSummary,
    /// How many items, in words.
    pub standfirst: String,
    /// By category.
    pub groups: Vec<ItemGroup>,
    /// For those who may: the form.
    pub form: Option<ItemFields>,
    /// The form's own id.
    pub once: String,
}

/// One row of a quantity set.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
#[derive(Clone, Debug, Default)]
pub struct FigureView {
    pub words: String,
    pub code: Option<String>,
    pub only: String,
    pub usual: String,
    pub beyond: String,
    pub per: String,
    pub note: Option<String>,
    pub source: String,
    pub standing: &'static str,
}

/// One quantity set.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
#[derive(Clone, Debug, Default)]
pub struct SetView {
    pub id: String,
    pub title: String,
    pub in_use: bool,
    pub source: String,
    pub standing: &'static str,
    /// What to know of the set as a whole.
    pub notes: Vec<String>,
    pub rows: Vec<FigureView>,
    /// "23 rows".
    pub count: String,
    /// Codes for which the source says that it publishes no maximum.
    pub without: Option<String>,
}

/// `GET /quantities`
#[derive(Template)]
#[template(path = "supplies/quantities.html")]
pub struct QuantitiesPage {
    /// Frame.
    pub shell: Shell,
    /// What is wrong with the form.
    pub errors: ErrorSummary,
    /// Which set is in use, in words.
    pub standfirst: String,
    /// The sets.
    pub sets: Vec<SetView>,
    /// For those who may: the choice.
    pub choice: Option<(Field, Vec<Choice>)>,
}

/// Something to be known of the list as a whole.
pub(super) fn plain(word: &'static str, text: impl Into<String>) -> ChangeView {
    ChangeView { kind: "plain", word, text: text.into() }
}

/// What starts, stops and changes between two lists, in words.
pub fn changes(before: (&Prescription, &[LineRow]), now: (&Prescription, &[LineRow])) -> Vec<ChangeView> {
    let mut left: Vec<&LineRow> = before.1.iter().collect();
    let mut pairs: Vec<(&LineRow, Option<&LineRow>)> = now.1.iter().map(|row| (row, None)).collect();
    // The same item with the same opening is the same line; only then the same item with another opening.
    let same: [fn(&LineRow, &LineRow) -> bool; 2] =
        [|a, b| a.item_id == b.item_id && a.aperture_mm == b.aperture_mm, |a, b| a.item_id == b.item_id];
    for is_same in same {
        for (row, old) in pairs.iter_mut().filter(|(_, old)| old.is_none()) {
            *old = left.iter().position(|candidate| is_same(candidate, row)).map(|at| left.remove(at));
        }
    }
    let mut found = Vec::new();
    for (row, old) in pairs {
        let item = item_words(&row.name, row.size.as_deref());
        match old {
            None => {
                let why = row.reason.as_ref().map(|why| format!(", {why}")).unwrap_or_default();
                let quantity = counted(row.supplied, &row.unit);
                let usage = use_words(row.use_units, row.use_every_days);
                found.push(ChangeView {
                    kind: "good",
                    word: "Start",
                    text: format!("{item}: {quantity}, {usage}{why}"),
                });
            }
            Some(old) => {
                let parts = differences(old, row);
                if !parts.is_empty() {
                    found.push(ChangeView {
                        kind: "mind",
                        word: "Change",
                        text: format!("{item}: {}", parts.join("; ")),
                    });
                }
            }
        }
    }
    for row in left {
        let item = item_words(&row.name, row.size.as_deref());
        found.push(ChangeView { kind: "bad", word: "Stop", text: format!("{item}: remove it from the repeat list") });
    }
    if before.0.period_days != now.0.period_days {
        let text = format!("Period {} → {} days", before.0.period_days, now.0.period_days);
        found.push(ChangeView { kind: "mind", word: "Change", text });
    }
    if before.0.dispenser != now.0.dispenser {
        let name = |of: &Prescription| of.dispenser.clone().unwrap_or_else(|| "not recorded".to_owned());
        let text = format!("Dispenser {} → {}", name(before.0), name(now.0));
        found.push(ChangeView { kind: "mind", word: "Change", text });
    }
    if found.is_empty() {
        found.push(plain("Same", "Nothing changed."));
    }
    found
}

fn differences(old: &LineRow, new: &LineRow) -> Vec<String> {
    let mut parts = Vec::new();
    let mut part = |what: &str, old: String, new: String| {
        if old != new {
            parts.push(format!("{what} {old} → {new}"));
        }
    };
    if old.supplied != new.supplied {
        part("quantity", old.supplied.to_string(), counted(new.supplied, &new.unit));
    }
    part("use", use_words(old.use_units, old.use_every_days), use_words(new.use_units, new.use_every_days));
    let opening = |mm: Option<i32>| mm.map_or_else(|| "not stated".to_owned(), |mm| format!("{mm} mm"));
    part("opening", opening(old.aperture_mm), opening(new.aperture_mm));
    part("issue", old.issue.clone(), new.issue.clone());
    parts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::db::ids::{ItemId, LineId, PatientId, PrescriptionId, ServiceId, StaffId, StomaId};
    use crate::db::{Doc, Stamp};

    fn list(period_days: i32) -> Prescription {
        Prescription {
            id: PrescriptionId::new(),
            service_id: ServiceId::new(),
            patient_id: PatientId::new(),
            stoma_id: StomaId::new(),
            number: 1,
            status: "signed".to_owned(),
            period_days,
            quantity_set: "doncaster".to_owned(),
            rule_version: "supply-1".to_owned(),
            findings: Doc(serde_json::json!([])),
            dispenser: None,
            note: None,
            override_reason: None,
            drawn_up_by: StaffId::new(),
            drawn_up_at: Stamp::new(chrono::DateTime::UNIX_EPOCH),
            signed_by: None,
            signed_at: None,
            supersedes_id: None,
            stopped_reason: None,
            version: 1,
        }
    }

    fn row(item: ItemId, name: &str, supplied: i32) -> LineRow {
        LineRow {
            id: LineId::new(),
            service_id: ServiceId::new(),
            patient_id: PatientId::new(),
            prescription_id: PrescriptionId::new(),
            position: 1,
            item_id: item,
            category: "one-piece-closed".to_owned(),
            name: name.to_owned(),
            size: None,
            unit: "pouch".to_owned(),
            pack: 30,
            use_units: 1,
            use_every_days: 1,
            on_hand: 0,
            aperture_mm: None,
            issue: "repeat".to_owned(),
            reason: None,
            review_on: None,
            units: supplied,
            packs: supplied / 30,
            supplied,
            days_supply: supplied,
            verdict: Doc(serde_json::json!({})),
        }
    }

    fn words(before: (&Prescription, &[LineRow]), now: (&Prescription, &[LineRow])) -> Vec<String> {
        changes(before, now).into_iter().map(|change| format!("{}: {}", change.word, change.text)).collect()
    }

    #[test]
    fn what_starts_stops_and_changes_is_said() {
        let (a, b, c) = (ItemId::new(), ItemId::new(), ItemId::new());
        let before = [row(a, "Pouch A", 30), row(b, "Pouch B", 30)];
        let now = [LineRow { aperture_mm: Some(32), ..row(a, "Pouch A", 60) }, row(c, "Pouch C", 1)];
        let said = words((&list(30), &before), (&list(28), &now));
        let expected = [
            "Change: Pouch A: quantity 30 → 60 pouches; opening not stated → 32 mm",
            "Start: Pouch C: 1 pouch, 1 a day",
            "Stop: Pouch B: remove it from the repeat list",
            "Change: Period 30 → 28 days",
        ];
        assert_eq!(said, expected);
    }

    #[test]
    fn one_item_with_two_openings_is_two_lines() {
        let item = ItemId::new();
        let cut = |mm| LineRow { aperture_mm: Some(mm), ..row(item, "Pouch", 30) };
        let same = words((&list(28), &[cut(30), cut(35)]), (&list(28), &[cut(35), cut(30)]));
        assert_eq!(same, ["Same: Nothing changed."]);
        let one_gone = words((&list(28), &[cut(30), cut(35)]), (&list(28), &[cut(35)]));
        assert_eq!(one_gone, ["Stop: Pouch: remove it from the repeat list"]);
    }
}
