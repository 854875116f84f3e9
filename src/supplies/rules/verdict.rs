//! What a quantity set says of one line.
//!
//! Compared is the *rate*: units used per period of the set, from the stated use, exact. Not the rounded packs, which
//! depend on pack size and stock and would call a two-month pack of a slow item too much.
//!
//! | figures of the row | rate below low | up to high | up to ceiling | beyond |
//! |---|---|---|---|---|
//! | low, high, ceiling | under | in range | above usual | over |
//! | low, high | under | in range | – | over |
//! | high (a maximum) | – | in range | – | over |
//! | high, ceiling (expected, alert) | – | in range | above usual | over |
//! | none, or no row | no published limit | | | |
//!
//! Each bound is inclusive: "more than 25% above" means more. A set without `low` never answers `under`. Where an
//! allowance is shared, each line of the share gets the verdict of the whole: Σ rate ÷ high ≤ 1 is in range.

use num_rational::Ratio;

use super::order::{Line, StomaFit, coded};
use super::quantity::{Rational, add, decimal_words, divide, fluid_ounces, multiply, ounces};
use super::sets::{Counts, Limits, QuantitySet, Row, SetPeriod};
use crate::provenance::Source;

coded! {
    /// The five answers.
    Band {
        /// Less than usual: a reason to ask whether the appliance is used.
        Under = "under",
        /// Usual.
        InRange = "in-range",
        /// More than usual and below the set's alert or maximum.
        AboveUsual = "above-usual",
        /// Beyond the set's alert or maximum: a reason to review.
        Over = "over",
        /// The set has no figure to compare with.
        NoPublishedLimit = "no-published-limit",
    }
}

/// The answer of one set on one line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Verdict {
    /// Code of the set.
    pub set: String,
    /// The answer.
    pub band: Band,
    /// The figures as printed by the source; none for no published limit.
    pub printed: Limits,
    /// What they are per.
    pub period: Option<SetPeriod>,
    /// That period in days.
    pub period_days: Option<i64>,
    /// What is used in that period, in the unit of the figures.
    pub rate: Option<Rational>,
    /// What one of the figures is.
    pub counts: Counts,
    /// The set's code that was compared with.
    pub code: Option<String>,
    /// Other lines that have the allowance together with this one.
    pub shared_with: Vec<usize>,
    /// What to know beside it.
    pub note: Option<String>,
    /// Where the figure comes from; of the whole set when there is none.
    pub source: Source,
    /// Year of that.
    pub year: String,
}

/// Where a rate stands among figures.
pub fn classify(rate: Rational, limits: &Limits) -> Band {
    match (limits.low, limits.high, limits.top()) {
        (None, None, None) => Band::NoPublishedLimit,
        (_, _, Some(top)) if rate > top => Band::Over,
        (_, Some(high), _) if rate > high => Band::AboveUsual,
        (Some(low), _, _) if rate < low => Band::Under,
        _ => Band::InRange,
    }
}

/// What `set` says of line `index`. An index beyond the lines answers as a set without the item.
pub fn judge(set: &QuantitySet, lines: &[Line], index: usize, stoma: &StomaFit) -> Verdict {
    let Some(line) = lines.get(index) else {
        return unlimited(set, None, "there is no such line".to_owned());
    };
    let Some(row) = set.row_for(line, stoma) else {
        return unlimited(set, None, "the set has no figure for this item here".to_owned());
    };
    let Some(period) = row.period else {
        let note = row.note.clone().unwrap_or_else(|| "the set states no maximum for it".to_owned());
        return unlimited(set, Some(row), note);
    };
    let rate = match rate(set, row, line, lines) {
        Ok(rate) => rate,
        Err(why) => return unlimited(set, Some(row), why.to_owned()),
    };
    let share = share(set, lines, index, stoma, row);
    let (band, shared_with) = match share {
        None => (classify(rate, &row.exact), Vec::new()),
        Some(share) => (share.band(classify(rate, &row.exact)), share.others),
    };
    Verdict {
        set: set.id.clone(),
        band,
        printed: row.printed,
        period: Some(period),
        period_days: set.days(period),
        rate: Some(rate),
        counts: row.counts,
        code: row.code.clone(),
        shared_with,
        note: row.note.clone(),
        source: row.source.clone(),
        year: row.year.clone(),
    }
}

fn unlimited(set: &QuantitySet, row: Option<&Row>, note: String) -> Verdict {
    Verdict {
        set: set.id.clone(),
        band: Band::NoPublishedLimit,
        printed: Limits::default(),
        period: None,
        period_days: None,
        rate: None,
        counts: row.map_or(Counts::Unit, |row| row.counts),
        code: row.and_then(|row| row.code.clone()),
        shared_with: Vec::new(),
        note: Some(note),
        source: row.map_or_else(|| set.source.clone(), |row| row.source.clone()),
        year: row.map_or_else(|| set.year.clone(), |row| row.year.clone()),
    }
}

const TOO_LARGE: &str = "these amounts are too large to compare exactly; compare them by hand";

/// What the line uses, in the row's unit and per the row's period.
fn rate(set: &QuantitySet, row: &Row, line: &Line, lines: &[Line]) -> Result<Rational, &'static str> {
    let per_day = in_units_of(row, line)?;
    let Some(days) = row.period.and_then(|period| set.days(period)) else {
        let changes = plate_changes(lines).ok_or(TOO_LARGE)?;
        return divide(per_day, changes).ok_or("the figure is per change of the plate, and no plate is ordered");
    };
    multiply(per_day, Ratio::from_integer(days)).ok_or(TOO_LARGE)
}

fn in_units_of(row: &Row, line: &Line) -> Result<Rational, &'static str> {
    let units = line.uses.per_day();
    let of_content = |content: Option<u32>, convert: fn(Rational) -> Option<Rational>| match content {
        Some(content) => {
            multiply(units, Ratio::from_integer(i64::from(content))).and_then(convert).ok_or(TOO_LARGE).map(Some)
        }
        None => Ok(None),
    };
    let (converted, missing) = match row.counts {
        Counts::Unit => return Ok(units),
        Counts::Pack => {
            return divide(units, Ratio::from_integer(i64::from(line.pack.get()))).ok_or(TOO_LARGE);
        }
        Counts::Ounce => (of_content(line.content_g, ounces)?, "the set counts ounces: give content_g"),
        Counts::FluidOunce => {
            (of_content(line.content_ml, fluid_ounces)?, "the set counts fluid ounces: give content_ml")
        }
        Counts::SixteenFluidOunces => (
            of_content(line.content_ml, |ml| fluid_ounces(ml).and_then(|oz| divide(oz, Ratio::from_integer(16))))?,
            "the set counts 16 fluid ounces as one: give content_ml",
        ),
        Counts::SquareInches => (None, "the set counts 18 square inches as one: name the code and count so"),
        Counts::MonthAllowance => (None, "the set counts a month's allowance as one: name the code and count so"),
    };
    // A line that names the code itself is counted in the code's unit, as the contract says.
    match converted {
        Some(converted) => Ok(converted),
        None if line.hcpcs.is_some() && line.content_g.is_none() && line.content_ml.is_none() => Ok(units),
        None => Err(missing),
    }
}

/// Plates changed per day: flanges and one-piece pouches together.
fn plate_changes(lines: &[Line]) -> Option<Rational> {
    lines
        .iter()
        .filter(|line| line.item.has_plate())
        .try_fold(Ratio::from_integer(0), |sum, line| add(sum, line.uses.per_day()))
}

/// An allowance that several lines have together.
struct Share {
    others: Vec<usize>,
    of_high: Option<Rational>,
    of_top: Option<Rational>,
}

impl Share {
    /// The band of the whole; a sum that does not fit is called over, so that a person looks.
    fn band(&self, alone: Band) -> Band {
        let one = Ratio::from_integer(1);
        if self.others.is_empty() {
            return alone;
        }
        match (self.of_high, self.of_top) {
            (Some(high), _) if high <= one => Band::InRange,
            (_, Some(top)) if top <= one => Band::AboveUsual,
            _ => Band::Over,
        }
    }
}

fn share(set: &QuantitySet, lines: &[Line], index: usize, stoma: &StomaFit, row: &Row) -> Option<Share> {
    let key = set.share_key(row, lines.get(index)?.item)?;
    let mut share =
        Share { others: Vec::new(), of_high: Some(Ratio::from_integer(0)), of_top: Some(Ratio::from_integer(0)) };
    for (other, line) in lines.iter().enumerate() {
        let Some(row) = set.row_for(line, stoma) else { continue };
        let (Some(high), Some(top)) = (row.exact.high, row.exact.top()) else { continue };
        if set.share_key(row, line.item).as_ref() != Some(&key) {
            continue;
        }
        let part = rate(set, row, line, lines).ok();
        let sum = |sum: Option<Rational>, of: Rational| add(sum?, divide(part?, of)?);
        share.of_high = sum(share.of_high, high);
        share.of_top = sum(share.of_top, top);
        if other != index {
            share.others.push(other);
        }
    }
    Some(share)
}

/// A verdict in a sentence a nurse reads, without the source: "in range: 10 a month, usual up to 20".
pub fn verdict_in_words(verdict: &Verdict) -> String {
    let band = match verdict.band {
        Band::Under => "less than usual",
        Band::InRange => "in range",
        Band::AboveUsual => "above the usual",
        Band::Over => "over: review",
        Band::NoPublishedLimit => "no published limit",
    };
    let shared = if verdict.shared_with.is_empty() {
        String::new()
    } else {
        let lines: Vec<String> = verdict.shared_with.iter().map(|line| (line + 1).to_string()).collect();
        format!("; one allowance together with line {}", lines.join(", "))
    };
    format!("{band}{}{shared}", figures_in_words(verdict).unwrap_or_default())
}

/// ": 10 a month, usual 15 to 30"; `None` when nothing was compared.
fn figures_in_words(verdict: &Verdict) -> Option<String> {
    let rate = decimal_words(verdict.rate?);
    let per = match verdict.period? {
        SetPeriod::Month => "a month",
        SetPeriod::SixMonths => "in six months",
        SetPeriod::Year => "a year",
        SetPeriod::PlateChange => "per plate change",
    };
    let Limits { low, high, ceiling } = verdict.printed;
    let usual = match (low.map(decimal_words), high.map(decimal_words)) {
        (Some(low), Some(high)) => format!(", usual {low} to {high}"),
        (None, Some(high)) => format!(", usual up to {high}"),
        (Some(low), None) => format!(", usual from {low}"),
        (None, None) => String::new(),
    };
    let beyond = ceiling
        .filter(|ceiling| Some(*ceiling) != high)
        .map(|ceiling| format!(", review beyond {}", decimal_words(ceiling)))
        .unwrap_or_default();
    Some(format!(": {rate}{} {per}{usual}{beyond}", unit_words(verdict.counts)))
}

fn unit_words(counts: Counts) -> &'static str {
    match counts {
        Counts::Unit => "",
        Counts::Pack => " packs",
        Counts::Ounce => " ounces",
        Counts::FluidOunce => " fluid ounces",
        Counts::SixteenFluidOunces => " times 16 fluid ounces",
        Counts::SquareInches => " times 18 square inches",
        Counts::MonthAllowance => " monthly allowances",
    }
}
