//! The supplies page of a patient as the template reads it: lists in force, the draft's form, its check, the versions.
//!
//! Prepared text only; it loads nothing and decides nothing.

use std::collections::BTreeMap;

use askama::Template;

use super::forms::{DraftForm, ISSUES, PERIODS, TypedLine, Wrong};
use super::order::{Checked, KeptFinding, KeptVerdict, Ordered};
use super::rules::{ItemCategory, SetId, shipped_set};
use super::store::{Item, LineRow};
use crate::drafts::Draft;
use crate::web::form_view::{Choice, ErrorSummary, Field, Question, Width};
use crate::web::shell::Shell;
use crate::web::views::{Link, PatientBanner};

/// A line of a list as a table shows it.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LineView {
    pub number: String,
    pub item: String,
    /// Label and value.
    pub attributes: Vec<(String, String)>,
    pub usage: String,
    pub units: String,
    pub packs: String,
    pub lasts: String,
}

/// The list of one stoma.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
#[derive(Clone, Debug, Default)]
pub struct ListView {
    pub title: String,
    pub words: String,
    pub lines: Vec<LineView>,
    pub links: Vec<Link>,
    /// What must not be overlooked.
    pub alert: Option<String>,
}

/// One earlier or present version.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
#[derive(Clone, Debug, Default)]
pub struct VersionView {
    pub number: String,
    pub href: String,
    pub stoma: String,
    pub kind: &'static str,
    pub state: String,
    pub on: String,
    pub on_iso: String,
    pub by: String,
}

/// A finding or verdict with its source.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct CheckView {
    /// plain, good, mind, bad.
    pub kind: &'static str,
    pub word: &'static str,
    pub text: String,
    pub source: String,
    pub standing: &'static str,
}

/// Choices of a select in groups.
pub type Groups = Vec<(String, Vec<Choice>)>;

/// The boxes of one line.
#[allow(missing_docs, reason = "one field each, named as in the form")]
#[derive(Clone, Debug, Default)]
pub struct LineFields {
    pub number: String,
    pub legend: String,
    pub item: Field,
    pub groups: Groups,
    pub units: Field,
    pub every: Field,
    pub on_hand: Field,
    pub opening: Field,
    pub issue: Question,
    pub reason: Field,
    pub review: Field,
    /// Can be ticked to be taken out.
    pub out: bool,
    /// What the check made of it: "28 units: 1 pack of 30, lasts 30 days".
    pub result: Option<String>,
    pub verdict: Option<CheckView>,
}

/// The form.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
#[derive(Clone, Debug, Default)]
pub struct DraftView {
    pub heading: String,
    pub intro: String,
    pub action: String,
    pub stoma: String,
    pub draft: String,
    pub version: String,
    pub period: Question,
    pub set_words: String,
    pub set_standing: String,
    pub dispenser: Field,
    pub note: Field,
    pub lines: Vec<LineFields>,
    /// Shown once the form was checked.
    pub checked: Option<Vec<CheckView>>,
    /// Name of the patient, for the button.
    pub patient: String,
}

/// `GET /patients/{id}/supplies`
#[derive(Template)]
#[template(path = "supplies/draft.html")]
pub struct SuppliesPage {
    /// Frame.
    pub shell: Shell,
    /// Whose.
    pub banner: PatientBanner,
    /// What is wrong with the form.
    pub errors: ErrorSummary,
    /// Sentence under the heading.
    pub standfirst: String,
    /// One per stoma.
    pub lists: Vec<ListView>,
    /// Stomas a list can be drawn up for, where there are several.
    pub choose: Vec<Link>,
    /// The draft as somebody else saved it meanwhile.
    pub theirs: Vec<LineView>,
    /// What was typed into the form and not saved.
    pub draft: Draft,
    /// The form, for those who may.
    pub form: Option<DraftView>,
    /// All versions, newest first.
    pub versions: Vec<VersionView>,
}

/// The first letter in capitals.
pub fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// "1 pouch", "30 pouches": the few words of the catalogue that do not take a plain s are known here.
pub fn counted(count: i32, unit: &str) -> String {
    let plural = match unit {
        _ if count == 1 => unit.to_owned(),
        _ if ["ch", "sh", "s", "x"].iter().any(|end| unit.ends_with(end)) => format!("{unit}es"),
        _ => format!("{unit}s"),
    };
    format!("{count} {plural}")
}

/// "30 days", "1 day".
pub fn days(count: i32) -> String {
    counted(count, "day")
}

/// "3 a day", "1 every 3 days", and "4 every 7 days" as it was stated.
pub fn use_words(units: i32, every: i32) -> String {
    match every {
        1 => format!("{units} a day"),
        _ => format!("{units} every {every} days"),
    }
}

/// Name and size; of the size only the parts that the name does not say.
pub fn item_words(name: &str, size: Option<&str>) -> String {
    let new = size.unwrap_or_default().split(", ").filter(|part| !part.is_empty() && !name.contains(part));
    std::iter::once(name).chain(new).collect::<Vec<_>>().join(", ")
}

/// A line as tables show it.
pub fn line_view(row: &LineRow) -> LineView {
    let mut attributes: Vec<(String, String)> = Vec::new();
    let mut attribute = |label: &str, value: String| attributes.push((label.to_owned(), value));
    if let Some(mm) = row.aperture_mm {
        attribute("Opening", format!("{mm} mm"));
    }
    attribute("Pack", format!("of {}", counted(row.pack, &row.unit)));
    attribute("Issue", if row.issue == "acute" { "acute, once".to_owned() } else { "repeat".to_owned() });
    if row.on_hand > 0 {
        attribute("At hand", row.on_hand.to_string());
    }
    if let Some(reason) = &row.reason {
        attribute("Why", reason.clone());
    }
    if let Some(on) = row.review_on {
        attribute("Look again", crate::display::short_date(on));
    }
    LineView {
        number: row.position.to_string(),
        item: item_words(&row.name, row.size.as_deref()),
        attributes,
        usage: use_words(row.use_units, row.use_every_days),
        units: row.supplied.to_string(),
        packs: row.packs.to_string(),
        lasts: days(row.days_supply),
    }
}

/// Words before a text that is about some lines: "Line 2: ", "Lines 1 and 3: ".
pub fn line_words(lines: &[usize]) -> String {
    let numbers: Vec<String> = lines.iter().map(ToString::to_string).collect();
    match numbers.as_slice() {
        [] => String::new(),
        [one] => format!("Line {one}: "),
        [first @ .., last] => format!("Lines {} and {last}: ", first.join(", ")),
    }
}

/// A finding as lists show it.
pub fn finding_view(found: &KeptFinding) -> CheckView {
    let (kind, word) = match found.level.as_str() {
        "refuse" => ("bad", "Cannot be right"),
        "warn" => ("mind", "Look again"),
        _ => ("plain", "Note"),
    };
    CheckView {
        kind,
        word,
        text: format!("{}{}", line_words(&found.lines), found.text),
        source: found.source.clone(),
        standing: found.standing.words(),
    }
}

/// A verdict as lists show it; `before` says which line. What the tag says is not said again.
pub fn verdict_view(verdict: &KeptVerdict, before: &str) -> CheckView {
    let (kind, word, said) = match verdict.code.as_str() {
        "over" => ("mind", "Over: review", "over: review: "),
        "above-usual" => ("mind", "Above usual", "above the usual: "),
        "under" => ("mind", "Under", "less than usual: "),
        "in-range" => ("good", "In range", "in range: "),
        _ => ("plain", "No figure", ""),
    };
    CheckView {
        kind,
        word,
        text: format!("{before}{}", verdict.words.strip_prefix(said).unwrap_or(&verdict.words)),
        source: verdict.source.clone(),
        standing: verdict.standing.words(),
    }
}

/// The catalogue by category, in the order of the trade; `chosen` stays in the list even when it is offered no more.
fn groups(items: &[Item], chosen: &str) -> Groups {
    let mut by: BTreeMap<ItemCategory, Vec<Choice>> = BTreeMap::new();
    for item in items {
        let id = item.id.to_string();
        let (Some(category), true) = (ItemCategory::from_code(&item.category), item.active || id == chosen) else {
            continue;
        };
        let gone = if item.active { "" } else { " (no longer offered)" };
        let words = item_words(&item.name, item.size.as_deref());
        let checked = id == chosen;
        let choice = Choice::new(id, format!("{words}, pack of {}{gone}", item.pack)).checked(checked);
        by.entry(category).or_default().push(choice);
    }
    by.into_iter().map(|(category, choices)| (capital(category.words()), choices)).collect()
}

/// What a form and its check are shown with.
pub struct Shown<'a> {
    /// As typed.
    pub form: &'a DraftForm,
    /// What is wrong.
    pub wrong: &'a Wrong,
    /// The catalogue, with what is no longer offered.
    pub items: &'a [Item],
    /// What the check made of it, and of which lines.
    pub checked: Option<(&'a [Ordered], &'a Checked)>,
    /// Code of the service's quantity set.
    pub set: &'a str,
}

impl Shown<'_> {
    fn error(&self, id: &str) -> Option<String> {
        self.wrong.iter().find(|(wrong, _)| wrong == id).map(|(_, text)| text.clone())
    }

    fn field(&self, name: &str, label: &str, value: &str) -> Field {
        Field::new(name, label).value(value).error(self.error(name))
    }

    /// A box of a line: many lines send one name, so the element id carries the line's number.
    fn line_field(&self, name: &str, number: usize, label: &str, value: &str) -> Field {
        let id = format!("{name}-{number}");
        Field::new(name, label).error(self.error(&id)).id(id).value(value).width(Width::Short)
    }

    fn line(&self, index: usize, line: &TypedLine) -> LineFields {
        let number = index + 1;
        let issues = std::iter::once(Choice::new("", "Choose"))
            .chain(ISSUES.iter().map(|(code, word)| Choice::new(*code, *word)))
            .collect();
        let made = self.checked.and_then(|(ordered, checked)| ordered.get(index).zip(checked.lines.get(index)));
        LineFields {
            number: number.to_string(),
            legend: format!("Line {number}"),
            item: self.line_field("item", number, "Item", &line.item).width(Width::Full),
            groups: groups(self.items, &line.item),
            units: self.line_field("units", number, "Uses", &line.units),
            every: self.line_field("every", number, "every", &line.every).unit("days"),
            on_hand: self.line_field("on_hand", number, "At hand", &line.on_hand).unit("units").optional(),
            opening: self.line_field("opening", number, "Opening", &line.opening).unit("mm").optional(),
            issue: Question::new(
                Field { value: String::new(), ..self.line_field("issue", number, "Issue", "") },
                Choice::choose(issues, &line.issue),
            ),
            reason: self
                .line_field("reason", number, "Why it is needed, for an accessory", &line.reason)
                .width(Width::Full),
            review: self.line_field("review", number, "Look again on", &line.review).width(Width::Medium).optional(),
            out: !line.is_empty(),
            result: made.map(|(ordered, made)| {
                let units = counted(made.units, &ordered.item.unit);
                let packs = counted(made.packs, "pack");
                format!("{units} needed: {packs} of {}, lasts {}", ordered.item.pack, days(made.days_supply))
            }),
            verdict: made.map(|(_, made)| verdict_view(&made.verdict, "")),
        }
    }

    /// The form as the page shows it; the caller fills in whose it is.
    pub fn view(&self) -> DraftView {
        let periods = PERIODS.iter().map(|days| Choice::new(days.to_string(), format!("{days} days"))).collect();
        let set = SetId::from_code(self.set).and_then(shipped_set);
        DraftView {
            version: self.form.version.to_string(),
            draft: self.form.draft.clone(),
            stoma: self.form.stoma.clone(),
            period: Question::new(self.field("period", "For how many days", &self.form.period), periods),
            set_words: set.map_or_else(|| "none of those in this program".to_owned(), |set| set.title.clone()),
            set_standing: set.map(|set| set.source.standing.words().to_owned()).unwrap_or_default(),
            dispenser: self.field("dispenser", "Dispenser", &self.form.dispenser).width(Width::Full).optional(),
            note: self.field("note", "Note for GP and dispenser", &self.form.note).width(Width::Full).optional(),
            lines: self.form.lines().iter().enumerate().map(|(index, line)| self.line(index, line)).collect(),
            checked: self.checked.map(|(_, checked)| checked.findings.iter().map(finding_view).collect()),
            ..DraftView::default()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_and_items_are_said_as_people_say_them() {
        let counts =
            [(1, "pouch"), (30, "pouch"), (2, "can"), (2, "box"), (0, "day")].map(|(n, unit)| counted(n, unit));
        assert_eq!(counts, ["1 pouch", "30 pouches", "2 cans", "2 boxes", "0 days"]);
        assert_eq!(
            item_words("Flange, coupling 50 mm", Some("coupling 50 mm, cut to 40 mm")),
            "Flange, coupling 50 mm, cut to 40 mm"
        );
        assert_eq!(item_words("Ring", None), "Ring");
        assert_eq!(line_words(&[1, 3, 4]), "Lines 1, 3 and 4: ");
        assert_eq!(line_words(&[]), "");
    }
}
