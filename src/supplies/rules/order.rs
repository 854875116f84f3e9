//! An order as the rules see it, typed so that what cannot be right cannot be written down, and its decision.
//!
//! Texts and JSON stand elsewhere (`request`); this file must not know where an order comes from.

use std::num::NonZeroU32;

use super::findings::{Finding, find_all};
use super::items::{ItemCategory, PouchKind};
use super::quantity::{Period, Quantity, Use, quantity};
use super::sets::{QuantitySet, SetId, shipped_set};
use super::verdict::{Verdict, judge};

/// An enum with a code per variant, as the JSON writes it.
macro_rules! coded {
    ($(#[$meta:meta])* $name:ident { $($(#[$doc:meta])* $variant:ident = $code:literal,)* }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum $name { $($(#[$doc])* $variant,)* }

        impl $name {
            /// Code and value of each, in order.
            pub const CHOICES: &'static [(&'static str, Self)] = &[$(($code, Self::$variant),)*];

            /// The code in JSON and in data files.
            pub fn code(self) -> &'static str {
                match self { $(Self::$variant => $code,)* }
            }

            /// The value with this code.
            pub fn from_code(code: &str) -> Option<Self> {
                Self::CHOICES.iter().find(|(known, _)| *known == code).map(|(_, value)| *value)
            }
        }
    };
}
pub(crate) use coded;

coded! {
    /// The kind of stoma an order is for.
    StomaKind {
        /// Of the large bowel.
        Colostomy = "colostomy",
        /// Of the small bowel.
        Ileostomy = "ileostomy",
        /// Of the urinary tract.
        Urostomy = "urostomy",
    }
}

coded! {
    /// What was recorded of stoma and skin that bears on supplies. A record of what was seen, not a diagnosis.
    StomaFinding {
        /// Skin around the stoma is broken or weeping.
        BrokenSkin = "broken-skin",
        /// The stoma's edge has parted from the skin.
        Separation = "separation",
        /// An ulcer in the skin around the stoma.
        Ulceration = "ulceration",
        /// A fast and painful ulcer.
        RapidPainfulUlcer = "rapid-painful-ulcer",
        /// A bulge beside the stoma.
        Hernia = "hernia",
        /// Widened veins around the stoma.
        Varices = "varices",
        /// The stoma lies below the skin.
        Retraction = "retraction",
        /// The stoma lies level with the skin.
        Flush = "flush",
        /// The stoma has come out further than before.
        Prolapse = "prolapse",
        /// Creases, dips or folds under the plate.
        Creases = "creases",
        /// Output looser than usual.
        LooseOutput = "loose-output",
    }
}

coded! {
    /// Shape of the plate on its skin side. Not stated counts as flat for quantity sets.
    Convexity {
        /// Flat.
        Flat = "flat",
        /// Convex, depth not stated.
        Convex = "convex",
        /// Convex and yielding.
        SoftConvex = "soft-convex",
        /// Convex, shallow.
        LightConvex = "light-convex",
        /// Convex, deep.
        DeepConvex = "deep-convex",
    }
}

coded! {
    /// How pouch and flange of a two-piece system join.
    Coupling {
        /// A ring that locks.
        Locking = "locking",
        /// A ring that is pressed on.
        NonLocking = "non-locking",
        /// An adhesive landing.
        Adhesive = "adhesive",
    }
}

coded! {
    /// What the skin barrier is made for. Some sets have another figure for each.
    Wear {
        /// Standard wear.
        Standard = "standard",
        /// Extended wear.
        Extended = "extended",
        /// Shaped by hand instead of cut.
        Mouldable = "mouldable",
    }
}

coded! {
    /// What the patient does not want or must not have, whatever the reason.
    Avoid {
        /// Anything from animals.
        AnimalDerived = "animal-derived",
        /// Anything from pigs.
        Porcine = "porcine",
        /// Anything from cattle.
        Bovine = "bovine",
        /// Alcohol on the skin.
        Alcohol = "alcohol",
        /// Natural rubber latex.
        Latex = "latex",
    }
}

coded! {
    /// What makes handling an appliance harder.
    Difficulty {
        /// Hands.
        Dexterity = "dexterity",
        /// Eyes.
        Sight = "sight",
    }
}

impl StomaKind {
    /// The pouch that goes with it by its usual output.
    pub fn usual_pouch(self) -> PouchKind {
        match self {
            Self::Colostomy => PouchKind::Closed,
            Self::Ileostomy => PouchKind::Drainable,
            Self::Urostomy => PouchKind::Urostomy,
        }
    }
}

impl StomaFinding {
    /// Plain words, as in "while … was recorded".
    pub fn words(self) -> &'static str {
        match self {
            Self::BrokenSkin => "broken skin",
            Self::Separation => "separation of the stoma's edge",
            Self::Ulceration => "an ulcer beside the stoma",
            Self::RapidPainfulUlcer => "a fast, painful ulcer",
            Self::Hernia => "a hernia beside the stoma",
            Self::Varices => "widened veins around the stoma",
            Self::Retraction => "retraction",
            Self::Flush => "a flush stoma",
            Self::Prolapse => "prolapse",
            Self::Creases => "creases",
            Self::LooseOutput => "loose output",
        }
    }
}

impl Convexity {
    /// True for all but flat.
    pub fn is_convex(self) -> bool {
        self != Self::Flat
    }
}

/// The stoma, as far as supplies depend on it. Lengths in mm.
#[derive(Clone, Debug, PartialEq)]
pub struct StomaFit {
    /// Its kind.
    pub kind: StomaKind,
    /// A colostomy and a urostomy supplied together, for which one published set has a figure of its own.
    pub with_urostomy: bool,
    /// Left to right on the skin.
    pub width_mm: Option<f64>,
    /// Head to foot on the skin. Not the protrusion.
    pub height_mm: Option<f64>,
    /// How far it stands out; 0 is flush, below 0 retracted.
    pub protrusion_mm: Option<f64>,
    /// Whole weeks since the operation.
    pub weeks_since_surgery: Option<u32>,
    /// What was recorded.
    pub findings: Vec<StomaFinding>,
}

impl StomaFit {
    /// A stoma of which only the kind is known.
    pub fn new(kind: StomaKind) -> Self {
        Self {
            kind,
            with_urostomy: false,
            width_mm: None,
            height_mm: None,
            protrusion_mm: None,
            weeks_since_surgery: None,
            findings: Vec::new(),
        }
    }

    /// True when `kind` is supplied, by itself or together with the other.
    pub fn is(&self, kind: StomaKind) -> bool {
        self.kind == kind || (self.with_urostomy && kind == StomaKind::Urostomy)
    }
}

/// The patient, as far as supplies depend on them.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PatientFit {
    /// In words, as recorded. `latex`, `gelatin` and `alcohol` are checked against the lines; all others are shown.
    pub allergies: Vec<String>,
    /// What is avoided.
    pub avoids: Vec<Avoid>,
    /// What makes handling harder.
    pub difficulties: Vec<Difficulty>,
    /// In the first four weeks of life.
    pub neonate: bool,
}

/// One supply line.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// What it is.
    pub item: ItemCategory,
    /// Units in a pack.
    pub pack: NonZeroU32,
    /// How much is used.
    pub uses: Use,
    /// Units still at hand.
    pub on_hand: u32,
    /// US code that the set `us-coverage` goes by; its unit is then the unit of `uses`, unless the content is given.
    pub hcpcs: Option<String>,
    /// Grams in one unit, for a set that counts ounces.
    pub content_g: Option<u32>,
    /// Millilitres in one unit, for a set that counts fluid ounces.
    pub content_ml: Option<u32>,
    /// Diameter of the coupling, for a two-piece pouch or flange.
    pub coupling_mm: Option<f64>,
    /// Kind of coupling.
    pub coupling: Option<Coupling>,
    /// Diameter of a round opening in the plate.
    pub aperture_mm: Option<f64>,
    /// Opening cut by the maker.
    pub precut: Option<bool>,
    /// Shape of the plate.
    pub convexity: Option<Convexity>,
    /// What the barrier is made for.
    pub wear: Option<Wear>,
    /// Holds natural rubber latex.
    pub latex: Option<bool>,
    /// Holds something from animals.
    pub animal_derived: Option<bool>,
    /// Why it is needed; `Some("")` when a reason was asked for and none given, `None` when it was not asked for.
    pub reason: Option<String>,
}

impl Line {
    /// A line of which only item, pack and use are known, with nothing on hand.
    pub fn new(item: ItemCategory, pack: NonZeroU32, uses: Use) -> Self {
        Self {
            item,
            pack,
            uses,
            on_hand: 0,
            hcpcs: None,
            content_g: None,
            content_ml: None,
            coupling_mm: None,
            coupling: None,
            aperture_mm: None,
            precut: None,
            convexity: None,
            wear: None,
            latex: None,
            animal_derived: None,
            reason: None,
        }
    }

    /// True when the plate is stated to be convex.
    pub fn is_convex(&self) -> bool {
        self.convexity.is_some_and(Convexity::is_convex)
    }
}

/// What is to be decided.
#[derive(Clone, Debug, PartialEq)]
pub struct SupplyRequest {
    /// Days the order is for.
    pub period_days: Period,
    /// For which stoma.
    pub stoma: StomaFit,
    /// For whom.
    pub patient: PatientFit,
    /// What is ordered.
    pub lines: Vec<Line>,
    /// Shipped sets to compare with.
    pub sets: Vec<SetId>,
}

/// The decision on one line.
#[derive(Clone, Debug, PartialEq)]
pub struct LinePlan {
    /// What it is.
    pub item: ItemCategory,
    /// Units needed beyond what is on hand.
    pub units: i64,
    /// Whole packs that hold them.
    pub packs: i64,
    /// Units in those packs.
    pub supplied: i64,
    /// What whole packs add: supplied − units.
    pub surplus: i64,
    /// What is left when the period ends, to be carried into the next order.
    pub left_at_end: i64,
    /// Whole days that everything lasts.
    pub days_supply: i64,
    /// One per set asked for, in that order.
    pub verdicts: Vec<Verdict>,
}

impl LinePlan {
    fn new(item: ItemCategory, amounts: Quantity, verdicts: Vec<Verdict>) -> Self {
        let Quantity { units, packs, supplied, surplus, left_at_end, days_supply } = amounts;
        Self { item, units, packs, supplied, surplus, left_at_end, days_supply, verdicts }
    }
}

/// The decision.
#[derive(Clone, Debug, PartialEq)]
pub struct SupplyPlan {
    /// One per line, in their order.
    pub lines: Vec<LinePlan>,
    /// Fit and safety findings, the gravest first.
    pub findings: Vec<Finding>,
}

/// Decides an order against the shipped sets that it names.
pub fn decide_supply(request: &SupplyRequest) -> SupplyPlan {
    let sets: Vec<&QuantitySet> = request.sets.iter().filter_map(|id| shipped_set(*id)).collect();
    decide_supply_with(request, &sets)
}

/// Decides an order against any sets, as a service edits them; `request.sets` is not looked at.
pub fn decide_supply_with(request: &SupplyRequest, sets: &[&QuantitySet]) -> SupplyPlan {
    let lines: Vec<LinePlan> = request
        .lines
        .iter()
        .enumerate()
        .map(|(index, line)| {
            let amounts = quantity(request.period_days, line.uses, line.pack, line.on_hand);
            let verdicts = sets.iter().map(|set| judge(set, &request.lines, index, &request.stoma)).collect();
            LinePlan::new(line.item, amounts, verdicts)
        })
        .collect();
    let findings = find_all(request, &lines, sets);
    SupplyPlan { lines, findings }
}
