//! The patient's change routine: which steps a list of items asks for, in order, and which item belongs to which step.
//!
//! The steps are data (`routine.toml`) with sources; the words that the patient reads are in the message files. A list
//! from which no safe routine follows is refused with the reason. Irrigation, plugs and caps are not covered and said to
//! be so, never left out in silence.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde::Deserialize;
use thiserror::Error;

use super::DataError;
use super::items::{ItemCategory, PouchKind, System};
use super::order::StomaKind;
use crate::provenance::{Source, Standing};

/// When a step is taken.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct For {
    pouch: Option<PouchKind>,
    system: Option<System>,
}

/// One step of a change, as the data state it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StepRule {
    /// Id; the messages are `step.ID.title` and `step.ID.text`.
    pub id: String,
    /// Kinds of item used in it.
    pub items: Vec<ItemCategory>,
    /// Where it is taught.
    pub source: Source,
    when: For,
    only_with_items: bool,
}

/// A reason to ring, as the data state it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Caution {
    /// Id; the message is `caution.ID`.
    pub id: String,
    /// Help is needed at once.
    pub urgent: bool,
    /// Kinds of stoma it is about; empty for all.
    pub kinds: Vec<StomaKind>,
    /// Where it is taught.
    pub source: Source,
}

/// All of `routine.toml`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RoutineRules {
    /// Version of the data.
    pub version: String,
    /// In the order of a change.
    pub steps: Vec<StepRule>,
    /// Kinds of item for which there is no step on purpose.
    pub not_covered: Vec<ItemCategory>,
    /// Reasons to ring.
    pub cautions: Vec<Caution>,
}

/// Why no routine follows from a list.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum NoRoutine {
    /// Nothing that collects.
    #[error("The list has no pouch, so there is no change to describe.")]
    NoPouch,
    /// A one-piece pouch beside parts of a two-piece system.
    #[error(
        "The list has a one-piece pouch and parts of a two-piece system: they are changed in different ways. Draw up one list for the system in use."
    )]
    TwoSystems,
    /// Pouches that are emptied in different ways.
    #[error("The list has pouches that are emptied in different ways. Draw up one list for the pouch in use.")]
    TwoPouchKinds,
    /// A two-piece pouch without a base plate, or the other way round.
    #[error("The list has only one part of a two-piece system: the pouch or the base plate is missing.")]
    HalfSystem,
}

/// One step of a routine: which rule, and the lines used in it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Step {
    /// The rule.
    pub rule: &'static StepRule,
    /// Indexes of the lines.
    pub lines: Vec<usize>,
}

/// A routine.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Routine {
    /// In order.
    pub steps: Vec<Step>,
    /// Lines that it does not cover.
    pub not_covered: Vec<usize>,
    /// Reasons to ring for this kind of stoma, the urgent ones first.
    pub cautions: Vec<&'static Caution>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    version: String,
    not_covered: Vec<String>,
    sources: BTreeMap<String, SourceText>,
    steps: Vec<StepText>,
    cautions: Vec<CautionText>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SourceText {
    source: String,
    standing: Standing,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct StepText {
    id: String,
    #[serde(default)]
    items: Vec<String>,
    #[serde(default, rename = "for")]
    when: ForText,
    #[serde(default)]
    only_with_items: bool,
    source: String,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct ForText {
    pouch: Option<String>,
    system: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CautionText {
    id: String,
    urgent: bool,
    #[serde(default)]
    kinds: Vec<String>,
    source: String,
}

fn fail(message: impl Into<String>) -> DataError {
    DataError::new("routine.toml", message.into())
}

fn items(codes: &[String]) -> Result<Vec<ItemCategory>, DataError> {
    let one = |code: &String| ItemCategory::from_code(code).ok_or_else(|| fail(format!("unknown item {code}")));
    codes.iter().map(one).collect()
}

impl For {
    fn read(text: &ForText) -> Result<Self, DataError> {
        let pouch = match text.pouch.as_deref() {
            None => None,
            Some("closed") => Some(PouchKind::Closed),
            Some("drainable") => Some(PouchKind::Drainable),
            Some("urostomy") => Some(PouchKind::Urostomy),
            Some(other) => return Err(fail(format!("unknown pouch {other}"))),
        };
        let system = match text.system.as_deref() {
            None => None,
            Some("one-piece") => Some(System::OnePiece),
            Some("two-piece") => Some(System::TwoPiece),
            Some(other) => return Err(fail(format!("unknown system {other}"))),
        };
        Ok(Self { pouch, system })
    }
}

/// Reads the shipped data.
pub fn load_routine_rules() -> Result<RoutineRules, DataError> {
    let file: File = toml::from_str(include_str!("routine.toml")).map_err(|error| fail(error.to_string()))?;
    let source = |key: &str| {
        let text = file.sources.get(key).ok_or_else(|| fail(format!("unknown source {key}")))?;
        Ok::<_, DataError>(Source { source: text.source.clone().into(), standing: text.standing })
    };
    let mut steps = Vec::new();
    for step in &file.steps {
        steps.push(StepRule {
            id: step.id.clone(),
            items: items(&step.items)?,
            source: source(&step.source)?,
            when: For::read(&step.when)?,
            only_with_items: step.only_with_items,
        });
    }
    let mut cautions = Vec::new();
    for caution in &file.cautions {
        let kind = |code: &String| StomaKind::from_code(code).ok_or_else(|| fail(format!("unknown kind {code}")));
        cautions.push(Caution {
            id: caution.id.clone(),
            urgent: caution.urgent,
            kinds: caution.kinds.iter().map(kind).collect::<Result<_, _>>()?,
            source: source(&caution.source)?,
        });
    }
    Ok(RoutineRules { version: file.version, steps, not_covered: items(&file.not_covered)?, cautions })
}

/// The shipped rules. Empty only if the file cannot be read, which a test rules out; then every list has no routine.
pub fn routine_rules() -> &'static RoutineRules {
    static RULES: LazyLock<RoutineRules> = LazyLock::new(|| {
        load_routine_rules().unwrap_or_else(|_| RoutineRules {
            version: String::new(),
            steps: Vec::new(),
            not_covered: Vec::new(),
            cautions: Vec::new(),
        })
    });
    &RULES
}

/// The messages that steps and cautions need of every language.
pub fn routine_messages() -> Vec<(String, Vec<String>)> {
    let rules = routine_rules();
    let steps = rules.steps.iter().flat_map(|s| [format!("step.{}.title", s.id), format!("step.{}.text", s.id)]);
    let cautions = rules.cautions.iter().map(|c| format!("caution.{}", c.id));
    steps.chain(cautions).map(|key| (key, Vec::new())).collect()
}

/// The one system and the one kind of pouch of a list.
fn appliance(lines: &[ItemCategory]) -> Result<(System, PouchKind), NoRoutine> {
    let pouches: Vec<_> = lines.iter().filter_map(|item| item.pouch()).collect();
    let first = pouches.first().ok_or(NoRoutine::NoPouch)?;
    let plate = lines.contains(&ItemCategory::Flange);
    if pouches.iter().any(|pouch| pouch.system != first.system) || (plate && first.system == System::OnePiece) {
        return Err(NoRoutine::TwoSystems);
    }
    if first.system == System::TwoPiece && !plate {
        return Err(NoRoutine::HalfSystem);
    }
    if pouches.iter().any(|pouch| pouch.kind != first.kind) {
        return Err(NoRoutine::TwoPouchKinds);
    }
    Ok((first.system, first.kind))
}

/// The routine of a list for a kind of stoma. Every line is at a step or among those not covered.
pub fn routine(kind: StomaKind, lines: &[ItemCategory]) -> Result<Routine, NoRoutine> {
    let rules = routine_rules();
    let (system, pouch) = match appliance(lines) {
        // A base plate alone is half of a system; anything else without a pouch is no appliance to change.
        Err(NoRoutine::NoPouch) if lines.contains(&ItemCategory::Flange) => return Err(NoRoutine::HalfSystem),
        other => other?,
    };
    let mut steps: Vec<Step> = Vec::new();
    for rule in &rules.steps {
        let fits = rule.when.system.is_none_or(|s| s == system) && rule.when.pouch.is_none_or(|p| p == pouch);
        let used: Vec<usize> = (0..lines.len()).filter(|at| rule.items.contains(&lines[*at])).collect();
        if fits && !(rule.only_with_items && used.is_empty()) {
            steps.push(Step { rule, lines: used });
        }
    }
    let at_a_step = |at: &usize| steps.iter().any(|step| step.lines.contains(at));
    let not_covered = (0..lines.len()).filter(|at| !at_a_step(at)).collect();
    let mut cautions: Vec<&Caution> =
        rules.cautions.iter().filter(|c| c.kinds.is_empty() || c.kinds.contains(&kind)).collect();
    cautions.sort_by_key(|caution| !caution.urgent); // stable: the order of the data stays within each
    Ok(Routine { steps, not_covered, cautions })
}
