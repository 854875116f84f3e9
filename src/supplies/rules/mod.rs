//! Supplies, the rules: from use and period to units, packs and days' supply; checks against published quantity
//! sets; fit and safety findings; a generic starter catalogue.
//!
//! Pure: no database, no HTTP, no clock, no configuration. Amounts are rationals, never floating point. Every limit
//! stands in a data file beside its source and standing. Nothing here refuses a patient anything: a verdict is a
//! reason to look again, and a finding of level `refuse` says that the order as written cannot be right.

mod care;
mod catalogue;
mod findings;
mod fit;
mod items;
mod order;
mod quantity;
mod request;
mod routine;
mod set_file;
mod sets;
mod verdict;

pub use catalogue::{CatalogueItem, catalogue, load_catalogue};
pub use findings::{Finding, Level, RuleText, load_rule_texts, rule_texts};
pub use items::{ItemCategory, Pouch, PouchKind, Purpose, System};
pub use order::{
    Avoid, Convexity, Coupling, Difficulty, Line, LinePlan, PatientFit, StomaFinding, StomaFit, StomaKind, SupplyPlan,
    SupplyRequest, Wear, decide_supply, decide_supply_with,
};
pub use quantity::{
    Period, Quantity, Rational, Use, decimal_words, fluid_ounces, ounces, per_boxes_begun, quantity, use_in_words,
};
pub use request::{SCHEMA, decide, read_request};
pub use routine::{
    Caution, NoRoutine, Routine, RoutineRules, Step, StepRule, load_routine_rules, routine, routine_messages,
    routine_rules,
};
pub use set_file::parse_set;
pub use sets::{Counts, Limits, QuantitySet, Row, SetId, SetPeriod, printed_alert, shipped_set};
pub use verdict::{Band, Verdict, judge, verdict_in_words};

/// Goes into every stored decision; raise it when a rule, a figure or a text changes.
pub const RULE_VERSION: &str = "supply-1";

/// Any data file of this folder that cannot be read. Cannot arise in a released build: a test reads them all.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{file}: {message}")]
pub struct DataError {
    /// The file, by its name in this folder.
    pub file: String,
    /// What is wrong with it.
    pub message: String,
}

impl DataError {
    pub(crate) fn new(file: &str, message: impl ToString) -> Self {
        Self { file: file.to_owned(), message: message.to_string() }
    }
}
