//! Fit and safety findings: their texts as data (`findings.toml`), and the list that the checks fill.
//!
//! When a finding applies stands in `fit` and `care`; this file only gives it words, level and source, and orders the
//! list. A finding never changes a quantity.

use std::sync::LazyLock;

use serde::Deserialize;

use super::items::ItemCategory;
use super::order::{Line, LinePlan, SupplyRequest, coded};
use super::sets::QuantitySet;
use super::{DataError, care, fit};
use crate::provenance::{Source, Standing};

coded! {
    /// How grave a finding is, the gravest first.
    Level {
        /// The order as written cannot be right.
        Refuse = "refuse",
        /// Look again before it goes out.
        Warn = "warn",
        /// To be known.
        Note = "note",
    }
}

/// One finding.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Code of the rule.
    pub rule: String,
    /// How grave it is.
    pub level: Level,
    /// Indexes of the lines it is about; empty for the order as a whole.
    pub lines: Vec<usize>,
    /// What to know, in plain words.
    pub text: String,
    /// Where the rule comes from.
    pub source: Source,
}

/// A rule's words, as read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RuleText {
    /// Code of the rule.
    pub rule: String,
    /// How grave it is.
    pub level: Level,
    /// Words with `{names}` to be filled.
    pub text: String,
    /// Where it comes from.
    pub source: Source,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    rules: Vec<RuleRow>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RuleRow {
    rule: String,
    level: String,
    text: String,
    source: String,
    standing: Standing,
}

/// Reads the shipped texts.
pub fn load_rule_texts() -> Result<Vec<RuleText>, DataError> {
    let fail = |message: String| DataError::new("findings.toml", message);
    let file: File = toml::from_str(include_str!("findings.toml")).map_err(|error| fail(error.to_string()))?;
    file.rules
        .into_iter()
        .map(|row| {
            let level = Level::from_code(&row.level).ok_or_else(|| fail(format!("{}: unknown level", row.rule)))?;
            let source = Source { source: row.source.into(), standing: row.standing };
            Ok(RuleText { rule: row.rule, level, text: row.text, source })
        })
        .collect()
}

/// The shipped texts. Empty only if the file cannot be read, which a test rules out.
pub fn rule_texts() -> &'static [RuleText] {
    static TEXTS: LazyLock<Vec<RuleText>> = LazyLock::new(|| load_rule_texts().unwrap_or_default());
    &TEXTS
}

/// What the checks look at.
pub(super) struct Order<'a> {
    pub request: &'a SupplyRequest,
    pub plans: &'a [LinePlan],
    pub sets: &'a [&'a QuantitySet],
}

impl Order<'_> {
    /// Indexes of the lines for which `of` holds.
    pub fn lines(&self, of: impl Fn(&Line) -> bool) -> Vec<usize> {
        self.request.lines.iter().enumerate().filter(|(_, line)| of(line)).map(|(index, _)| index).collect()
    }

    /// Indexes of the lines for one of these items.
    pub fn of_items(&self, items: &[ItemCategory]) -> Vec<usize> {
        self.lines(|line| items.contains(&line.item))
    }
}

/// The list being filled.
#[derive(Default)]
pub(super) struct Report {
    found: Vec<(usize, Finding)>,
}

impl Report {
    /// Adds a finding about these lines; nothing when there are none.
    pub fn about(&mut self, lines: Vec<usize>, rule: &str, fills: &[(&str, String)]) {
        if !lines.is_empty() {
            self.push(lines, rule, fills);
        }
    }

    /// Adds a finding about the order as a whole.
    pub fn order(&mut self, rule: &str, fills: &[(&str, String)]) {
        self.push(Vec::new(), rule, fills);
    }

    fn push(&mut self, lines: Vec<usize>, rule: &str, fills: &[(&str, String)]) {
        let known = rule_texts().iter().enumerate().find(|(_, text)| text.rule == rule);
        let rule = rule.to_owned();
        let Some((place, known)) = known else {
            // A rule without a text still shows, so that no check is lost in silence. A test rules it out.
            let source = Source::new("no text is kept for this rule", Standing::Local);
            let text = format!("rule {rule} applies");
            self.found.push((usize::MAX, Finding { rule, level: Level::Warn, lines, text, source }));
            return;
        };
        let text =
            fills.iter().fold(known.text.clone(), |text, (name, fill)| text.replace(&format!("{{{name}}}"), fill));
        self.found.push((place, Finding { rule, level: known.level, lines, text, source: known.source.clone() }));
    }

    fn into_findings(mut self) -> Vec<Finding> {
        self.found.sort_by_key(|(place, finding)| (finding.level, *place));
        self.found.into_iter().map(|(_, finding)| finding).collect()
    }
}

/// All findings on an order, the gravest first.
pub(super) fn find_all(request: &SupplyRequest, plans: &[LinePlan], sets: &[&QuantitySet]) -> Vec<Finding> {
    let order = Order { request, plans, sets };
    let mut report = Report::default();
    fit::check(&order, &mut report);
    care::check(&order, &mut report);
    report.into_findings()
}
