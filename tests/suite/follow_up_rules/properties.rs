//! What must hold for every protocol, calendar and record: order, closed days, ends, repetition, reasons.

use std::collections::BTreeSet;

use chrono::{Days, NaiveDate};
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use roundel::follow_up::rules::*;
use uuid::Uuid;

use super::day;
use super::facts::{Facts, STOMA, apply};

fn dates(from: &str, days: u64) -> impl Strategy<Value = NaiveDate> {
    let from = day(from);
    (0..days).prop_map(move |n| from + Days::new(n))
}

fn unit() -> impl Strategy<Value = Unit> {
    prop_oneof![Just(Unit::Days), Just(Unit::Weeks), Just(Unit::Months)]
}

fn step() -> impl Strategy<Value = Step> {
    let anchor = prop_oneof![
        4 => Just(Anchor::Surgery),
        4 => Just(Anchor::Discharge),
        2 => Just(Anchor::LastCompleted),
        1 => Just(Anchor::Reversal)
    ];
    let mode = prop_oneof![Just(Mode::Clinic), Just(Mode::Phone), Just(Mode::Home)];
    let when = prop_oneof![
        4 => Just(When::default()),
        1 => Just(When { kind: vec![StomaKind::Colostomy], ..When::default() })
    ];
    (anchor, mode, when, unit(), 0u32..20, 0u32..3, option::of(1u32..20), 0u8..3).prop_map(
        |(anchor, mode, when, unit, first, length, repeat, shape)| {
            let offset = Offset::new(first, unit);
            let shape = match shape {
                0 => Shape::By(offset),
                1 => Shape::At(offset),
                _ => Shape::Window { from: offset, to: Offset::new(first + length, unit) },
            };
            // A daily repeat over years makes thousands of reviews and proves nothing more.
            let repeat = repeat.map(|n| Offset::new(if unit == Unit::Days { n + 20 } else { n }, unit));
            Step { id: String::new(), title: None, anchor, shape, repeat, mode, when, note: None }
        },
    )
}

fn protocol() -> impl Strategy<Value = Protocol> {
    vec(step(), 1..6).prop_map(|mut steps| {
        steps.iter_mut().enumerate().for_each(|(i, step)| step.id = format!("step-{i}"));
        Protocol { steps, ..shipped()[0].clone() }
    })
}

prop_compose! {
    fn facts()(
        protocol in protocol(),
        surgery in option::weighted(0.9, dates("2024-01-01", 900)),
        discharge in option::weighted(0.8, 0u64..30),
        last_completed in option::weighted(0.5, 0u64..500),
        reversal in option::weighted(0.5, 0u64..500),
        closures in vec(dates("2024-01-01", 1400), 0..30),
        until in dates("2024-06-01", 1500),
        ended in option::weighted(0.3, dates("2024-01-01", 1500)),
        today in dates("2024-01-01", 1200),
        taken_on in option::weighted(0.2, dates("2024-01-01", 1200)),
    ) -> Facts {
        let after = |days: Option<u64>| days.map(|days| surgery.unwrap_or(day("2024-05-05")) + Days::new(days));
        let anchors = Anchors {
            surgery,
            discharge: after(discharge),
            last_completed: after(last_completed),
            reversal: after(reversal),
        };
        let ended = ended.map(|on| Ended { reason: EndReason::Declined, on });
        Facts { protocol, anchors, closures, until, ended, today, taken_on }
    }
}

/// What people do to reviews between two plans.
fn acts() -> impl Strategy<Value = Vec<(usize, u8)>> {
    vec((0usize..40, 0u8..9), 0..12)
}

fn act(record: &mut [Existing], acts: &[(usize, u8)]) {
    for (at, what) in acts {
        let count = record.len().max(1);
        let Some(review) = record.get_mut(at % count) else { continue };
        match what {
            0 => review.status = Status::Booked,
            1 => review.status = Status::Fulfilled,
            2 => review.status = Status::NoShow,
            3 => review.status = Status::Cancelled,
            4 => review.status = Status::EnteredInError,
            5 => (review.planned, review.by_hand) = (review.planned + Days::new(9), true),
            6 => (review.mode, review.by_hand) = (Mode::Video, true),
            7 => review.stoma = Uuid::from_u128(2),
            _ => review.step = None,
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 512, ..ProptestConfig::default() })]

    #[test]
    fn a_plan_keeps_its_promises(facts in facts()) {
        let days = facts.days();
        let plan = facts.plan();
        prop_assert_eq!(&plan, &facts.plan(), "made twice, it is the same");
        let order = |review: &PlannedReview| {
            let step = facts.protocol.steps.iter().position(|step| step.id == review.step);
            (review.planned, step, review.occurrence)
        };
        prop_assert!(plan.reviews.is_sorted_by_key(order), "by planned date, then step");
        for review in &plan.reviews {
            prop_assert!(days.is_working_day(review.planned), "none on a closed day");
            prop_assert!(review.nominal <= facts.until);
            prop_assert!(facts.ended.is_none_or(|ended| review.planned <= ended.on), "none after an end");
            prop_assert!(!review.reasons.is_empty() && review.reasons.iter().all(|reason| !reason.is_empty()));
            // None before the day it is counted from; only a deadline or a window without a working day falls back, and says so.
            prop_assert!(review.nominal >= review.anchor_on);
            let said = review.reasons.iter().any(|reason| reason.contains("this is before"));
            prop_assert_eq!(review.planned < review.anchor_on, said);
            let inside = review.earliest.is_none_or(|earliest| earliest <= review.planned) && review.planned <= review.latest;
            let step = facts.protocol.step(&review.step).expect("a step of the protocol");
            match step.shape {
                Shape::By(_) => prop_assert!(review.planned <= review.latest && review.earliest.is_none()),
                Shape::At(_) => prop_assert!(review.planned >= review.nominal && review.earliest == Some(review.latest)),
                Shape::Window { .. } => prop_assert_eq!(inside, !review.outside_window),
            }
        }
        // Every step is planned, waits, or is left out with its reason.
        for step in &facts.protocol.steps {
            let somewhere = plan.reviews.iter().any(|review| review.step == step.id)
                || plan.waiting.iter().any(|waiting| waiting.step == step.id)
                || plan.left_out.iter().any(|left_out| left_out.step == step.id && !left_out.reason.is_empty());
            prop_assert!(somewhere, "{} is nowhere", step.id);
        }
    }

    #[test]
    fn occurrences_of_a_step_follow_one_another(facts in facts()) {
        for step in &facts.protocol.steps {
            let plan = facts.plan();
            let of_step: Vec<&PlannedReview> = plan.reviews.iter().filter(|review| review.step == step.id).collect();
            for (k, review) in (1u32..).zip(&of_step) {
                prop_assert_eq!(review.occurrence, k);
            }
            prop_assert!(of_step.is_sorted_by_key(|review| review.nominal));
        }
    }

    #[test]
    fn a_difference_keeps_its_promises(
        before in facts(), acts in acts(), after in facts(), same_protocol in any::<bool>(), later in 0u64..400,
    ) {
        let mut record = Vec::new();
        apply(&mut record, &before.difference(&[]));
        act(&mut record, &acts);
        let mut after = after;
        after.today = before.today + Days::new(later);
        if same_protocol {
            after.protocol = before.protocol.clone();
        }
        let difference = after.difference(&record);

        // Every review of the stoma is in exactly one list, with a reason.
        let listed: Vec<(Uuid, &str)> = (difference.moved.iter().map(|m| (m.id, m.to.reasons.last().map_or("", String::as_str))))
            .chain(difference.closed.iter().map(|c| (c.id, c.reason.as_str())))
            .chain(difference.untouched.iter().map(|u| (u.id, u.reason.as_str())))
            .chain(difference.off_plan.iter().map(|o| (o.id, o.reason.as_str())))
            .collect();
        let ids: BTreeSet<Uuid> = listed.iter().map(|(id, _)| *id).collect();
        prop_assert_eq!(ids.len(), listed.len(), "none in two lists");
        prop_assert_eq!(ids, record.iter().filter(|r| r.stoma == STOMA).map(|r| r.id).collect::<BTreeSet<_>>());
        prop_assert!(listed.iter().all(|(_, reason)| !reason.is_empty()));

        // Only proposed ones are moved or closed.
        let status = |id: Uuid| record.iter().find(|review| review.id == id).map(|review| review.status);
        prop_assert!(difference.moved.iter().all(|moved| status(moved.id) == Some(Status::Proposed)));
        prop_assert!(difference.closed.iter().all(|closed| status(closed.id) == Some(Status::Proposed)));
        prop_assert!(difference.off_plan.iter().all(|off| status(off.id) == Some(Status::Booked)));

        // New dates: working days, not in the past, not after an end.
        let days = after.days();
        for (review, from) in difference.added.iter().map(|review| (review, None))
            .chain(difference.moved.iter().map(|moved| (&moved.to, Some(moved.from))))
        {
            if from != Some(review.planned) {
                prop_assert!(days.is_working_day(review.planned));
                prop_assert!(review.planned >= after.today, "{review:?}");
            }
            prop_assert!(after.ended.is_none_or(|ended| review.planned <= ended.on));
        }

        // Applied, what took place, was missed or is booked is as it was, and a second run changes nothing.
        let kept = |record: &[Existing]| -> Vec<Existing> {
            let fixed = |review: &&Existing| !matches!(review.status, Status::Proposed | Status::Cancelled);
            record.iter().filter(fixed).cloned().collect()
        };
        let fixed_before = kept(&record);
        apply(&mut record, &difference);
        let added_from = record.len() - difference.added.len();
        prop_assert_eq!(fixed_before, kept(&record[..added_from]));
        let again = after.difference(&record);
        prop_assert!(again.changes_nothing(), "{again:#?}");
        // Nor does a run the next day.
        after.today = after.today + Days::new(1);
        if after.ended.is_none() {
            let tomorrow = after.difference(&record);
            prop_assert!(tomorrow.moved.is_empty() && tomorrow.closed.is_empty(), "{tomorrow:#?}");
        }
    }

    #[test]
    fn a_protocol_is_read_back_as_written(protocol in protocol()) {
        let text = protocol.to_toml();
        prop_assert_eq!(Protocol::from_toml("written.toml", &text), Ok(protocol), "{}", text);
    }

    #[test]
    fn offsets_are_read_back_as_written(count in 0u32..=720, unit in unit()) {
        let offset = Offset::new(count, unit);
        prop_assert_eq!(Offset::parse(&offset.to_string()), Ok(offset));
    }
}
