//! A stoma as the service would hold it, its plan, and what the service does with a difference.

use chrono::NaiveDate;
use roundel::follow_up::rules::*;
use uuid::Uuid;

use super::day;

pub(super) const STOMA: Uuid = Uuid::from_u128(1);

/// Facts of one stoma, as the service would hold them.
#[derive(Clone, Debug)]
pub(super) struct Facts {
    pub(super) protocol: Protocol,
    pub(super) anchors: Anchors,
    pub(super) closures: Vec<NaiveDate>,
    pub(super) until: NaiveDate,
    pub(super) ended: Option<Ended>,
    pub(super) today: NaiveDate,
    pub(super) taken_on: Option<NaiveDate>,
}

impl Facts {
    /// Surgery Thu 15-Jan-2026, discharge Thu 22-Jan-2026, England, today Wed 28-Jan-2026.
    pub(super) fn of(protocol: &str) -> Self {
        Self {
            protocol: shipped_by_id(protocol).expect("shipped").clone(),
            anchors: Anchors {
                surgery: Some(day("2026-01-15")),
                discharge: Some(day("2026-01-22")),
                ..Anchors::default()
            },
            closures: Vec::new(),
            until: day("2028-12-31"),
            ended: None,
            today: day("2026-01-28"),
            taken_on: None,
        }
    }

    pub(super) fn days(&self) -> WorkingDays {
        WorkingDays::new(Nation::England, &self.closures)
    }

    pub(super) fn plan(&self) -> Plan {
        plan(&PlanRequest {
            days: &self.days(),
            until: self.until,
            stoma: StomaFacts {
                kind: StomaKind::Ileostomy,
                construction: Some(Construction::End),
                permanence: Some(Permanence::Permanent),
                surgery: Some(SurgeryType::Planned),
            },
            anchors: self.anchors,
            protocol: &self.protocol,
            ended: self.ended,
        })
    }

    pub(super) fn difference(&self, existing: &[Existing]) -> Difference {
        difference(&DifferenceRequest {
            stoma: STOMA,
            existing,
            plan: &self.plan(),
            today: self.today,
            days: &self.days(),
            taken_on: self.taken_on,
        })
    }

    /// The record after a first plan is applied.
    pub(super) fn record(&self) -> Vec<Existing> {
        let mut existing = Vec::new();
        apply(&mut existing, &self.difference(&[]));
        existing
    }
}

/// What the service does with a difference.
pub(super) fn apply(existing: &mut Vec<Existing>, difference: &Difference) {
    let write = |review: &mut Existing, to: &PlannedReview| {
        (review.nominal, review.planned) = (to.nominal, to.planned);
        (review.earliest, review.latest, review.mode) = (to.earliest, to.latest, to.mode);
    };
    for moved in &difference.moved {
        let review = existing.iter_mut().find(|review| review.id == moved.id).expect("there");
        write(review, &moved.to);
        review.by_hand = moved.by_hand;
    }
    for closed in &difference.closed {
        let review = existing.iter_mut().find(|review| review.id == closed.id).expect("there");
        review.status = Status::Cancelled;
        review.closed_by_plan = true;
    }
    for added in &difference.added {
        let mut review = Existing {
            id: Uuid::from_u128(1000 + existing.len() as u128),
            stoma: STOMA,
            step: Some(added.step.clone()),
            occurrence: added.occurrence,
            nominal: added.nominal,
            planned: added.planned,
            earliest: added.earliest,
            latest: added.latest,
            mode: added.mode,
            status: Status::Proposed,
            by_hand: false,
            closed_by_plan: false,
        };
        write(&mut review, added);
        existing.push(review);
    }
}

/// The review of a step.
pub(super) fn find<'r>(record: &'r mut [Existing], step: &str, occurrence: u32) -> &'r mut Existing {
    record
        .iter_mut()
        .find(|review| review.step.as_deref() == Some(step) && review.occurrence == occurrence)
        .expect("there")
}

/// A second run must change nothing.
pub(super) fn changes_nothing(facts: &Facts, record: &[Existing]) {
    let again = facts.difference(record);
    assert!(again.changes_nothing(), "{again:#?}");
}
