//! The kinds of item a supply line can be for, as the contract names them, and what the rules need to know of each.
//!
//! Generic kinds only: no product, maker or price. Which item is an accessory follows the usual split of the trade
//! (pouches, flanges, drainage bags, irrigation and plugs are appliances, the rest accessories).

/// What an item is for. An allowance "per purpose" is shared by all items of one purpose.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Purpose {
    /// Catches the output on the stoma.
    Collecting,
    /// Carries a two-piece pouch on the skin.
    BasePlate,
    /// Drains urine away at night or along the leg.
    Drainage,
    /// Loosens adhesive.
    RemovingAdhesive,
    /// A film between skin and adhesive.
    SkinFilm,
    /// A cream for the skin.
    SkinCream,
    /// Fills dips and creases or seals around the stoma.
    Filling,
    /// Dries moist skin.
    Drying,
    /// Smell.
    Odour,
    /// Lets the output slide down the pouch.
    Lubricating,
    /// Thickens loose output.
    Thickening,
    /// Holds the appliance on.
    Holding,
    /// Supports the abdominal wall.
    Supporting,
    /// Widens the adhesive.
    Extending,
    /// Adds convexity to a flat plate.
    AddingConvexity,
    /// Colostomy irrigation.
    Irrigating,
    /// Closes or covers the stoma for a while.
    Covering,
    /// Cleaning and throwing away.
    Disposal,
}

/// How a pouch is emptied.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PouchKind {
    /// Thrown away after use.
    Closed,
    /// Opens at the foot.
    Drainable,
    /// Has a tap.
    Urostomy,
}

/// Pouch and plate in one, or apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum System {
    /// Pouch and adhesive are one.
    OnePiece,
    /// The pouch goes on a flange.
    TwoPiece,
}

/// What kind of pouch an item is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pouch {
    /// How it is emptied.
    pub kind: PouchKind,
    /// One piece or two.
    pub system: System,
}

struct Facts {
    code: &'static str,
    words: &'static str,
    purpose: Purpose,
    accessory: bool,
}

macro_rules! items {
    ($($variant:ident, $code:literal, $words:literal, $purpose:ident, $accessory:literal;)*) => {
        /// Every kind of item the contract names.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum ItemCategory {
            $(#[doc = $words] $variant,)*
        }

        impl ItemCategory {
            /// All of them, in the order of the contract.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            fn facts(self) -> Facts {
                match self {
                    $(Self::$variant => Facts {
                        code: $code, words: $words, purpose: Purpose::$purpose, accessory: $accessory,
                    },)*
                }
            }
        }
    };
}

items! {
    OnePieceClosed, "one-piece-closed", "one-piece closed pouch", Collecting, false;
    OnePieceDrainable, "one-piece-drainable", "one-piece drainable pouch", Collecting, false;
    OnePieceUrostomy, "one-piece-urostomy", "one-piece urostomy pouch", Collecting, false;
    TwoPieceClosedPouch, "two-piece-closed-pouch", "two-piece closed pouch", Collecting, false;
    TwoPieceDrainablePouch, "two-piece-drainable-pouch", "two-piece drainable pouch", Collecting, false;
    TwoPieceUrostomyPouch, "two-piece-urostomy-pouch", "two-piece urostomy pouch", Collecting, false;
    Flange, "flange", "flange (base plate)", BasePlate, false;
    NightBag, "night-bag", "night drainage bag", Drainage, false;
    LegBag, "leg-bag", "leg bag", Drainage, false;
    AdhesiveRemoverSpray, "adhesive-remover-spray", "adhesive remover spray", RemovingAdhesive, true;
    AdhesiveRemoverWipe, "adhesive-remover-wipe", "adhesive remover wipe", RemovingAdhesive, true;
    BarrierFilmWipe, "barrier-film-wipe", "barrier film wipe", SkinFilm, true;
    BarrierFilmSpray, "barrier-film-spray", "barrier film spray", SkinFilm, true;
    BarrierCream, "barrier-cream", "barrier cream", SkinCream, true;
    Paste, "paste", "paste (tube)", Filling, true;
    StripPaste, "strip-paste", "strip paste", Filling, true;
    Ring, "ring", "ring (seal)", Filling, true;
    Powder, "powder", "barrier powder", Drying, true;
    Deodorant, "deodorant", "deodorant", Odour, true;
    LubricatingDeodorant, "lubricating-deodorant", "lubricating deodorant", Lubricating, true;
    Thickener, "thickener", "thickener (gelling agent)", Thickening, true;
    Belt, "belt", "appliance belt", Holding, true;
    SupportGarment, "support-garment", "support belt or garment", Supporting, true;
    FlangeExtender, "flange-extender", "flange extender", Extending, true;
    ConvexInsert, "convex-insert", "convex insert", AddingConvexity, true;
    IrrigationKit, "irrigation-kit", "irrigation kit", Irrigating, false;
    IrrigationSleeve, "irrigation-sleeve", "irrigation sleeve", Irrigating, false;
    StomaPlug, "stoma-plug", "stoma plug", Covering, false;
    StomaCap, "stoma-cap", "stoma cap", Covering, false;
    DisposalBag, "disposal-bag", "disposal bag", Disposal, true;
    DryWipe, "dry-wipe", "dry wipe", Disposal, true;
}

impl ItemCategory {
    /// The code of the contract, as `one-piece-drainable`.
    pub fn code(self) -> &'static str {
        self.facts().code
    }

    /// The item with this code.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|item| item.code() == code)
    }

    /// Plain words, lower case, generic name first.
    pub fn words(self) -> &'static str {
        self.facts().words
    }

    /// What it is for.
    pub fn purpose(self) -> Purpose {
        self.facts().purpose
    }

    /// True when a reason and a review date are expected beside it.
    pub fn is_accessory(self) -> bool {
        self.facts().accessory
    }

    /// What kind of pouch it is; `None` when it is none.
    pub fn pouch(self) -> Option<Pouch> {
        let (kind, system) = match self {
            Self::OnePieceClosed => (PouchKind::Closed, System::OnePiece),
            Self::OnePieceDrainable => (PouchKind::Drainable, System::OnePiece),
            Self::OnePieceUrostomy => (PouchKind::Urostomy, System::OnePiece),
            Self::TwoPieceClosedPouch => (PouchKind::Closed, System::TwoPiece),
            Self::TwoPieceDrainablePouch => (PouchKind::Drainable, System::TwoPiece),
            Self::TwoPieceUrostomyPouch => (PouchKind::Urostomy, System::TwoPiece),
            _ => return None,
        };
        Some(Pouch { kind, system })
    }

    /// True when it sticks to the skin around the stoma, so that its opening and convexity matter.
    pub fn has_plate(self) -> bool {
        self == Self::Flange || self.pouch().is_some_and(|pouch| pouch.system == System::OnePiece)
    }
}

impl Purpose {
    /// Plain words, as in "two items for …".
    pub fn words(self) -> &'static str {
        match self {
            Self::Collecting => "collecting the output",
            Self::BasePlate => "carrying the pouch",
            Self::Drainage => "draining urine",
            Self::RemovingAdhesive => "removing adhesive",
            Self::SkinFilm => "a film on the skin",
            Self::SkinCream => "a cream on the skin",
            Self::Filling => "filling and sealing",
            Self::Drying => "drying the skin",
            Self::Odour => "smell",
            Self::Lubricating => "lubricating the pouch",
            Self::Thickening => "thickening the output",
            Self::Holding => "holding the appliance",
            Self::Supporting => "supporting the abdominal wall",
            Self::Extending => "widening the adhesive",
            Self::AddingConvexity => "adding convexity",
            Self::Irrigating => "irrigation",
            Self::Covering => "covering the stoma",
            Self::Disposal => "cleaning and disposal",
        }
    }
}
