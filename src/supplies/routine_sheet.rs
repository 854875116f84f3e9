//! The change routine in one language, as page and paper both say it. Prepared text only: it loads nothing, and which
//! step comes when is decided in `rules`.

use chrono::NaiveDate;

use super::patient_words::{item, usage};
use super::rules::{ItemCategory, NoRoutine, Routine, StomaKind, routine};
use super::store::LineRow;
use crate::print::Block;
use crate::words::Language;

/// A line of a list, as far as the routine needs it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RoutineLine {
    /// What kind of item it is.
    pub category: ItemCategory,
    /// Name and size.
    pub item: String,
    /// Opening to cut, mm.
    pub opening_mm: Option<i32>,
    /// So many units every so many days.
    pub usage: (i32, i32),
}

impl RoutineLine {
    /// From a line as kept; `None` for a category that this program does not know.
    pub fn of(row: &LineRow) -> Option<Self> {
        Some(Self {
            category: ItemCategory::from_code(&row.category)?,
            item: item(row),
            opening_mm: row.aperture_mm,
            usage: (row.use_units, row.use_every_days),
        })
    }

    /// A pouch or a base plate.
    fn is_changed(&self) -> bool {
        self.category.pouch().is_some() || self.category == ItemCategory::Flange
    }
}

/// For whom, from which list.
#[derive(Clone, Copy, Debug)]
pub struct SheetFor<'a> {
    /// Kind of stoma.
    pub kind: StomaKind,
    /// When the list was signed.
    pub signed_on: NaiveDate,
    /// Its version.
    pub version: i32,
    /// Phone of the service.
    pub phone: Option<&'a str>,
}

/// One item at a step.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SheetItem {
    /// Name and size.
    pub name: String,
    /// How often, or how wide to cut; empty where neither is said.
    pub how: String,
}

/// One step.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SheetStep {
    /// "3. Clean the skin"
    pub heading: String,
    /// What to do.
    pub text: String,
    /// The patient's own items.
    pub items: Vec<SheetItem>,
}

/// Everything that the sheet says.
#[allow(missing_docs, reason = "prepared texts, named as the template reads them")]
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sheet {
    pub tag: String,
    pub title: String,
    pub list: String,
    pub stop: String,
    pub items_label: String,
    pub steps: Vec<SheetStep>,
    pub others_title: String,
    pub others_text: String,
    pub others: Vec<SheetItem>,
    pub now_title: String,
    pub now_intro: String,
    pub now: Vec<String>,
    pub now_then: String,
    pub ring_title: String,
    pub ring: Vec<String>,
    pub ring_who: String,
    pub local_advice: String,
}

/// The sheet of a list, or why there is none.
pub fn sheet(whose: SheetFor<'_>, lines: &[RoutineLine], words: &Language) -> Result<Sheet, NoRoutine> {
    let categories: Vec<ItemCategory> = lines.iter().map(|line| line.category).collect();
    let Routine { steps, not_covered, cautions } = routine(whose.kind, &categories)?;
    let often = |line: &RoutineLine| usage(words, line.usage.0, line.usage.1);
    let steps = steps.iter().enumerate().map(|(index, step)| {
        let say = |part: &str| words.say(&format!("step.{}.{part}", step.rule.id), &[]);
        let items = step.lines.iter().filter_map(|at| lines.get(*at)).map(|line| {
            // Where the hole is looked at, its width matters; where pouch or plate goes on, how often. How often the
            // rest is used does not belong here: "1 every 14 days" beside a can of remover would be read as its dose.
            let how = match line.opening_mm {
                _ if step.rule.id != "hole" && line.is_changed() => words.routine_use(&often(line)),
                Some(mm) if step.rule.id == "hole" => words.opening(&mm.to_string()),
                _ => String::new(),
            };
            SheetItem { name: line.item.clone(), how }
        });
        SheetStep {
            heading: words.routine_step(&(index + 1).to_string(), &say("title")),
            text: say("text"),
            items: items.collect(),
        }
    });
    let (now, ring): (Vec<_>, Vec<_>) = cautions.iter().partition(|caution| caution.urgent);
    let say = |of: Vec<&&super::rules::Caution>| {
        of.iter().map(|caution| words.say(&format!("caution.{}", caution.id), &[])).collect()
    };
    let others = not_covered.iter().filter_map(|at| lines.get(*at));
    Ok(Sheet {
        tag: words.tag().to_owned(),
        title: words.routine_title(),
        list: words.routine_list(
            &words.stoma(whose.kind.code()),
            &words.long_date(whose.signed_on),
            &whose.version.to_string(),
        ),
        stop: words.routine_stop(),
        items_label: words.routine_items(),
        steps: steps.collect(),
        others_title: words.routine_others(),
        others_text: words.routine_not_covered(),
        others: others.map(|line| SheetItem { name: line.item.clone(), how: often(line) }).collect(),
        now_title: words.now_title(),
        now_intro: words.now_intro(),
        now: say(now),
        now_then: words.now_then(),
        ring_title: words.ring_title(),
        ring: say(ring),
        ring_who: match whose.phone {
            Some(phone) => words.ring_phone(&phone.replace(' ', "\u{a0}")),
            None => words.ring_no_phone(),
        },
        local_advice: words.local_advice(),
    })
}

/// Lines of a list in a paragraph of its own each.
fn listed(lines: &[String]) -> Block {
    Block::Paragraph(lines.iter().map(|line| format!("•\u{a0}{line}")).collect::<Vec<_>>().join("\n"))
}

impl Sheet {
    /// The sheet on paper, without its title.
    pub fn blocks(&self) -> Vec<Block> {
        let item = |item: &SheetItem| match item.how.as_str() {
            "" => item.name.clone(),
            how => format!("{}\n{how}", item.name),
        };
        let items = |all: &[SheetItem]| all.iter().map(item).collect::<Vec<_>>().join("\n");
        let mut blocks = vec![Block::Paragraph(self.list.clone()), Block::Paragraph(self.stop.clone())];
        for step in &self.steps {
            blocks.push(Block::Heading(2, step.heading.clone()));
            blocks.push(Block::Paragraph(step.text.clone()));
            if !step.items.is_empty() {
                blocks.push(Block::Note(format!("{}:\n{}", self.items_label, items(&step.items))));
            }
        }
        if !self.others.is_empty() {
            blocks.push(Block::Heading(2, self.others_title.clone()));
            blocks.push(Block::Note(items(&self.others)));
            blocks.push(Block::Paragraph(self.others_text.clone()));
        }
        blocks.extend([
            Block::Heading(2, self.now_title.clone()),
            listed(&self.now),
            Block::Paragraph(self.now_intro.clone()),
            Block::Paragraph(self.now_then.clone()),
            Block::Heading(2, self.ring_title.clone()),
            listed(&self.ring),
            Block::Paragraph(self.ring_who.clone()),
            Block::Paragraph(self.local_advice.clone()),
        ]);
        blocks
    }
}
