//! The five urgency bands and how long each leaves.
//!
//! Names and working days only; which signal leads to which band stands in `thresholds.toml`.

/// How soon, most urgent first (and smallest, so that the most urgent of several is their minimum).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Band {
    /// Today, working day or not.
    SameDay,
    /// By the next working day.
    OneWorkingDay,
    /// Within five working days.
    FiveWorkingDays,
    /// Within ten working days.
    TenWorkingDays,
    /// At the review that is planned.
    AsPlanned,
}

impl Band {
    /// All bands, most urgent first.
    pub const ALL: [Self; 5] =
        [Self::SameDay, Self::OneWorkingDay, Self::FiveWorkingDays, Self::TenWorkingDays, Self::AsPlanned];

    /// The code in JSON, thresholds and records.
    pub fn code(self) -> &'static str {
        match self {
            Self::SameDay => "same-day",
            Self::OneWorkingDay => "one-working-day",
            Self::FiveWorkingDays => "five-working-days",
            Self::TenWorkingDays => "ten-working-days",
            Self::AsPlanned => "as-planned",
        }
    }

    /// The words on pages and prints.
    pub fn words(self) -> &'static str {
        match self {
            Self::SameDay => "today",
            Self::OneWorkingDay => "by the next working day",
            Self::FiveWorkingDays => "within 5 working days",
            Self::TenWorkingDays => "within 10 working days",
            Self::AsPlanned => "as planned",
        }
    }

    /// The band of a code.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|band| band.code() == code)
    }

    /// Working days from today; `None` for [`Band::AsPlanned`]. Local proposal: red = same day, then 1, 5 and 10.
    pub fn working_days(self) -> Option<u32> {
        match self {
            Self::SameDay => Some(0),
            Self::OneWorkingDay => Some(1),
            Self::FiveWorkingDays => Some(5),
            Self::TenWorkingDays => Some(10),
            Self::AsPlanned => None,
        }
    }

    /// True for the bands whose reasons say what to do meanwhile.
    pub fn wants_advice(self) -> bool {
        self <= Self::OneWorkingDay
    }
}
