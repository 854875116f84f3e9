//! The form in which a list of supplies is drawn up: what comes in, and what is wrong with it.
//!
//! It checks what was typed and refuses with words that say what to do; what the lines mean for the patient is the
//! rules' matter. Nothing typed is repaired.

use chrono::NaiveDate;
use serde::Deserialize;
use validator::Validate;

use super::order::Ordered;
use super::rules::{ItemCategory, Period, Use};
use super::store::{Item, LineRow, Prescription};
use crate::dates_in;
use crate::display;

/// Periods that can be chosen, in days: a first supply of 14 days from the clinic and quantities for 28 days are what the
/// Dorset Formulary, chapter 19, asks for (read); 30 days is a month as the quantity sets are compared (local).
pub const PERIODS: [u16; 3] = [14, 28, 30];
/// Empty lines on a form, so that it works without a script (local).
pub const SPARE_LINES: usize = 3;
/// Most lines of a list (local: the longest lists met have a dozen).
pub const MOST_LINES: usize = 30;

/// Bounds against typing mistakes, all local.
const MOST_UNITS: u32 = 1_000;
const MOST_ON_HAND: u32 = 10_000;
const OPENING_MM: std::ops::RangeInclusive<u32> = 1..=200;
const LONGEST_REASON: usize = 200;

/// repeat and acute, code and word.
pub const ISSUES: [(&str, &str); 2] = [("repeat", "Repeat"), ("acute", "Acute (once)")];

/// What the form sends. The lists run beside each other: one value a line, in the order of the page.
#[derive(Clone, Debug, Default, Deserialize, Validate)]
#[serde(default)]
pub struct DraftForm {
    /// save, check or more.
    pub act: String,
    /// Stoma it is for.
    pub stoma: String,
    /// Id of the draft; chosen when the form is opened, so that sending it twice makes one.
    pub draft: String,
    /// Row version that was shown; 1 for a new draft, so that sending it twice saves it twice and not two of it.
    pub version: i32,
    /// Days.
    pub period: String,
    /// Who supplies.
    #[validate(length(max = 200, message = "Shorten the dispenser to 200 characters"))]
    pub dispenser: String,
    /// For GP and dispenser.
    #[validate(length(max = 1000, message = "Shorten the note to 1,000 characters"))]
    pub note: String,
    /// Item ids.
    pub item: Vec<String>,
    /// Units used …
    pub units: Vec<String>,
    /// … every so many days.
    pub every: Vec<String>,
    /// Units at hand.
    pub on_hand: Vec<String>,
    /// Opening, mm.
    pub opening: Vec<String>,
    /// repeat or acute.
    pub issue: Vec<String>,
    /// Why.
    pub reason: Vec<String>,
    /// Look again on.
    pub review: Vec<String>,
    /// Numbers of the lines that are ticked to be taken out, from 1.
    pub out: Vec<usize>,
}

/// One line as typed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
#[allow(missing_docs, reason = "as in the form above")]
pub struct TypedLine {
    pub item: String,
    pub units: String,
    pub every: String,
    pub on_hand: String,
    pub opening: String,
    pub issue: String,
    pub reason: String,
    pub review: String,
}

impl TypedLine {
    /// True when nothing was typed.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// A line of the records as it opens in the form; what was at hand then is not carried on, for it was used since.
    fn of(row: &LineRow, with_stock: bool) -> Self {
        Self {
            item: row.item_id.to_string(),
            units: row.use_units.to_string(),
            every: row.use_every_days.to_string(),
            on_hand: if with_stock && row.on_hand > 0 { row.on_hand.to_string() } else { String::new() },
            opening: row.aperture_mm.map(|mm| mm.to_string()).unwrap_or_default(),
            issue: row.issue.clone(),
            reason: row.reason.clone().unwrap_or_default(),
            review: row.review_on.map(display::short_date).unwrap_or_default(),
        }
    }
}

/// What a good form says.
#[derive(Clone, Debug)]
pub struct DraftFacts {
    /// Days.
    pub period: Period,
    /// Who supplies.
    pub dispenser: Option<String>,
    /// For GP and dispenser.
    pub note: Option<String>,
    /// Lines, empty ones left out.
    pub lines: Vec<Ordered>,
}

/// What is wrong: element id and words, in the order of the page.
pub type Wrong = Vec<(String, String)>;

fn filled(text: &str) -> Option<String> {
    let text = text.trim();
    (!text.is_empty()).then(|| text.to_owned())
}

impl DraftForm {
    /// The form on a draft, or on the list in force from which a new draft begins.
    pub fn of(held: Option<&Prescription>, rows: &[LineRow], dispenser: Option<&str>) -> Self {
        let is_draft = held.is_some_and(|p| p.status == "draft");
        let text = |value: Option<&String>| value.cloned().unwrap_or_default();
        let mut form = Self {
            version: held.filter(|_| is_draft).map_or(1, |p| p.version),
            period: held.map(|p| p.period_days.to_string()).unwrap_or_default(),
            dispenser: held.map_or_else(|| dispenser.unwrap_or_default().to_owned(), |p| text(p.dispenser.as_ref())),
            note: text(held.and_then(|p| p.note.as_ref())),
            ..Self::default()
        };
        form.set_lines(rows.iter().map(|row| TypedLine::of(row, is_draft)).collect());
        form
    }

    /// The lines as typed.
    pub fn lines(&self) -> Vec<TypedLine> {
        let count = self.item.len().min(MOST_LINES);
        let at = |list: &[String], index: usize| list.get(index).map(|text| text.trim().to_owned()).unwrap_or_default();
        let read = |index| TypedLine {
            item: at(&self.item, index),
            units: at(&self.units, index),
            every: at(&self.every, index),
            on_hand: at(&self.on_hand, index),
            opening: at(&self.opening, index),
            issue: at(&self.issue, index),
            reason: at(&self.reason, index),
            review: at(&self.review, index),
        };
        (0..count).map(read).collect()
    }

    fn set_lines(&mut self, lines: Vec<TypedLine>) {
        let column = |of: fn(&TypedLine) -> &String| lines.iter().map(|line| of(line).clone()).collect();
        self.item = column(|line| &line.item);
        self.units = column(|line| &line.units);
        self.every = column(|line| &line.every);
        self.on_hand = column(|line| &line.on_hand);
        self.opening = column(|line| &line.opening);
        self.issue = column(|line| &line.issue);
        self.reason = column(|line| &line.reason);
        self.review = column(|line| &line.review);
        self.out = Vec::new();
    }

    /// Takes out what was ticked and what is empty; says how many empty lines there were.
    pub fn tidy(&mut self) -> usize {
        let lines = self.lines();
        let empty = lines.iter().filter(|line| line.is_empty()).count();
        let ticked = |index: usize| self.out.contains(&(index + 1));
        let kept = lines.into_iter().enumerate().filter(|(index, line)| !ticked(*index) && !line.is_empty());
        let kept = kept.map(|(_, line)| line).collect();
        self.set_lines(kept);
        empty
    }

    /// Adds empty lines behind the others.
    pub fn add_empty(&mut self, count: usize) {
        let mut lines = self.lines();
        let room = MOST_LINES.saturating_sub(lines.len());
        lines.extend(std::iter::repeat_n(TypedLine::default(), count.min(room)));
        self.set_lines(lines);
    }

    /// Reads a tidied form: facts, or everything that is wrong.
    pub fn read(&self, items: &[Item], today: NaiveDate) -> Result<DraftFacts, Wrong> {
        let mut wrong = Wrong::new();
        let period = self.period.trim().parse().ok().filter(|days| PERIODS.contains(days)).and_then(Period::new);
        if period.is_none() {
            wrong.push(("period".to_owned(), "Choose for how many days the list is".to_owned()));
        }
        if let Err(errors) = self.validate() {
            let found = errors.field_errors();
            for name in ["dispenser", "note"] {
                let message = found.get(name).and_then(|e| e.first()).and_then(|e| e.message.clone());
                wrong.extend(message.map(|m| (name.to_owned(), m.to_string())));
            }
        }
        let typed = self.lines();
        let mut lines: Vec<(usize, Ordered)> = Vec::new();
        for (index, line) in typed.iter().enumerate().filter(|(_, line)| !line.is_empty()) {
            let number = index + 1;
            let Some(read) = read_line(number, line, items, today, &mut wrong) else { continue };
            let same = |held: &Ordered| held.item.id == read.item.id && held.aperture_mm == read.aperture_mm;
            if let Some((other, _)) = lines.iter().find(|(_, held)| same(held)) {
                wrong.push((
                    format!("item-{number}"),
                    format!("Line {number} orders the same as line {other}. Put them into one line"),
                ));
            }
            lines.push((number, read));
        }
        if typed.iter().all(TypedLine::is_empty) {
            wrong.push(("item-1".to_owned(), "Choose at least one item".to_owned()));
        }
        match period {
            Some(period) if wrong.is_empty() => Ok(DraftFacts {
                period,
                dispenser: filled(&self.dispenser),
                note: filled(&self.note),
                lines: lines.into_iter().map(|(_, line)| line).collect(),
            }),
            _ => Err(wrong),
        }
    }
}

/// A whole number within bounds; an empty box is `None`.
fn whole(typed: &str, bounds: &std::ops::RangeInclusive<u32>) -> Result<Option<u32>, ()> {
    if typed.is_empty() {
        return Ok(None);
    }
    typed.parse().ok().filter(|n| bounds.contains(n)).map(Some).ok_or(())
}

fn read_line(number: usize, line: &TypedLine, items: &[Item], today: NaiveDate, wrong: &mut Wrong) -> Option<Ordered> {
    let before = wrong.len();
    let mut refuse = |box_name: &str, message: String| wrong.push((format!("{box_name}-{number}"), message));
    let item = items.iter().find(|item| item.id.to_string() == line.item);
    match item {
        None => refuse("item", format!("Line {number}: choose the item, or clear the line")),
        Some(item) if !item.active => {
            refuse("item", format!("Line {number}: {} is no longer offered. Choose another item", item.name));
        }
        Some(_) => {}
    }
    let category = item.and_then(|item| ItemCategory::from_code(&item.category));
    let units = whole(&line.units, &(1..=MOST_UNITS)).ok().flatten();
    if units.is_none() {
        refuse(
            "units",
            format!(
                "Line {number}: enter how many are used, a whole number up to {MOST_UNITS}. 2.5 a day is 5 every 2 days"
            ),
        );
    }
    let every = whole(&line.every, &(1..=Use::MAX_DAYS)).ok().flatten();
    if every.is_none() {
        refuse("every", format!("Line {number}: enter every how many days they are used, 1 for every day"));
    }
    let on_hand = whole(&line.on_hand, &(0..=MOST_ON_HAND));
    if on_hand.is_err() {
        refuse(
            "on_hand",
            format!("Line {number}: enter what is at hand as a whole number of units, or leave it empty"),
        );
    }
    let opening = whole(&line.opening, &OPENING_MM);
    match opening {
        Err(()) => {
            refuse("opening", format!("Line {number}: enter the opening in whole millimetres, or leave it empty"));
        }
        Ok(Some(_)) if category.is_some_and(|category| !category.has_plate()) => {
            refuse("opening", format!("Line {number}: only a flange or a one-piece pouch has an opening. Clear it"));
        }
        Ok(_) => {}
    }
    if !ISSUES.iter().any(|(code, _)| *code == line.issue) {
        refuse("issue", format!("Line {number}: choose repeat or acute"));
    }
    if category.is_some_and(ItemCategory::is_accessory) && line.reason.is_empty() {
        refuse("reason", format!("Line {number}: write why this accessory is needed"));
    } else if line.reason.chars().count() > LONGEST_REASON {
        refuse("reason", format!("Line {number}: shorten the reason to {LONGEST_REASON} characters"));
    }
    let review_on = match line.review.as_str() {
        "" => None,
        typed => match dates_in::read_date(typed, today) {
            Ok(date) if date < today => {
                refuse(
                    "review",
                    format!(
                        "Line {number}: {} has passed. Look at this item again and enter a new date, or clear it",
                        display::short_date(date)
                    ),
                );
                None
            }
            Ok(date) => Some(date),
            Err(problem) => {
                refuse("review", format!("Line {number}: {problem}"));
                None
            }
        },
    };
    if wrong.len() > before {
        return None;
    }
    Some(Ordered {
        item: item?.clone(),
        uses: Use::new(units?, every?)?,
        on_hand: on_hand.ok()?.unwrap_or(0),
        aperture_mm: opening.ok()?.and_then(|mm| i32::try_from(mm).ok()),
        issue: line.issue.clone(),
        reason: filled(&line.reason),
        review_on,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::db::Stamp;
    use crate::db::ids::ServiceId;
    use crate::supplies::catalogue::starter_items;

    fn today() -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 11, 25).unwrap()
    }

    fn items() -> Vec<Item> {
        starter_items(ServiceId::new(), Stamp::new(today().and_time(chrono::NaiveTime::MIN).and_utc()))
    }

    fn line(items: &[Item], category: &str) -> TypedLine {
        let item = items.iter().find(|item| item.category == category).unwrap();
        let [units, every, issue] = ["1", "3", "repeat"].map(str::to_owned);
        TypedLine { item: item.id.to_string(), units, every, issue, ..TypedLine::default() }
    }

    fn wrong(items: &[Item], lines: Vec<TypedLine>) -> Vec<String> {
        let mut form = DraftForm { period: "28".to_owned(), ..DraftForm::default() };
        form.set_lines(lines);
        form.read(items, today()).err().unwrap_or_default().into_iter().map(|(id, _)| id).collect()
    }

    #[test]
    fn an_accessory_needs_a_reason_and_a_pouch_does_not() {
        let items = items();
        assert_eq!(wrong(&items, vec![line(&items, "one-piece-drainable"), line(&items, "ring")]), ["reason-2"]);
    }

    #[test]
    fn what_was_typed_wrong_is_named_and_never_mended() {
        let items = items();
        let good = || line(&items, "one-piece-drainable");
        let belt = || TypedLine { reason: "hernia".to_owned(), ..line(&items, "belt") };
        let text = |text: &str| text.to_owned();
        for (typed, id) in [
            (TypedLine { units: text("2.5"), ..good() }, "units-1"),
            (TypedLine { every: text("0"), ..good() }, "every-1"),
            (TypedLine { on_hand: text("-1"), ..good() }, "on_hand-1"),
            (TypedLine { opening: text("32 mm"), ..good() }, "opening-1"),
            (TypedLine { opening: text("32"), ..belt() }, "opening-1"),
            (TypedLine { issue: text("often"), ..good() }, "issue-1"),
            (TypedLine { review: text("24 Nov 2026"), ..good() }, "review-1"),
            (TypedLine { item: text("x"), ..good() }, "item-1"),
        ] {
            assert_eq!(wrong(&items, vec![typed.clone()]), [id], "{typed:?}");
        }
        assert!(wrong(&items, vec![good(), belt(), TypedLine { opening: text("32"), ..good() }]).is_empty());
        assert_eq!(wrong(&items, vec![good(), good()]), ["item-2"], "the same item twice");
        assert_eq!(wrong(&items, Vec::new()), ["item-1"]);
    }

    #[test]
    fn ticked_and_empty_lines_go_and_the_others_keep_their_order() {
        let items = items();
        let mut form = DraftForm::default();
        let lines = ["ring", "belt", "flange"].map(|category| line(&items, category));
        form.set_lines(vec![lines[0].clone(), TypedLine::default(), lines[1].clone(), lines[2].clone()]);
        form.out = vec![3];
        assert_eq!(form.tidy(), 1);
        assert_eq!(form.lines(), [lines[0].clone(), lines[2].clone()]);
    }
}
