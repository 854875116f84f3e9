//! Quantity sets: published figures of what is usual, each row with its source, as data in `sets/*.toml`.
//!
//! This file holds and finds rows; `set_file` reads them, and what a figure means for a line stands in `verdict`. A
//! set without a figure for an item has no row for it, or a row without figures that says why: never 0, never infinity.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use num_rational::Ratio;

use super::items::{ItemCategory, Purpose};
use super::order::{Line, StomaFit, StomaKind, Wear, coded};
use super::quantity::Rational;
use super::set_file::parse_set;
use crate::provenance::Source;

coded! {
    /// The shipped sets.
    SetId {
        /// Scottish Government review of 2015: expected use of pouches and an alert 25% above it.
        Scotland2015 = "scotland-2015",
        /// US public coverage: usual maximum by code.
        UsCoverage = "us-coverage",
        /// Australian scheme: maximum per month, shared by purpose.
        AustraliaScheme = "australia-scheme",
        /// One English hospital's product guide.
        Doncaster = "doncaster",
        /// The table that many English guidance documents share; from memory.
        EnglandTemplate = "england-template",
    }
}

coded! {
    /// What a figure is per.
    SetPeriod {
        /// 30 days.
        Month = "month",
        /// 180 days.
        SixMonths = "six-months",
        /// 365 days, or 364 in a set that counts 52 weeks.
        Year = "year",
        /// No time: per change of the plate.
        PlateChange = "plate-change",
    }
}

coded! {
    /// What one of a figure is.
    Counts {
        /// A pouch, a flange, a can: the unit of the line.
        Unit = "unit",
        /// A pack.
        Pack = "pack",
        /// An ounce by weight.
        Ounce = "ounce",
        /// A US fluid ounce.
        FluidOunce = "fluid-ounce",
        /// 16 US fluid ounces.
        SixteenFluidOunces = "16-fluid-ounces",
        /// 18 square inches.
        SquareInches = "18-square-inches",
        /// A month's allowance, however many pieces that is.
        MonthAllowance = "month-allowance",
    }
}

/// Figures of a row; any may be missing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Limits {
    /// Below it: less than usual.
    pub low: Option<Rational>,
    /// Up to it, inclusive: usual.
    pub high: Option<Rational>,
    /// Up to it, inclusive: above the usual, to be explained; beyond it: over. Missing means the same as `high`.
    pub ceiling: Option<Rational>,
}

impl Limits {
    /// The figure beyond which a verdict is `over`.
    pub fn top(&self) -> Option<Rational> {
        self.ceiling.or(self.high)
    }
}

/// One row of a set.
#[derive(Clone, Debug)]
pub struct Row {
    /// Code of a set that has codes.
    pub code: Option<String>,
    /// What the source describes, in own words.
    pub words: String,
    /// Items it can stand for.
    pub items: Vec<ItemCategory>,
    /// Those of them that it is taken for when the line names no code.
    pub default_for: Vec<ItemCategory>,
    /// Only with one of these stomas; empty for any.
    pub kinds: Vec<StomaKind>,
    /// Only with a colostomy and a urostomy together.
    pub with_urostomy: bool,
    /// Only convex (true) or flat (false).
    pub convex: Option<bool>,
    /// Only for these; `None` in the list is "not stated". Empty for any.
    pub wear: Vec<Option<Wear>>,
    /// Figures as the source prints them.
    pub printed: Limits,
    /// Figures as they are compared; differs only where a row says why.
    pub exact: Limits,
    /// What the figures are per; `None` when there are none.
    pub period: Option<SetPeriod>,
    /// What one of them is.
    pub counts: Counts,
    /// Lines whose rows share this key have the allowance together.
    pub shared: Option<String>,
    /// Where it comes from.
    pub source: Source,
    /// Year of the source in words, as "2015" or "undated".
    pub year: String,
    /// What to know beside the figure.
    pub note: Option<String>,
}

/// A set as read.
#[derive(Clone, Debug)]
pub struct QuantitySet {
    /// Its code.
    pub id: String,
    /// Its name in words.
    pub title: String,
    /// What `over` asks for by the set's own rule.
    pub when_over: Option<String>,
    /// Days in its year.
    pub year_days: i64,
    /// One allowance per purpose.
    pub shared_by_purpose: bool,
    /// Where it comes from as a whole.
    pub source: Source,
    /// Year of that.
    pub year: String,
    /// In the order of the file: the first that fits is taken.
    pub rows: Vec<Row>,
    pub(super) by_item: BTreeMap<ItemCategory, Vec<usize>>,
    pub(super) by_code: BTreeMap<String, usize>,
}

impl QuantitySet {
    /// The row a line is compared with.
    pub fn row_for(&self, line: &Line, stoma: &StomaFit) -> Option<&Row> {
        if let (Some(code), true) = (&line.hcpcs, self.has_codes()) {
            return self.row_by_code(code);
        }
        let rows = self.by_item.get(&line.item)?;
        rows.iter().filter_map(|index| self.rows.get(*index)).find(|row| row.fits(line, stoma))
    }

    /// The row of a code.
    pub fn row_by_code(&self, code: &str) -> Option<&Row> {
        self.by_code.get(code).and_then(|index| self.rows.get(*index))
    }

    /// True when lines may name a code.
    pub fn has_codes(&self) -> bool {
        !self.by_code.is_empty()
    }

    /// Days of a period in this set; `None` for a period that is no time.
    pub fn days(&self, period: SetPeriod) -> Option<i64> {
        match period {
            SetPeriod::Month => Some(30),
            SetPeriod::SixMonths => Some(180),
            SetPeriod::Year => Some(self.year_days),
            SetPeriod::PlateChange => None,
        }
    }

    /// The key under which a row's allowance is shared.
    pub fn share_key(&self, row: &Row, item: ItemCategory) -> Option<ShareKey> {
        match &row.shared {
            Some(key) => Some(ShareKey::Named(key.clone())),
            None => self.shared_by_purpose.then(|| ShareKey::Purpose(item.purpose())),
        }
    }
}

/// See [`QuantitySet::share_key`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ShareKey {
    /// Given in the data.
    Named(String),
    /// By purpose.
    Purpose(Purpose),
}

impl Row {
    fn fits(&self, line: &Line, stoma: &StomaFit) -> bool {
        (self.kinds.is_empty() || self.kinds.iter().any(|kind| stoma.is(*kind)))
            && (!self.with_urostomy || (stoma.with_urostomy && stoma.kind == StomaKind::Colostomy))
            && self.convex.is_none_or(|convex| convex == line.is_convex())
            && (self.wear.is_empty() || self.wear.contains(&line.wear))
    }
}

/// The alert figure as it is printed: `percent` above the expected use, rounded half up.
pub fn printed_alert(expected: i64, percent: i64) -> i64 {
    Ratio::new(expected.saturating_mul(100 + percent), 100).round().to_integer()
}

/// A shipped set. `None` cannot arise in a released build: a test reads all of them.
pub fn shipped_set(id: SetId) -> Option<&'static QuantitySet> {
    static SETS: LazyLock<Vec<(SetId, QuantitySet)>> = LazyLock::new(|| {
        SetId::CHOICES.iter().filter_map(|(_, id)| parse_set(shipped_text(*id)).ok().map(|set| (*id, set))).collect()
    });
    SETS.iter().find(|(known, _)| *known == id).map(|(_, set)| set)
}

impl SetId {
    /// The set as shipped, for a service that wants a copy to edit.
    pub fn text(self) -> &'static str {
        shipped_text(self)
    }
}

fn shipped_text(id: SetId) -> &'static str {
    match id {
        SetId::Scotland2015 => include_str!("sets/scotland-2015.toml"),
        SetId::UsCoverage => include_str!("sets/us-coverage.toml"),
        SetId::AustraliaScheme => include_str!("sets/australia-scheme.toml"),
        SetId::Doncaster => include_str!("sets/doncaster.toml"),
        SetId::EnglandTemplate => include_str!("sets/england-template.toml"),
    }
}
