//! The engine: a stoma's facts and dates, a protocol and a calendar in; planned reviews with their reasons out.
//!
//! Deterministic: the same request gives the same plan. It must not read the clock, and it does not know what took
//! place: comparing a plan with the reviews of the record is the work of `difference.rs`.

use chrono::{Months, NaiveDate};

use super::calendar::WorkingDays;
use super::facts::{Anchor, Anchors, Ended, StomaFacts};
use super::offset::MAX_YEARS;
use super::place::{nominal, place};
use super::protocol::{Applies, Mode, Protocol, ShapeKind, Step};
use super::words::{Date, LongDate};
use crate::json_input::FieldErrors;

/// What a plan is made from.
#[derive(Clone, Debug)]
pub struct PlanRequest<'a> {
    /// The working days: nation, bank holidays, closures of the service.
    pub days: &'a WorkingDays,
    /// No review with a nominal date after this is planned; it ends a repeat. At most [`MAX_YEARS`] after the earliest
    /// anchor.
    pub until: NaiveDate,
    /// The stoma.
    pub stoma: StomaFacts,
    /// The dates known.
    pub anchors: Anchors,
    /// The protocol.
    pub protocol: &'a Protocol,
    /// No review is planned after this.
    pub ended: Option<Ended>,
}

/// One planned review.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlannedReview {
    /// Id of the step.
    pub step: String,
    /// From 1; above 1 only for a step with a repeat.
    pub occurrence: u32,
    /// What it is counted from.
    pub anchor: Anchor,
    /// The date of that.
    pub anchor_on: NaiveDate,
    /// Deadline, point or window.
    pub shape: ShapeKind,
    /// The date the offset gives; for a window its first day.
    pub nominal: NaiveDate,
    /// First day allowed; none for a deadline.
    pub earliest: Option<NaiveDate>,
    /// Last day allowed: the deadline, the date itself, the last day of the window.
    pub latest: NaiveDate,
    /// The working day it is planned for.
    pub planned: NaiveDate,
    /// How it takes place.
    pub mode: Mode,
    /// True when a window holds no working day and `planned` lies outside it.
    pub outside_window: bool,
    /// Why, in words; never empty.
    pub reasons: Vec<String>,
}

/// A step that cannot be dated yet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Waiting {
    /// Id of the step.
    pub step: String,
    /// What is not known: the code of an anchor, or a fact that its `when` asks for, as `stoma.construction`.
    pub waits_for: &'static str,
}

impl Waiting {
    /// What is waited for, in words: "the date of discharge".
    pub fn words(&self) -> &'static str {
        match self.waits_for {
            "surgery" => "the date of surgery",
            "discharge" => "the date of discharge",
            "last-completed" => "a first completed review",
            "reversal" => "the date of the planned reversal",
            "stoma.construction" => "how the stoma is constructed",
            "stoma.permanence" => "whether the stoma is permanent",
            "stoma.surgery" => "whether the surgery was planned",
            _ => "something that is not known",
        }
    }
}

/// The kind of reason for which a step is left out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LeftOutFor {
    /// Its `when` does not match.
    OtherStoma,
    /// Its first date lies after `until`.
    TooLate,
    /// The follow-up has ended.
    Ended,
    /// Its dates make no sense for this anchor.
    NoDate,
}

/// A step of which there is no review (or no further one) in this plan, with the reason.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// Id of the step.
    pub step: String,
    /// The kind of reason.
    pub kind: LeftOutFor,
    /// Why, in words.
    pub reason: String,
}

/// The plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plan {
    /// By planned date, then in the order of the steps.
    pub reviews: Vec<PlannedReview>,
    /// Steps that cannot be dated yet, in the order of the steps.
    pub waiting: Vec<Waiting>,
    /// Steps left out or cut short, in the order of the steps.
    pub left_out: Vec<LeftOut>,
    /// What the reader should check.
    pub notes: Vec<String>,
    /// The limit on nominal dates that held.
    pub until: NaiveDate,
    /// The end that held.
    pub ended: Option<Ended>,
}

impl PlanRequest<'_> {
    /// What must be refused ([`check_dates`]). Call it before [`plan`] on anything a person has typed.
    pub fn check(&self) -> Result<(), FieldErrors> {
        check_dates(&self.anchors, self.until)
    }

    fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        let anchors = &self.anchors;
        if let (Some(surgery), Some(reversal)) = (anchors.surgery, anchors.reversal)
            && reversal < surgery
        {
            notes.push(format!(
                "the reversal on {} is before the surgery on {}: check both",
                Date(reversal),
                Date(surgery)
            ));
        }
        if let Some(ended) = self.ended {
            for (anchor, on) in [(Anchor::Surgery, anchors.surgery), (Anchor::LastCompleted, anchors.last_completed)] {
                if let Some(on) = on.filter(|on| *on > ended.on) {
                    let (what, on, end) = (anchor.words(), Date(on), Date(ended.on));
                    notes.push(format!("{what} on {on} is after the end on {end}: check both"));
                }
            }
        }
        notes
    }
}

/// Refuses a discharge before the surgery and an `until` too far away.
pub fn check_dates(anchors: &Anchors, until: NaiveDate) -> Result<(), FieldErrors> {
    let mut errors = FieldErrors::default();
    if let (Some(surgery), Some(discharge)) = (anchors.surgery, anchors.discharge)
        && discharge < surgery
    {
        let (discharge, surgery) = (Date(discharge), Date(surgery));
        errors
            .add("anchors.discharge", format!("is {discharge}, before the surgery on {surgery}: correct one of them"));
    }
    if let Some((anchor, on)) = anchors.earliest()
        && until > furthest(on)
    {
        let (anchor, on) = (anchor.words(), Date(on));
        errors.add(
            "until",
            format!(
                "is more than {MAX_YEARS} years after the earliest date given ({anchor} on {on}): a repeat runs until then, \
                 so give a nearer date"
            ),
        );
    }
    errors.into_result(Some(()))
}

/// The last `until` that is taken for an earliest date.
pub fn furthest(earliest: NaiveDate) -> NaiveDate {
    earliest.checked_add_months(Months::new(MAX_YEARS * 12)).unwrap_or(NaiveDate::MAX)
}

/// Makes the plan. It does not check the request ([`PlanRequest::check`] does) and cannot fail; an `until` too far away
/// is taken as the furthest allowed, with a note.
pub fn plan(request: &PlanRequest<'_>) -> Plan {
    let mut notes = request.notes();
    let mut until = request.until;
    if let Some((_, earliest)) = request.anchors.earliest()
        && until > furthest(earliest)
    {
        until = furthest(earliest);
        notes.push(format!("planned until {} only: at most {MAX_YEARS} years after the earliest date", Date(until)));
    }
    let mut plan =
        Plan { reviews: Vec::new(), waiting: Vec::new(), left_out: Vec::new(), notes, until, ended: request.ended };
    for step in &request.protocol.steps {
        match step.when.applies(&request.stoma) {
            Applies::No(fact) => {
                plan.leave_out(
                    step,
                    LeftOutFor::OtherStoma,
                    format!("not for this stoma: only {}", limits(step, fact)),
                );
            }
            Applies::Unknown(fact) => plan.waiting.push(Waiting { step: step.id.clone(), waits_for: fact }),
            Applies::Yes => match request.anchors.on(step.anchor) {
                None => plan.waiting.push(Waiting { step: step.id.clone(), waits_for: step.anchor.code() }),
                Some(anchor_on) => plan.run(step, anchor_on, request.days),
            },
        }
    }
    // Stable, so that reviews of one day stay in the order of the steps.
    plan.reviews.sort_by_key(|review| review.planned);
    plan
}

impl Plan {
    fn leave_out(&mut self, step: &Step, kind: LeftOutFor, reason: String) {
        self.left_out.push(LeftOut { step: step.id.clone(), kind, reason });
    }

    /// All occurrences of one step, up to `until` and the end.
    fn run(&mut self, step: &Step, anchor_on: NaiveDate, days: &WorkingDays) {
        // A repeat of zero is refused on reading; one made by hand must not run for ever.
        let last = if step.repeat.is_some_and(|repeat| repeat.count() > 0) { u32::MAX } else { 1 };
        for occurrence in 1..=last {
            if nominal(step, occurrence, anchor_on).is_none_or(|due| due > self.until) {
                if occurrence == 1 {
                    let reason = format!("its first date is after {}, where this plan ends", LongDate(self.until));
                    self.leave_out(step, LeftOutFor::TooLate, reason);
                }
                return;
            }
            let placed = match place(step, occurrence, anchor_on, days) {
                Ok(placed) => placed,
                Err(reason) => return self.leave_out(step, LeftOutFor::NoDate, reason),
            };
            if let Some(ended) = self.ended.filter(|ended| placed.planned > ended.on) {
                let reason = format!(
                    "nothing is planned after {}: {} (the next would have been on {})",
                    LongDate(ended.on),
                    ended.reason.words(),
                    LongDate(placed.planned)
                );
                return self.leave_out(step, LeftOutFor::Ended, reason);
            }
            self.reviews.push(PlannedReview {
                step: step.id.clone(),
                occurrence,
                anchor: step.anchor,
                anchor_on,
                shape: step.shape.kind(),
                nominal: placed.nominal,
                earliest: placed.earliest,
                latest: placed.latest,
                planned: placed.planned,
                mode: step.mode,
                outside_window: placed.outside_window,
                reasons: placed.reasons,
            });
        }
    }
}

/// The limit of a step that ruled it out, as "colostomy or ileostomy", "after emergency surgery".
fn limits(step: &Step, fact: &str) -> String {
    let when = &step.when;
    let join = |words: Vec<&str>| words.join(" or ");
    match fact {
        "stoma.kind" => join(when.kind.iter().map(|fact| fact.words()).collect()),
        "stoma.construction" => {
            format!("{} construction", join(when.construction.iter().map(|fact| fact.words()).collect()))
        }
        "stoma.permanence" => format!("a {} stoma", join(when.permanence.iter().map(|fact| fact.words()).collect())),
        _ => format!("after {} surgery", join(when.surgery.iter().map(|fact| fact.words()).collect())),
    }
}
