//! A difference in the words of a page: what would be added, moved, closed or left, with dates and reasons. Made without
//! writing anything; what is shown carries a seal, so that what is applied is what was shown.

use chrono::NaiveDate;
use sha2::{Digest, Sha256};

use super::replan::title_of;
use super::rules::LongDate;
use super::store::Review;
use super::world::World;
use crate::db::StoreError;
use crate::patients::store::Patient;
use crate::stomas::store::Stoma;

/// What becomes of a review.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// It is new.
    Added,
    /// It gets another day, window or mode.
    Moved,
    /// It is closed.
    Closed,
    /// It is booked and stays, but no longer fits the plan.
    OffPlan,
    /// It is booked and fits the plan again: its mark goes.
    FitsAgain,
    /// It stays as it is.
    Untouched,
}

impl Kind {
    /// The word on pages.
    pub fn word(self) -> &'static str {
        match self {
            Self::Added => "added",
            Self::Moved => "moved",
            Self::Closed => "closed",
            Self::OffPlan => "booked, off plan",
            Self::FitsAgain => "booked, fits again",
            Self::Untouched => "untouched",
        }
    }
}

/// One review.
#[derive(Clone, Debug)]
pub struct Line {
    /// What becomes of it.
    pub kind: Kind,
    /// What it is called.
    pub title: String,
    /// The day it has now.
    pub was: Option<NaiveDate>,
    /// The day it gets.
    pub becomes: Option<NaiveDate>,
    /// How it takes place then.
    pub mode: String,
    /// Why, in words.
    pub reasons: Vec<String>,
}

/// What would change for one stoma.
#[derive(Clone, Debug)]
pub struct StomaChange {
    /// The stoma in words.
    pub stoma: String,
    /// The protocol with its version.
    pub protocol: String,
    /// By kind, then by day.
    pub lines: Vec<Line>,
    /// Steps that wait and reviews whose time has passed, in words.
    pub besides: Vec<String>,
    /// What the reader should check.
    pub notes: Vec<String>,
}

impl StomaChange {
    /// Works it out; `held` are all reviews of the patient.
    pub fn of(world: &World, stoma: &Stoma, patient: &Patient, held: &[Review]) -> Result<Self, StoreError> {
        let protocol = world.protocol(&stoma.protocol_id)?;
        let (plan, change) = world.difference(stoma, patient, held)?;
        let find = |id: uuid::Uuid| held.iter().find(|r| r.id.0 == id).ok_or(StoreError::NotFound);
        let mut lines = Vec::new();
        for fresh in change.added {
            lines.push(Line {
                kind: Kind::Added,
                title: title_of(protocol, &fresh.step),
                was: None,
                becomes: Some(fresh.planned),
                mode: fresh.mode.code().to_owned(),
                reasons: fresh.reasons,
            });
        }
        for moved in change.moved {
            lines.push(Line {
                kind: Kind::Moved,
                title: find(moved.id)?.title.clone(),
                was: Some(moved.from),
                becomes: Some(moved.to.planned),
                mode: moved.to.mode.code().to_owned(),
                reasons: moved.to.reasons,
            });
        }
        let mut stays = |id: uuid::Uuid, kind: Kind, reason: String| -> Result<(), StoreError> {
            let review = find(id)?;
            lines.push(Line {
                kind,
                title: review.title.clone(),
                was: Some(review.due_on()),
                becomes: (kind != Kind::Closed).then(|| review.due_on()),
                mode: review.mode.clone(),
                reasons: vec![reason],
            });
            Ok(())
        };
        for closed in change.closed {
            stays(closed.id, Kind::Closed, closed.reason)?;
        }
        for off in change.off_plan {
            // Marked before with the same words: nothing new to look at.
            let known = find(off.id)?.off_plan.as_deref() == Some(off.reason.as_str());
            stays(off.id, if known { Kind::Untouched } else { Kind::OffPlan }, off.reason)?;
        }
        for untouched in change.untouched {
            let review = find(untouched.id)?;
            // What was closed long ago is no news.
            if review.status != "cancelled" {
                let marked = review.status == "booked" && review.off_plan.is_some();
                stays(untouched.id, if marked { Kind::FitsAgain } else { Kind::Untouched }, untouched.reason)?;
            }
        }
        lines.sort_by_key(|line| (line.kind, line.becomes.or(line.was)));
        let mut besides: Vec<String> = plan
            .waiting
            .iter()
            .map(|w| format!("{} waits: {} is not known", title_of(protocol, &w.step), w.words()))
            .collect();
        besides.extend(change.not_added.iter().map(|n| {
            format!("{} of {} is not planned: {}", title_of(protocol, &n.step), LongDate(n.nominal), n.reason)
        }));
        Ok(Self {
            stoma: stoma.words(),
            protocol: format!("{}, version {}", protocol.title, protocol.version),
            lines,
            besides,
            notes: plan.notes,
        })
    }

    /// How many lines are of a kind.
    pub fn count(&self, kind: Kind) -> usize {
        self.lines.iter().filter(|line| line.kind == kind).count()
    }

    /// Something would be written.
    pub fn changes_anything(&self) -> bool {
        self.lines.iter().any(|line| line.kind != Kind::Untouched)
    }

    /// Something that is there would be moved, closed or marked: a person is asked first.
    pub fn asks(&self) -> bool {
        self.lines.iter().any(|line| matches!(line.kind, Kind::Moved | Kind::Closed | Kind::OffPlan))
    }
}

/// A short mark of what is shown: the same only when exactly the same would be written.
pub fn seal<'a>(changes: impl IntoIterator<Item = &'a StomaChange>) -> String {
    let mut hash = Sha256::new();
    for change in changes {
        hash.update(change.stoma.as_bytes());
        for line in change.lines.iter().filter(|line| line.kind != Kind::Untouched) {
            hash.update(format!("|{:?}|{}|{:?}|{:?}|{}", line.kind, line.title, line.was, line.becomes, line.mode));
        }
    }
    hex::encode(&hash.finalize()[..16])
}
