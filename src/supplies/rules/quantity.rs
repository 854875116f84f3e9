//! From use and period to units, packs and days' supply, in whole numbers and rationals.
//!
//! No floating point anywhere. The bounds of [`Use`] and [`Period`] are such that nothing in this file can overflow;
//! sums over many lines, which could, go through the checked functions below.

use std::num::NonZeroU32;

use num_rational::Ratio;

/// An exact amount: units per day, ounces per period, a share of an allowance.
pub type Rational = Ratio<i64>;

/// What is used: `units` every `every_days` days. 2.5 a day is 5 every 2 days.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Use {
    units: u32,
    every_days: u32,
}

impl Use {
    /// Most units in one statement of use; beyond it a typing mistake is certain. Local, a check on input only.
    pub const MAX_UNITS: u32 = 10_000;
    /// Longest interval in days (ten years). Local, a check on input only.
    pub const MAX_DAYS: u32 = 3_650;

    /// `None` when either number is 0 or beyond its bound.
    pub fn new(units: u32, every_days: u32) -> Option<Self> {
        let good = (1..=Self::MAX_UNITS).contains(&units) && (1..=Self::MAX_DAYS).contains(&every_days);
        good.then_some(Self { units, every_days })
    }

    /// Units used in each interval.
    pub fn units(self) -> u32 {
        self.units
    }

    /// The interval in days.
    pub fn every_days(self) -> u32 {
        self.every_days
    }

    /// Units per day, exact.
    pub fn per_day(self) -> Rational {
        Ratio::new(i64::from(self.units), i64::from(self.every_days))
    }
}

/// The days an order is for: 1 to 366.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Period(u16);

impl Period {
    /// A year and a day; no source allows longer, most ask for a month.
    pub const MAX_DAYS: u16 = 366;

    /// `None` when 0 or beyond [`Self::MAX_DAYS`].
    pub fn new(days: u16) -> Option<Self> {
        (1..=Self::MAX_DAYS).contains(&days).then_some(Self(days))
    }

    /// In days.
    pub fn days(self) -> u16 {
        self.0
    }
}

/// What to order. No field is negative.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Quantity {
    /// Units needed in the period beyond what is on hand: ⌈period × use⌉ − on hand, not below 0.
    pub units: i64,
    /// Whole packs that hold them: ⌈units ÷ pack⌉.
    pub packs: i64,
    /// Units in those packs.
    pub supplied: i64,
    /// What rounding up to whole packs adds: supplied − units; always less than a pack.
    pub surplus: i64,
    /// What is left when the period ends: on hand + supplied − ⌈period × use⌉. The same as `surplus` unless more was
    /// on hand than the period needs. To be carried into the next order.
    pub left_at_end: i64,
    /// ⌊(on hand + supplied) ÷ use⌋: whole days that everything lasts.
    pub days_supply: i64,
}

/// The quantity for one line.
pub fn quantity(period: Period, uses: Use, pack: NonZeroU32, on_hand: u32) -> Quantity {
    // Largest values: need 366 × 10,000; (on hand + supplied) × 3,650 days < 4 × 10^13. Far inside 64 bits.
    let pack = i64::from(pack.get());
    let on_hand = i64::from(on_hand);
    let need = (uses.per_day() * Ratio::from_integer(i64::from(period.days()))).ceil().to_integer();
    let units = (need - on_hand).max(0);
    let packs = Ratio::new(units, pack).ceil().to_integer();
    let supplied = packs * pack;
    let days = Ratio::from_integer(on_hand + supplied) / uses.per_day();
    Quantity {
        units,
        packs,
        supplied,
        surplus: supplied - units,
        left_at_end: on_hand + supplied - need,
        days_supply: days.floor().to_integer(),
    }
}

/// a + b, `None` when it does not fit.
pub fn add(a: Rational, b: Rational) -> Option<Rational> {
    let top = widen(*a.numer())
        .checked_mul(widen(*b.denom()))?
        .checked_add(widen(*b.numer()).checked_mul(widen(*a.denom()))?)?;
    narrow(top, widen(*a.denom()).checked_mul(widen(*b.denom()))?)
}

/// a × b, `None` when it does not fit.
pub fn multiply(a: Rational, b: Rational) -> Option<Rational> {
    narrow(widen(*a.numer()).checked_mul(widen(*b.numer()))?, widen(*a.denom()).checked_mul(widen(*b.denom()))?)
}

/// a ÷ b, `None` when b is 0 or it does not fit.
pub fn divide(a: Rational, b: Rational) -> Option<Rational> {
    narrow(widen(*a.numer()).checked_mul(widen(*b.denom()))?, widen(*a.denom()).checked_mul(widen(*b.numer()))?)
}

fn widen(n: i64) -> i128 {
    i128::from(n)
}

fn narrow(top: i128, bottom: i128) -> Option<Rational> {
    if bottom == 0 {
        return None;
    }
    let reduced = Ratio::new(top, bottom);
    Some(Ratio::new_raw(i64::try_from(*reduced.numer()).ok()?, i64::try_from(*reduced.denom()).ok()?))
}

/// Grams in ounces: 28.3495 g to the ounce (avoirdupois, rounded as US packs print it).
pub fn ounces(grams: Rational) -> Option<Rational> {
    divide(grams, Ratio::new(283_495, 10_000))
}

/// Millilitres in US fluid ounces: 29.5735 mL to the fluid ounce.
pub fn fluid_ounces(millilitres: Rational) -> Option<Rational> {
    divide(millilitres, Ratio::new(295_735, 10_000))
}

/// `each` units for every `box_of` pouches begun: 70 pouches are 3 boxes of 30 begun.
pub fn per_boxes_begun(pouches: i64, box_of: NonZeroU32, each: i64) -> i64 {
    Ratio::new(pouches.max(0), i64::from(box_of.get())).ceil().to_integer().saturating_mul(each)
}

/// Use in plain words: "3 a day", "2.5 a day", "1 every 3 days", "4 every 7 days".
pub fn use_in_words(uses: &Use) -> String {
    let rate = uses.per_day();
    if rate >= Ratio::from_integer(1)
        && let Some(words) = short_decimal(rate)
    {
        return format!("{words} a day");
    }
    format!("{} every {} days", uses.units, uses.every_days)
}

/// A rational as a person reads it: exact when it ends within two decimals, else "about" and one decimal.
pub fn decimal_words(value: Rational) -> String {
    short_decimal(value).unwrap_or_else(|| {
        let tenths = multiply(value, Ratio::from_integer(10)).map_or(0, |tenths| tenths.round().to_integer());
        format!("about {}.{}", tenths / 10, tenths % 10)
    })
}

/// Up to two decimals without trailing zeros, `None` when that is not exact. For values not below 0.
fn short_decimal(value: Rational) -> Option<String> {
    let hundredths = multiply(value, Ratio::from_integer(100)).filter(Ratio::is_integer)?.to_integer();
    let (whole, rest) = (hundredths / 100, hundredths % 100);
    Some(match rest {
        0 => whole.to_string(),
        rest if rest % 10 == 0 => format!("{whole}.{}", rest / 10),
        rest => format!("{whole}.{rest:02}"),
    })
}
