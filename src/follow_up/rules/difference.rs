//! What a fresh plan changes in the reviews of the record: shown to the nurse before it is applied.
//!
//! Pure, and safe to run again: applied twice it changes nothing the second time. What took place, was missed or is
//! booked is never changed; a booking that no longer agrees with the plan is only pointed out. Every review of the
//! stoma ends up in exactly one of `moved`, `closed`, `untouched` and `off_plan`, each with its reason.
//!
//! One stoma at a time, one episode of it: a stoma that was re-made is a new stoma to this module.

use chrono::NaiveDate;
use uuid::Uuid;

use super::calendar::WorkingDays;
use super::facts::Ended;
use super::plan::{LeftOutFor, Plan, PlannedReview};
use super::protocol::ShapeKind;
use super::record::{Existing, Status};
use super::words::{Date, LongDate};

/// What to compare.
#[derive(Clone, Debug)]
pub struct DifferenceRequest<'a> {
    /// Reviews of other stomas in `existing` are passed over.
    pub stoma: Uuid,
    /// All reviews of the record, in any order.
    pub existing: &'a [Existing],
    /// The fresh plan of this stoma.
    pub plan: &'a Plan,
    /// The civil date of the service.
    pub today: NaiveDate,
    /// The calendar the plan was made with.
    pub days: &'a WorkingDays,
    /// The day on which the service took the stoma on, when it was not there from the start: what had its last day
    /// before that is not added.
    pub taken_on: Option<NaiveDate>,
}

/// A proposed review that gets other dates or another mode.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Moved {
    /// Which.
    pub id: Uuid,
    /// The day it was planned for.
    pub from: NaiveDate,
    /// What it becomes; its reasons end with what changed.
    pub to: PlannedReview,
    /// What its mark `by_hand` becomes: it falls when the dates of the plan have changed.
    pub by_hand: bool,
}

/// A review with a reason.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reasoned {
    /// Which.
    pub id: Uuid,
    /// Why, in words.
    pub reason: String,
}

/// A booked review that no longer agrees with the plan; left as it is, for a person to decide.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OffPlan {
    /// Which.
    pub id: Uuid,
    /// Why, in words.
    pub reason: String,
    /// What the plan says now; none when it has no such review.
    pub plan: Option<PlannedReview>,
}

/// A review of the plan that is not added, because its time has passed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotAdded {
    /// Id of the step.
    pub step: String,
    /// The occurrence.
    pub occurrence: u32,
    /// The date the offset gave.
    pub nominal: NaiveDate,
    /// Why, in words.
    pub reason: String,
}

/// What would change.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Difference {
    /// New reviews, to be kept as proposed.
    pub added: Vec<PlannedReview>,
    /// Proposed reviews to be given other dates.
    pub moved: Vec<Moved>,
    /// Proposed reviews to be cancelled, marked `closed_by_plan`.
    pub closed: Vec<Reasoned>,
    /// Reviews left as they are.
    pub untouched: Vec<Reasoned>,
    /// Booked reviews to look at.
    pub off_plan: Vec<OffPlan>,
    /// Reviews of the plan whose time has passed.
    pub not_added: Vec<NotAdded>,
}

impl Difference {
    /// True when applying it would change nothing.
    pub fn changes_nothing(&self) -> bool {
        self.added.is_empty() && self.moved.is_empty() && self.closed.is_empty()
    }
}

/// Compares. See the head of the module for what it promises.
pub fn difference(request: &DifferenceRequest<'_>) -> Difference {
    let mut work = Work { request, settled: vec![None; request.existing.len()], out: Difference::default() };
    for fresh in &request.plan.reviews {
        work.fresh(fresh);
    }
    for at in 0..request.existing.len() {
        work.rest(at);
    }
    work.out
}

/// What became of an existing review while the plan was gone through.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Found {
    /// Already in one of the lists.
    Listed,
    /// It stands for a review of the plan, which is therefore not added.
    StandsFor,
    /// Another review stands for the same one.
    Doubled(Status),
}

struct Work<'a> {
    request: &'a DifferenceRequest<'a>,
    settled: Vec<Option<Found>>,
    out: Difference,
}

impl<'a> Work<'a> {
    /// The end, once it is in the past: nothing open may stay.
    fn over(&self) -> Option<Ended> {
        self.request.plan.ended.filter(|ended| ended.on < self.request.today)
    }

    /// The first day from `from` on that a review may be given today: a working day not in the past.
    fn due_now(&self, from: NaiveDate) -> NaiveDate {
        self.request.days.next_on_or_after(from.max(self.request.today))
    }

    fn after_end(&self, on: NaiveDate) -> Option<Ended> {
        self.request.plan.ended.filter(|ended| on > ended.on)
    }

    /// Goes through one review of the plan: kept, moved, pointed out or added.
    fn fresh(&mut self, fresh: &'a PlannedReview) {
        let existing = self.request.existing;
        let same: Vec<usize> =
            (0..existing.len()).filter(|at| existing[*at].is_of(self.request.stoma, fresh)).collect();
        let open = [Status::Booked, Status::Proposed]
            .into_iter()
            .find_map(|status| same.iter().copied().find(|at| existing[*at].status == status));
        let done = same.iter().copied().find(|at| existing[*at].stands_for(fresh, open.is_some()));
        if let Some(stands) = done.or(open) {
            let status = existing[stands].status;
            for at in same {
                self.settled[at] = Some(if at == stands { Found::StandsFor } else { Found::Doubled(status) });
            }
            if done.is_none() && self.over().is_none() {
                match status {
                    Status::Booked => self.booked(stands, fresh),
                    _ => self.proposed(stands, fresh),
                }
            }
        } else if self.over().is_none() {
            self.add(fresh);
        }
    }

    fn booked(&mut self, at: usize, fresh: &PlannedReview) {
        let review = &self.request.existing[at];
        let off = if !review.same_dates(fresh) || !review.same_mode(fresh) {
            let (booked, plan) = (LongDate(review.planned), LongDate(fresh.planned));
            let why = fresh.reasons.first().map_or("", String::as_str);
            Some(format!("booked for {booked}; the plan now says {plan} ({why}): move the booking or keep it"))
        } else if review.planned >= self.request.today && !self.request.days.is_working_day(review.planned) {
            Some(format!("booked for {}, which is no working day now: move the booking", LongDate(review.planned)))
        } else {
            self.after_end(review.planned).map(|ended| cancel_it(review, ended))
        };
        self.settled[at] = Some(Found::Listed);
        if let Some(reason) = off {
            self.out.off_plan.push(OffPlan { id: review.id, reason, plan: Some(fresh.clone()) });
        } else {
            let reason = "booked, in agreement with the plan".to_owned();
            self.out.untouched.push(Reasoned { id: review.id, reason });
        }
    }

    fn proposed(&mut self, at: usize, fresh: &PlannedReview) {
        let review = &self.request.existing[at];
        let today = self.request.today;
        self.settled[at] = Some(Found::Listed);
        let same_dates = review.same_dates(fresh);
        if !same_dates && self.superseded(fresh) {
            let reason =
                format!("its date is now {} and a later occurrence is due by now as well", LongDate(fresh.planned));
            self.out.closed.push(Reasoned { id: review.id, reason });
            return;
        }
        // Whoever set the day by hand, or let the plan's day pass, keeps the day given, unless the clinic is closed on
        // it.
        let keeps_day = same_dates && (review.by_hand || fresh.planned < today);
        let target = if !keeps_day {
            self.due_now(fresh.planned)
        } else if review.planned >= today {
            self.due_now(review.planned)
        } else {
            review.planned
        };
        if let Some(ended) = self.after_end(target) {
            self.out.closed.push(Reasoned { id: review.id, reason: ended.words() });
        } else if same_dates && review.same_mode(fresh) && target == review.planned {
            let reason = if review.by_hand && target != fresh.planned {
                "the day chosen by hand stays"
            } else if target < today {
                "its day has passed: still open"
            } else if target != fresh.planned {
                "the plan's day has passed: the day already given stays"
            } else {
                "in agreement with the plan"
            };
            self.out.untouched.push(Reasoned { id: review.id, reason: reason.into() });
        } else {
            let mut to = self.placed(fresh, target);
            let by_hand = same_dates && review.by_hand;
            if by_hand {
                to.mode = review.mode;
            }
            let (day, mode) = (LongDate(review.planned), review.mode.words());
            let whose = if review.by_hand { ", chosen by hand" } else { "" };
            to.reasons.push(format!("was planned for {day}, {mode}{whose}"));
            self.out.moved.push(Moved { id: review.id, from: review.planned, to, by_hand });
        }
    }

    fn add(&mut self, fresh: &PlannedReview) {
        let target = self.due_now(fresh.planned);
        let reason = if self.superseded(fresh) {
            Some("its time has passed and a later occurrence is due by now as well".to_owned())
        } else if let Some(taken_on) = self.request.taken_on.filter(|taken_on| fresh.latest < *taken_on) {
            Some(format!("its last day was before the service took the stoma on, {}", Date(taken_on)))
        } else {
            self.after_end(target).map(Ended::words)
        };
        match reason {
            None => {
                let review = self.placed(fresh, target);
                self.out.added.push(review);
            }
            Some(reason) => self.out.not_added.push(NotAdded {
                step: fresh.step.clone(),
                occurrence: fresh.occurrence,
                nominal: fresh.nominal,
                reason,
            }),
        }
    }

    /// The fresh review on the day it gets, with a reason when that is not the day of the plan.
    fn placed(&self, fresh: &PlannedReview, target: NaiveDate) -> PlannedReview {
        let mut review = fresh.clone();
        if target != fresh.planned {
            if fresh.planned < self.request.today {
                review.reasons.push(format!(
                    "{} has passed: due now, on {}",
                    LongDate(fresh.planned),
                    LongDate(target)
                ));
            } else {
                review.reasons.push(format!("moved on to the next working day, {}", LongDate(target)));
            }
            review.planned = target;
        }
        if fresh.shape == ShapeKind::Window {
            review.outside_window = target > fresh.latest || fresh.earliest.is_some_and(|earliest| target < earliest);
        }
        review
    }

    /// True when the day of a review has passed and a later occurrence of the same step is due by today.
    fn superseded(&self, fresh: &PlannedReview) -> bool {
        let today = self.request.today;
        fresh.planned < today
            && self
                .request
                .plan
                .reviews
                .iter()
                .any(|later| later.step == fresh.step && later.occurrence > fresh.occurrence && later.planned <= today)
    }

    /// Goes through one existing review that the plan did not settle.
    fn rest(&mut self, at: usize) {
        let review = &self.request.existing[at];
        let found = self.settled[at];
        if review.stoma != self.request.stoma || found == Some(Found::Listed) {
            return;
        }
        let id = review.id;
        let fixed = match review.status {
            Status::Fulfilled => "took place: never changed",
            Status::NoShow => "missed: stays as it is until a person deals with it",
            Status::Cancelled if review.closed_by_plan => "closed before",
            Status::Cancelled => "cancelled by a person: not planned again",
            Status::EnteredInError => "entered in error: does not count",
            Status::Proposed | Status::Booked => match self.gone(review, found) {
                Gone::Stay(reason) => reason,
                Gone::Close(reason) if review.status == Status::Booked => {
                    return self.out.off_plan.push(OffPlan { id, reason, plan: None });
                }
                Gone::Close(reason) => return self.out.closed.push(Reasoned { id, reason }),
            },
        };
        self.out.untouched.push(Reasoned { id, reason: fixed.to_owned() });
    }

    /// Why an open review has no part in the plan.
    fn gone(&self, review: &Existing, found: Option<Found>) -> Gone {
        let plan = self.request.plan;
        let booked = review.status == Status::Booked;
        if let Some(ended) = self.after_end(review.planned) {
            return Gone::Close(if booked { cancel_it(review, ended) } else { ended.words() });
        }
        if let Some(ended) = self.over() {
            // Booked for a day before the end: it may have taken place.
            return if booked {
                Gone::Stay("booked before the end: record its outcome")
            } else {
                Gone::Close(ended.words())
            };
        }
        let Some(step) = review.step.as_deref() else { return Gone::Stay("made by hand, not from the protocol") };
        if let Some(Found::Doubled(status)) = found {
            return Gone::Close(format!("the same review is there already: {}", status.words()));
        }
        if let Some(waiting) = plan.waiting.iter().find(|waiting| waiting.step == step) {
            return Gone::Close(format!("waits again: {} is not known", waiting.words()));
        }
        let left_out = plan.left_out.iter().find(|left_out| left_out.step == step);
        match left_out.map(|left_out| left_out.kind) {
            Some(LeftOutFor::OtherStoma | LeftOutFor::NoDate) => {
                return Gone::Close(left_out.map_or_else(String::new, |left_out| left_out.reason.clone()));
            }
            None if !plan.reviews.iter().any(|fresh| fresh.step == step) => {
                return Gone::Close(format!("the protocol no longer has the step '{step}'"));
            }
            _ => {}
        }
        if review.nominal > plan.until {
            Gone::Stay("after the last day of this plan: not looked at")
        } else {
            Gone::Close(format!("the plan no longer has occurrence {} of the step '{step}'", review.occurrence))
        }
    }
}

enum Gone {
    Stay(&'static str),
    Close(String),
}

fn cancel_it(review: &Existing, ended: Ended) -> String {
    format!("booked for {}, but {}: cancel the booking", LongDate(review.planned), ended.words())
}
