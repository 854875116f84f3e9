//! What may be reported of a patient: the signals, their units and ranges, in the contract's order.
//!
//! Values only; no limit stands here. A signal that was not asked is `None` and counts for nothing, which is not the
//! same as a normal answer.

/// Declares a closed list of words: the enum, its codes and their table.
macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $code:literal;)+ }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum $name { $($(#[$vdoc])* $variant,)+ }

        impl $name {
            /// Every code with its value, for reading.
            pub const CODES: &'static [(&'static str, Self)] = &[$(($code, Self::$variant),)+];

            /// The code in requests and records.
            pub const fn code(self) -> &'static str {
                match self { $(Self::$variant => $code,)+ }
            }
        }
    };
}

words! {
    /// The colour of the stoma itself.
    StomaColour {
        /// Usual.
        Pink = "pink";
        /// Usual.
        Red = "red";
        /// Paler than usual.
        Pale = "pale";
        /// Blue, purple or grey.
        Dusky = "dusky";
        /// Black or brown.
        Black = "black";
    }
}

words! {
    /// Bleeding from the stoma or the skin around it.
    Bleeding {
        /// None seen.
        None = "none";
        /// Spots, as on wiping.
        Spotting = "spotting";
        /// More than spots, and pressure stops it.
        StopsWithPressure = "stops-with-pressure";
        /// Pressure does not stop it.
        DoesNotStop = "does-not-stop";
    }
}

words! {
    /// The join of stoma and skin.
    Separation {
        /// Joined all round.
        None = "none";
        /// Parted over some hours of the clock.
        Partial = "partial";
        /// Parted all round.
        Full = "full";
        /// Parted deeply, or with output in the gap.
        Deep = "deep";
    }
}

words! {
    /// Bowel that has slid out beyond the stoma's usual length.
    Prolapse {
        /// None.
        None = "none";
        /// Goes back.
        Reducible = "reducible";
        /// Does not go back.
        Irreducible = "irreducible";
    }
}

/// What kind of answer a signal takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Answer {
    /// One of these words.
    Word(&'static [&'static str]),
    /// True or false.
    Flag,
    /// A whole number up to this one.
    Whole(u32),
    /// A number from 0 up to this one.
    Number(f64),
}

macro_rules! signals {
    ($($(#[$doc:meta])* $variant:ident = $code:literal, $answer:expr;)+) => {
        /// A signal, in the contract's order, which is also the order of reasons within a band.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Signal { $($(#[$doc])* $variant,)+ }

        impl Signal {
            /// Every signal, in the contract's order.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)+];

            /// The name in requests, thresholds and records.
            pub const fn code(self) -> &'static str {
                match self { $(Self::$variant => $code,)+ }
            }

            /// What kind of answer it takes; upper ends are local, to catch slips of the pen.
            pub const fn answer(self) -> Answer {
                match self { $(Self::$variant => $answer,)+ }
            }
        }
    };
}

signals! {
    /// Colour of the stoma.
    StomaColour = "stoma_colour", Answer::Word(&["pink", "red", "pale", "dusky", "black"]);
    /// Output in the last 24 hours, mL; urine for a urostomy.
    Output = "output_ml_24h", Answer::Number(30_000.0);
    /// Hours without any output.
    NoOutput = "no_output_hours", Answer::Number(10_000.0);
    /// Vomiting now.
    Vomiting = "vomiting", Answer::Flag;
    /// Cramps or pain in the belly, 0–10.
    AbdominalPain = "abdominal_pain", Answer::Whole(10);
    /// Bleeding from the stoma or the skin around it.
    Bleeding = "bleeding", Answer::Word(&["none", "spotting", "stops-with-pressure", "does-not-stop"]);
    /// Temperature above 38 °C, or shivering and hot.
    Fever = "fever", Answer::Flag;
    /// Hot skin whose redness or darkening spreads.
    SpreadingRedness = "spreading_redness", Answer::Flag;
    /// The join of stoma and skin.
    Separation = "separation", Answer::Word(&["none", "partial", "full", "deep"]);
    /// Bowel slid out.
    Prolapse = "prolapse", Answer::Word(&["none", "reducible", "irreducible"]);
    /// A bulge beside the stoma; counts with others, never alone.
    Hernia = "hernia", Answer::Flag;
    /// A very painful ulcer that grows fast.
    RapidPainfulUlcer = "rapid_painful_ulcer", Answer::Flag;
    /// Thirst, dry mouth, dizzy on standing, little dark urine, cramps in the legs, confusion.
    DehydrationSigns = "dehydration_signs", Answer::Flag;
    /// Skin score, 0–15.
    Score = "score", Answer::Whole(15);
    /// The skin score before it; what counts is the rise.
    PreviousScore = "previous_score", Answer::Whole(15);
    /// Pain of the skin around the stoma, 0–10.
    SkinPain = "skin_pain", Answer::Whole(10);
    /// Of the last ten changes, how many had output under the plate.
    Leaks = "leaks_of_last_10", Answer::Whole(10);
    /// Times a day that the pouch comes off unplanned.
    PouchOff = "pouch_off_per_day", Answer::Number(50.0);
    /// Days past the latest date of the review.
    OverdueDays = "overdue_days", Answer::Whole(36_500);
    /// Reviews missed one after the other.
    MissedInARow = "missed_in_a_row", Answer::Whole(1_000);
    /// Days since going home after surgery; counts with others, never alone.
    DaysSinceDischarge = "days_since_discharge", Answer::Whole(36_500);
    /// Whether the first contact after discharge has been made.
    FirstContactMade = "first_contact_made", Answer::Flag;
    /// Supplies ordered over supplies expected.
    SupplyRatio = "supply_ratio", Answer::Number(1_000.0);
    /// The patient, or whoever helps, says it is too much.
    NotCoping = "not_coping", Answer::Flag;
}

/// What was reported of one patient. `None` is "not asked".
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Signals {
    /// Colour of the stoma itself.
    pub stoma_colour: Option<StomaColour>,
    /// Output in the last 24 hours, mL; urine for a urostomy.
    pub output_ml_24h: Option<f64>,
    /// Hours without any output.
    pub no_output_hours: Option<f64>,
    /// Vomiting now.
    pub vomiting: Option<bool>,
    /// Cramps or pain in the belly, 0–10.
    pub abdominal_pain: Option<u32>,
    /// Bleeding from the stoma or the skin around it.
    pub bleeding: Option<Bleeding>,
    /// Temperature above 38 °C, or shivering and hot.
    pub fever: Option<bool>,
    /// Hot skin whose redness or darkening spreads.
    pub spreading_redness: Option<bool>,
    /// The join of stoma and skin.
    pub separation: Option<Separation>,
    /// Bowel slid out.
    pub prolapse: Option<Prolapse>,
    /// A bulge beside the stoma.
    pub hernia: Option<bool>,
    /// A very painful ulcer that grows fast.
    pub rapid_painful_ulcer: Option<bool>,
    /// Any sign of dehydration.
    pub dehydration_signs: Option<bool>,
    /// Skin score, 0–15.
    pub score: Option<u32>,
    /// The skin score before it.
    pub previous_score: Option<u32>,
    /// Pain of the skin around the stoma, 0–10.
    pub skin_pain: Option<u32>,
    /// Of the last ten changes, how many had output under the plate.
    pub leaks_of_last_10: Option<u32>,
    /// Times a day that the pouch comes off unplanned.
    pub pouch_off_per_day: Option<f64>,
    /// Days past the latest date of the review.
    pub overdue_days: Option<u32>,
    /// Reviews missed one after the other.
    pub missed_in_a_row: Option<u32>,
    /// Days since going home after surgery.
    pub days_since_discharge: Option<u32>,
    /// Whether the first contact after discharge has been made.
    pub first_contact_made: Option<bool>,
    /// Supplies ordered over supplies expected.
    pub supply_ratio: Option<f64>,
    /// The patient, or whoever helps, says it is too much.
    pub not_coping: Option<bool>,
}

/// A signal's value as the thresholds look at it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Measure {
    /// One of a signal's words.
    Word(&'static str),
    /// True or false.
    Flag(bool),
    /// A number in the signal's unit.
    Number(f64),
}

impl Signals {
    /// What was reported for a signal. For [`Signal::PreviousScore`] it is the rise since then, once both are known.
    pub fn measure(&self, signal: Signal) -> Option<Measure> {
        let whole = |value: Option<u32>| value.map(|n| Measure::Number(f64::from(n)));
        match signal {
            Signal::StomaColour => self.stoma_colour.map(|word| Measure::Word(word.code())),
            Signal::Output => self.output_ml_24h.map(Measure::Number),
            Signal::NoOutput => self.no_output_hours.map(Measure::Number),
            Signal::Vomiting => self.vomiting.map(Measure::Flag),
            Signal::AbdominalPain => whole(self.abdominal_pain),
            Signal::Bleeding => self.bleeding.map(|word| Measure::Word(word.code())),
            Signal::Fever => self.fever.map(Measure::Flag),
            Signal::SpreadingRedness => self.spreading_redness.map(Measure::Flag),
            Signal::Separation => self.separation.map(|word| Measure::Word(word.code())),
            Signal::Prolapse => self.prolapse.map(|word| Measure::Word(word.code())),
            Signal::Hernia => self.hernia.map(Measure::Flag),
            Signal::RapidPainfulUlcer => self.rapid_painful_ulcer.map(Measure::Flag),
            Signal::DehydrationSigns => self.dehydration_signs.map(Measure::Flag),
            Signal::Score => whole(self.score),
            Signal::PreviousScore => {
                let (now, before) = (self.score?, self.previous_score?);
                Some(Measure::Number(f64::from(now) - f64::from(before)))
            }
            Signal::SkinPain => whole(self.skin_pain),
            Signal::Leaks => whole(self.leaks_of_last_10),
            Signal::PouchOff => self.pouch_off_per_day.map(Measure::Number),
            Signal::OverdueDays => whole(self.overdue_days),
            Signal::MissedInARow => whole(self.missed_in_a_row),
            Signal::DaysSinceDischarge => whole(self.days_since_discharge),
            Signal::FirstContactMade => self.first_contact_made.map(Measure::Flag),
            Signal::SupplyRatio => self.supply_ratio.map(Measure::Number),
            Signal::NotCoping => self.not_coping.map(Measure::Flag),
        }
    }
}
