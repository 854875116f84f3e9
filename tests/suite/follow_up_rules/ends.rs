//! What an end (death, moving away, declining) changes in the record.

use roundel::follow_up::rules::*;
use uuid::Uuid;

use super::day;
use super::facts::{Facts, apply, changes_nothing, find};

#[test]
fn a_death_closes_all_that_is_open_and_points_out_bookings() {
    let mut facts = Facts::of("dartford-gravesham");
    let mut record = facts.record();
    find(&mut record, "three-months", 1).status = Status::Booked;
    let mut by_hand = record[0].clone();
    (by_hand.id, by_hand.step, by_hand.planned) = (Uuid::from_u128(77), None, day("2026-03-20"));
    record.push(by_hand);
    facts.today = day("2026-02-20"); // the community visit of 5 February is overdue
    facts.ended = Some(Ended { reason: EndReason::Died, on: day("2026-02-18") });
    let difference = facts.difference(&record);
    assert!(difference.added.is_empty() && difference.moved.is_empty());
    assert_eq!(difference.closed.len(), 6, "five of the plan and the one made by hand: {difference:#?}");
    assert!(difference.closed.iter().all(|closed| closed.reason == "the patient died on 18-Feb-2026"));
    assert_eq!(difference.off_plan.len(), 1);
    assert!(difference.off_plan[0].reason.ends_with("cancel the booking"));
    apply(&mut record, &difference);
    changes_nothing(&facts, &record);
}

#[test]
fn an_end_to_come_keeps_what_lies_before_it() {
    let mut facts = Facts::of("dartford-gravesham");
    let mut record = facts.record();
    facts.ended = Some(Ended { reason: EndReason::MovedAway, on: day("2026-06-01") });
    let difference = facts.difference(&record);
    assert_eq!(difference.closed.len(), 3, "6 months and two yearly ones");
    assert_eq!(difference.untouched.len(), 3);
    apply(&mut record, &difference);
    changes_nothing(&facts, &record);
}

#[test]
fn due_now_never_reaches_beyond_an_end_to_come() {
    let mut facts = Facts::of("leeds-community");
    let record = facts.record();
    facts.today = day("2026-01-31"); // Saturday: the next working day is Monday
    facts.ended = Some(Ended { reason: EndReason::Declined, on: day("2026-02-01") });
    let difference = facts.difference(&[]);
    assert!(difference.added.is_empty());
    assert_eq!(difference.not_added[0].reason, "the patient declined further reviews on 01-Feb-2026");
    // A proposed one whose dates change would have to move beyond the end: it is closed.
    facts.anchors.discharge = Some(day("2026-01-21"));
    let difference = facts.difference(&record);
    assert!(difference.moved.is_empty());
    assert_eq!(difference.closed.len(), 1);
}
