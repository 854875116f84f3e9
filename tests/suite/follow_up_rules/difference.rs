//! What a fresh plan changes in the record: the table of changed facts, one test a line.
//!
//! No published rule says what happens to planned reviews when a date is corrected; the behaviour is local and stated
//! in `docs/follow-up.md`.

use chrono::{Days, NaiveDate};
use roundel::follow_up::rules::difference::Reasoned;
use roundel::follow_up::rules::*;
use uuid::Uuid;

use super::day;
use super::facts::{Facts, apply, changes_nothing, find};

fn reason(list: &[Reasoned], id: Uuid) -> String {
    let found = list.iter().find(|one| one.id == id);
    found.map_or_else(|| panic!("{id} not in {list:?}"), |one| one.reason.clone())
}

#[test]
fn a_first_plan_adds_all_and_a_second_run_nothing() {
    let facts = Facts::of("dartford-gravesham");
    let first = facts.difference(&[]);
    assert_eq!(first.added.len(), 6);
    assert_eq!(first.added, facts.plan().reviews);
    let record = facts.record();
    let again = facts.difference(&record);
    assert!(again.changes_nothing());
    assert_eq!(again.untouched.len(), 6);
}

#[test]
fn a_corrected_surgery_moves_proposed_reviews_only() {
    let mut facts = Facts::of("dartford-gravesham");
    let mut record = facts.record();
    let done = find(&mut record, "community", 1);
    done.status = Status::Fulfilled;
    let booked = find(&mut record, "three-months", 1);
    booked.status = Status::Booked;
    let booked = booked.clone();
    let missed = find(&mut record, "six-months", 1);
    missed.status = Status::NoShow;
    let missed = missed.clone();
    facts.anchors.surgery = Some(day("2026-01-13"));
    let difference = facts.difference(&record);
    let moved: Vec<_> =
        difference.moved.iter().map(|moved| (moved.to.step.as_str(), moved.from, moved.to.planned)).collect();
    assert_eq!(
        moved,
        [("yearly", day("2027-01-15"), day("2027-01-13")), ("yearly", day("2028-01-17"), day("2028-01-13")),]
    );
    assert!(difference.added.is_empty() && difference.closed.is_empty());
    assert_eq!(difference.off_plan.len(), 1);
    assert_eq!(difference.off_plan[0].id, booked.id);
    assert!(
        difference.off_plan[0].reason.contains("booked for Wed 15-Apr-2026; the plan now says Mon 13-Apr-2026"),
        "{difference:?}"
    );
    assert!(reason(&difference.untouched, missed.id).contains("missed"));
    apply(&mut record, &difference);
    changes_nothing(&facts, &record);
    assert_eq!(find(&mut record, "three-months", 1), &booked, "booked is never changed");
    assert_eq!(find(&mut record, "six-months", 1), &missed, "missed is never changed");
}

#[test]
fn a_date_that_has_passed_is_due_now() {
    let mut facts = Facts::of("leeds-community");
    facts.today = day("2026-01-31"); // Saturday; the window was Sun 25 to Tue 27
    let difference = facts.difference(&[]);
    let added = &difference.added[0];
    assert_eq!(added.planned, day("2026-02-02"));
    assert_eq!(added.latest, day("2026-01-27"), "the window stays, so that it shows as overdue");
    assert!(added.outside_window);
    assert!(
        added.reasons.iter().any(|reason| reason == "Mon 26-Jan-2026 has passed: due now, on Mon 02-Feb-2026"),
        "{added:?}"
    );
    let record = facts.record();
    changes_nothing(&facts, &record);
    // It is not carried along from day to day: it stays on the day given and becomes overdue.
    facts.today = day("2026-02-10");
    changes_nothing(&facts, &record);
}

#[test]
fn of_occurrences_that_have_passed_only_the_last_is_due_now() {
    let mut facts = Facts::of("dartford-gravesham");
    facts.today = day("2029-03-01");
    facts.until = day("2030-12-31");
    let difference = facts.difference(&[]);
    let yearly: Vec<_> =
        difference.added.iter().filter(|r| r.step == "yearly").map(|r| (r.occurrence, r.planned)).collect();
    assert_eq!(yearly, [(3, day("2029-03-01")), (4, day("2030-01-15"))]);
    assert_eq!(difference.not_added.iter().filter(|r| r.step == "yearly").count(), 2);
    changes_nothing(&facts, &facts.record());
}

#[test]
fn what_was_due_before_the_service_took_the_stoma_on_is_not_added() {
    let mut facts = Facts::of("dartford-gravesham");
    facts.today = day("2026-09-01");
    facts.taken_on = Some(day("2026-09-01"));
    let difference = facts.difference(&[]);
    assert!(difference.added.iter().all(|review| review.step == "yearly"), "{difference:?}");
    assert_eq!(difference.not_added.len(), 4);
    assert!(difference.not_added.iter().all(|one| one.reason.contains("01-Sep-2026")));
}

#[test]
fn a_discharge_that_becomes_known_or_unknown() {
    let mut facts = Facts::of("dartford-gravesham");
    let discharge = facts.anchors.discharge.take();
    let mut record = facts.record();
    assert_eq!(record.len(), 4);
    facts.anchors.discharge = discharge;
    let difference = facts.difference(&record);
    assert_eq!(difference.added.len(), 2);
    apply(&mut record, &difference);
    facts.anchors.discharge = None;
    let difference = facts.difference(&record);
    assert_eq!(difference.closed.len(), 2);
    assert!(difference.closed.iter().all(|closed| closed.reason == "waits again: the date of discharge is not known"));
    apply(&mut record, &difference);
    changes_nothing(&facts, &record);
    // What a difference closed comes back; what a person cancelled does not.
    facts.anchors.discharge = discharge;
    find(&mut record, "six-week-clinic", 1).closed_by_plan = false;
    let difference = facts.difference(&record);
    assert_eq!(difference.added.iter().map(|r| r.step.as_str()).collect::<Vec<_>>(), ["community"]);
}

#[test]
fn a_day_chosen_by_hand_stays_until_the_dates_change() {
    let mut facts = Facts::of("dartford-gravesham");
    let mut record = facts.record();
    let deferred = find(&mut record, "three-months", 1);
    (deferred.planned, deferred.mode, deferred.by_hand) = (day("2026-04-22"), Mode::Phone, true);
    let id = deferred.id;
    assert_eq!(reason(&facts.difference(&record).untouched, id), "the day chosen by hand stays");
    // Closed on that day: moved on by a day, still a call, still chosen by hand.
    facts.closures = vec![day("2026-04-22")];
    let difference = facts.difference(&record);
    assert_eq!(difference.moved.len(), 1);
    let moved = &difference.moved[0];
    assert_eq!((moved.to.planned, moved.to.mode, moved.by_hand), (day("2026-04-23"), Mode::Phone, true));
    apply(&mut record, &difference);
    changes_nothing(&facts, &record);
    // A corrected surgery goes before it, and says what was chosen.
    facts.anchors.surgery = Some(day("2026-01-16"));
    let difference = facts.difference(&record);
    let moved = difference.moved.iter().find(|moved| moved.id == id).expect("moved");
    assert_eq!((moved.to.planned, moved.to.mode, moved.by_hand), (day("2026-04-16"), Mode::Clinic, false));
    let last = moved.to.reasons.last().expect("a reason");
    assert_eq!(last, "was planned for Thu 23-Apr-2026, by telephone, chosen by hand");
}

#[test]
fn a_new_closure_moves_what_is_proposed_and_taking_it_back_moves_it_back() {
    let mut facts = Facts::of("dartford-gravesham");
    let mut record = facts.record();
    find(&mut record, "yearly", 1).status = Status::Booked;
    facts.closures = vec![day("2026-04-15"), day("2027-01-15")];
    let difference = facts.difference(&record);
    assert_eq!(difference.moved.iter().map(|moved| moved.to.planned).collect::<Vec<_>>(), [day("2026-04-16")]);
    assert_eq!(difference.off_plan.len(), 1, "the booking is on a day now closed");
    apply(&mut record, &difference);
    changes_nothing(&facts, &record);
    facts.closures.clear();
    let difference = facts.difference(&record);
    assert_eq!(difference.moved.iter().map(|moved| moved.to.planned).collect::<Vec<_>>(), [day("2026-04-15")]);
    assert!(difference.off_plan.is_empty());
}

#[test]
fn a_new_protocol_closes_the_steps_it_does_not_have() {
    let mut facts = Facts::of("dartford-gravesham");
    let mut record = facts.record();
    find(&mut record, "six-week-clinic", 1).status = Status::Booked;
    facts.protocol = shipped_by_id("east-kent").expect("shipped").clone();
    let difference = facts.difference(&record);
    assert_eq!(difference.added.len(), 1, "the last hospital review: {difference:#?}");
    assert_eq!(difference.moved.len(), 2, "both have a step called yearly");
    let mut closed: Vec<&str> = difference.closed.iter().map(|closed| closed.reason.as_str()).collect();
    closed.sort_unstable();
    assert_eq!(
        closed,
        [
            "the protocol no longer has the step 'community'",
            "the protocol no longer has the step 'six-months'",
            "the protocol no longer has the step 'three-months'",
        ]
    );
    assert_eq!(difference.off_plan.len(), 1);
    apply(&mut record, &difference);
    changes_nothing(&facts, &record);
}

#[test]
fn a_completed_review_starts_the_next_year() {
    let mut facts = Facts::of("bristol-yearly");
    facts.until = day("2027-12-31");
    facts.anchors.last_completed = Some(day("2026-01-20"));
    let mut record = facts.record();
    assert_eq!(record.len(), 1); // 20-Jan-2027
    // Missed: not planned a second time, not changed.
    record[0].status = Status::NoShow;
    facts.today = day("2027-01-25");
    let difference = facts.difference(&record);
    assert!(difference.changes_nothing(), "{difference:#?}");
    // Then rebooked and done on 1-Feb-2027: the next is a year after that.
    record[0].status = Status::Fulfilled;
    facts.anchors.last_completed = Some(day("2027-02-01"));
    facts.today = day("2027-02-01");
    facts.until = day("2028-12-31");
    let difference = facts.difference(&record);
    assert_eq!(
        difference.added.iter().map(|r| (r.occurrence, r.planned)).collect::<Vec<_>>(),
        [(1, day("2028-02-01"))]
    );
    apply(&mut record, &difference);
    changes_nothing(&facts, &record);
}

#[test]
fn a_missed_review_may_be_proposed_again_and_a_double_is_closed() {
    let facts = Facts::of("leeds-community");
    let mut record = facts.record();
    let mut again = record[0].clone();
    record[0].status = Status::NoShow;
    (again.id, again.planned, again.by_hand) = (Uuid::from_u128(5), day("2026-02-03"), true);
    record.push(again.clone());
    let difference = facts.difference(&record);
    assert!(difference.changes_nothing(), "{difference:#?}");
    again.id = Uuid::from_u128(6);
    record.push(again);
    let difference = facts.difference(&record);
    assert_eq!(difference.closed.len(), 1);
    assert!(difference.closed[0].reason.contains("the same review is there already"));
}

#[test]
fn reviews_beyond_the_plan_and_of_other_stomas_are_left_alone() {
    let mut facts = Facts::of("dartford-gravesham");
    let mut record = facts.record();
    let mut other = record[0].clone();
    (other.id, other.stoma) = (Uuid::from_u128(9), Uuid::from_u128(2));
    record.push(other);
    facts.until = day("2027-06-30");
    let difference = facts.difference(&record);
    assert!(difference.changes_nothing(), "{difference:#?}");
    let second_year = find(&mut record, "yearly", 2).id;
    assert!(reason(&difference.untouched, second_year).contains("not looked at"));
    assert_eq!(difference.untouched.len(), 6, "the review of the other stoma is passed over");
}

#[test]
fn entered_in_error_does_not_count() {
    let facts = Facts::of("dartford-gravesham");
    let mut record = facts.record();
    find(&mut record, "three-months", 1).status = Status::EnteredInError;
    let difference = facts.difference(&record);
    assert_eq!(difference.added.iter().map(|r| r.step.as_str()).collect::<Vec<_>>(), ["three-months"]);
    // Far future dates are unaffected by "today".
    assert!(difference.added[0].planned > facts.today + Days::new(60));
}

#[test]
fn an_overdue_review_stays_open_beside_the_next_one() {
    let mut facts = Facts::of("dartford-gravesham");
    let record = facts.record();
    // The first yearly review was never dealt with, and the second is due today.
    facts.today = day("2028-01-17");
    let difference = facts.difference(&record);
    assert!(difference.changes_nothing(), "{difference:#?}");
    // For a patient who comes to the service on that day, the second takes the place of the first.
    let yearly: Vec<u32> =
        facts.difference(&[]).added.iter().filter(|r| r.step == "yearly").map(|r| r.occurrence).collect();
    assert_eq!(yearly, [2]);
}

#[test]
fn a_surgery_found_to_be_years_earlier_leaves_one_yearly_review_due() {
    let mut facts = Facts::of("dartford-gravesham");
    let mut record = facts.record();
    facts.anchors.surgery = Some(day("2023-01-15"));
    let difference = facts.difference(&record);
    let first_two: Vec<&str> = difference.closed.iter().map(|closed| closed.reason.as_str()).collect();
    assert_eq!(first_two.len(), 2, "{difference:#?}");
    assert!(first_two.iter().all(|reason| reason.ends_with("a later occurrence is due by now as well")));
    let yearly: Vec<_> =
        difference.added.iter().filter(|r| r.step == "yearly").map(|r| (r.occurrence, r.planned)).collect();
    assert_eq!(yearly, [(3, day("2026-01-28")), (4, day("2027-01-15")), (5, day("2028-01-17"))]);
    apply(&mut record, &difference);
    changes_nothing(&facts, &record);
}

#[test]
fn the_last_day_on_which_the_service_took_the_stoma_on() {
    let mut facts = Facts::of("leeds-community"); // window to Tue 27-Jan-2026
    facts.taken_on = Some(day("2026-01-27"));
    assert_eq!(facts.difference(&[]).added.len(), 1);
    facts.taken_on = Some(day("2026-01-28"));
    assert_eq!(facts.difference(&[]).added.len(), 0);
}

#[test]
fn a_review_cancelled_by_a_person_does_not_cancel_the_next_year() {
    let mut facts = Facts::of("bristol-yearly");
    facts.until = day("2027-12-31");
    facts.anchors.last_completed = Some(day("2026-01-20"));
    let mut record = facts.record();
    record[0].status = Status::Cancelled; // 20-Jan-2027, called off by a person
    assert!(facts.difference(&record).changes_nothing());
    // Seen all the same in March 2027: the year after is planned.
    facts.anchors.last_completed = Some(day("2027-03-01"));
    facts.until = day("2028-12-31");
    let planned: Vec<NaiveDate> = facts.difference(&record).added.iter().map(|review| review.planned).collect();
    assert_eq!(planned, [day("2028-03-01")]);
}

#[test]
fn a_booking_that_lies_in_the_past_is_not_called_off_by_a_later_closure() {
    let mut facts = Facts::of("leeds-community");
    let mut record = facts.record();
    (record[0].status, record[0].planned) = (Status::Booked, day("2026-01-27"));
    facts.closures = vec![day("2026-01-27")];
    assert!(facts.difference(&record).off_plan.is_empty());
    facts.today = day("2026-01-27");
    assert_eq!(facts.difference(&record).off_plan.len(), 1);
}

#[test]
fn a_review_made_by_hand_is_left_alone() {
    let facts = Facts::of("dartford-gravesham");
    let mut record = facts.record();
    find(&mut record, "yearly", 2).step = None;
    record.retain(|review| review.step.is_none());
    let difference = facts.difference(&record);
    assert_eq!(reason(&difference.untouched, record[0].id), "made by hand, not from the protocol");
    assert_eq!(difference.added.len(), 6);
}

#[test]
fn steps_that_are_for_other_stomas_are_closed_however_far_away() {
    let mut facts = Facts::of("dartford-gravesham");
    let mut record = facts.record();
    let yearly = facts.protocol.steps.iter_mut().find(|step| step.id == "yearly").expect("there");
    yearly.when.kind = vec![StomaKind::Urostomy];
    facts.until = day("2027-06-30"); // the second yearly review lies beyond
    let difference = facts.difference(&record);
    let reasons: Vec<&str> = difference.closed.iter().map(|closed| closed.reason.as_str()).collect();
    assert_eq!(reasons, ["not for this stoma: only urostomy"; 2]);
    apply(&mut record, &difference);
    changes_nothing(&facts, &record);
}
