//! What the engine must be told of a patient: the stoma, the dates that reviews are counted from, and the end.
//!
//! Closed lists with the codes used in JSON and TOML. It must not hold anything that identifies a person.

use chrono::NaiveDate;

use super::words::Date;

/// Declares a closed list of codes: the enum, its code, its words and the table that readers use.
macro_rules! codes {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $code:literal, $words:literal;)+ }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum $name { $($(#[$vdoc])* $variant,)+ }

        impl $name {
            /// Every code with its value, for reading.
            pub const ALL: &'static [(&'static str, Self)] = &[$(($code, Self::$variant),)+];

            /// The code used in JSON, TOML and the database.
            pub const fn code(self) -> &'static str {
                match self { $(Self::$variant => $code,)+ }
            }

            /// In plain words, as within a sentence.
            pub const fn words(self) -> &'static str {
                match self { $(Self::$variant => $words,)+ }
            }

            /// The value of a code.
            pub fn from_code(code: &str) -> Option<Self> {
                Self::ALL.iter().find(|(known, _)| *known == code).map(|(_, value)| *value)
            }
        }
    };
}
pub(super) use codes;

codes! {
    /// The kind of stoma.
    StomaKind {
        /// From the large bowel.
        Colostomy = "colostomy", "colostomy";
        /// From the small bowel.
        Ileostomy = "ileostomy", "ileostomy";
        /// For urine.
        Urostomy = "urostomy", "urostomy";
    }
}

codes! {
    /// How the stoma is built.
    Construction {
        /// One end brought out.
        End = "end", "end";
        /// A loop brought out, both openings in one stoma.
        Loop = "loop", "loop";
        /// Both ends brought out side by side.
        DoubleBarrel = "double-barrel", "double-barrel";
    }
}

codes! {
    /// Whether a reversal is intended.
    Permanence {
        /// No reversal intended.
        Permanent = "permanent", "permanent";
        /// A reversal is intended.
        Temporary = "temporary", "temporary";
    }
}

codes! {
    /// How the operation came about.
    SurgeryType {
        /// On a list.
        Planned = "planned", "planned";
        /// Without time to prepare, often unsited.
        Emergency = "emergency", "emergency";
    }
}

codes! {
    /// The date that an offset is counted from.
    Anchor {
        /// Formation or revision of the stoma.
        Surgery = "surgery", "surgery";
        /// Going home from hospital.
        Discharge = "discharge", "discharge";
        /// The last review that took place.
        LastCompleted = "last-completed", "the last completed review";
        /// The planned reversal.
        Reversal = "reversal", "the planned reversal";
    }
}

codes! {
    /// Why a follow-up ends.
    EndReason {
        /// The stoma was reversed.
        Reversed = "reversed", "the stoma was reversed";
        /// The stoma was made anew by another operation, which began a follow-up of its own.
        Refashioned = "refashioned", "the stoma was refashioned";
        /// The patient died.
        Died = "died", "the patient died";
        /// The patient moved out of the service's area.
        MovedAway = "moved-away", "the patient moved away";
        /// The patient does not want further reviews.
        Declined = "declined", "the patient declined further reviews";
    }
}

/// What `when` may ask about. A fact that is not known keeps the steps that ask for it waiting.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StomaFacts {
    /// The kind: always known.
    pub kind: StomaKind,
    /// End, loop or double-barrel.
    pub construction: Option<Construction>,
    /// Permanent or temporary.
    pub permanence: Option<Permanence>,
    /// Planned or emergency.
    pub surgery: Option<SurgeryType>,
}

/// The dates known so far; civil dates, no time of day.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Anchors {
    /// Formation or revision of the stoma.
    pub surgery: Option<NaiveDate>,
    /// Going home; often unknown when the plan is first made.
    pub discharge: Option<NaiveDate>,
    /// The last review that took place.
    pub last_completed: Option<NaiveDate>,
    /// The planned reversal.
    pub reversal: Option<NaiveDate>,
}

impl Anchors {
    /// The date of one anchor.
    pub fn on(&self, anchor: Anchor) -> Option<NaiveDate> {
        match anchor {
            Anchor::Surgery => self.surgery,
            Anchor::Discharge => self.discharge,
            Anchor::LastCompleted => self.last_completed,
            Anchor::Reversal => self.reversal,
        }
    }

    /// The earliest date known, with its anchor.
    pub fn earliest(&self) -> Option<(Anchor, NaiveDate)> {
        Anchor::ALL.iter().filter_map(|(_, a)| self.on(*a).map(|on| (*a, on))).min_by_key(|(_, on)| *on)
    }
}

/// The end of a follow-up: no review is planned after `on`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ended {
    /// Why.
    pub reason: EndReason,
    /// The last day on which a review may still be planned.
    pub on: NaiveDate,
}

impl Ended {
    /// "the patient moved away on 01-Mar-2026".
    pub fn words(self) -> String {
        format!("{} on {}", self.reason.words(), Date(self.on))
    }
}
