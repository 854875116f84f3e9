//! A review as the record holds it, as far as the comparison with a plan needs it.
//!
//! It must not decide what changes: that is the work of `difference.rs`.

use chrono::NaiveDate;
use uuid::Uuid;

use super::facts::{Anchor, codes};
use super::plan::PlannedReview;
use super::protocol::Mode;

codes! {
    /// Where a review of the record stands; the words of HL7 FHIR R4 Appointment.
    Status {
        /// Planned, no slot yet.
        Proposed = "proposed", "proposed";
        /// In the diary.
        Booked = "booked", "booked";
        /// Took place.
        Fulfilled = "fulfilled", "took place";
        /// Missed.
        NoShow = "noshow", "missed";
        /// Called off or closed.
        Cancelled = "cancelled", "cancelled";
        /// Should never have been there.
        EnteredInError = "entered-in-error", "entered in error";
    }
}

/// A review of the record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Existing {
    /// Its id.
    pub id: Uuid,
    /// The stoma it is for.
    pub stoma: Uuid,
    /// The step it came from; none: made by hand, left alone unless the follow-up ends.
    pub step: Option<String>,
    /// The occurrence of the step, from 1.
    pub occurrence: u32,
    /// The date the offset gave.
    pub nominal: NaiveDate,
    /// The day it is planned or booked for.
    pub planned: NaiveDate,
    /// First day allowed.
    pub earliest: Option<NaiveDate>,
    /// Last day allowed.
    pub latest: NaiveDate,
    /// How it takes place.
    pub mode: Mode,
    /// Where it stands.
    pub status: Status,
    /// True when a person chose its planned day or its mode (deferred it, made it a call): kept as long as its nominal
    /// date and its bounds stay.
    pub by_hand: bool,
    /// True when it was closed by a difference and not by a person: then it comes back if the plan has it again.
    pub closed_by_plan: bool,
}

impl Existing {
    pub(super) fn is_of(&self, stoma: Uuid, fresh: &PlannedReview) -> bool {
        self.stoma == stoma && self.occurrence == fresh.occurrence && self.step.as_deref() == Some(fresh.step.as_str())
    }

    /// True when the plan's dates are those it was made with.
    pub(super) fn same_dates(&self, fresh: &PlannedReview) -> bool {
        (self.nominal, self.earliest, self.latest) == (fresh.nominal, fresh.earliest, fresh.latest)
    }

    /// True when the mode is the plan's, or was chosen by a person.
    pub(super) fn same_mode(&self, fresh: &PlannedReview) -> bool {
        self.by_hand || self.mode == fresh.mode
    }

    /// True when it stands for the fresh one, so that nothing is added for it. A missed or cancelled one does not while
    /// there is an open one in its place. Steps counted from the last completed review number their occurrences anew
    /// each time one takes place, so there the old ones must not stand for the new.
    pub(super) fn stands_for(&self, fresh: &PlannedReview, open: bool) -> bool {
        let rolling = fresh.anchor == Anchor::LastCompleted;
        match self.status {
            Status::Fulfilled => !rolling || self.nominal == fresh.nominal,
            Status::NoShow => !open && (!rolling || self.nominal > fresh.anchor_on),
            Status::Cancelled => !open && !self.closed_by_plan && (!rolling || self.nominal > fresh.anchor_on),
            Status::Proposed | Status::Booked | Status::EnteredInError => false,
        }
    }
}
