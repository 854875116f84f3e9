//! Units, packs, days' supply; words; conversions; laws.

use std::num::NonZeroU32;

use num_rational::Ratio;
use proptest::prelude::*;
use roundel::supplies::rules::{
    Period, Use, decimal_words, fluid_ounces, ounces, per_boxes_begun, printed_alert, quantity, use_in_words,
};

fn uses(units: u32, days: u32) -> Use {
    Use::new(units, days).expect("a use within bounds")
}

fn reckon(units: u32, days: u32, period: u16, pack: u32, on_hand: u32) -> [i64; 6] {
    let pack = NonZeroU32::new(pack).expect("a pack");
    let q = quantity(Period::new(period).expect("a period"), uses(units, days), pack, on_hand);
    [q.units, q.packs, q.supplied, q.surplus, q.days_supply, q.left_at_end]
}

/// Worked by hand from period, use and pack (reference arithmetic of the project, independent of the engine).
#[test]
fn worked_examples() {
    // (units, every days, period, pack) -> units, packs, supplied, surplus, days' supply
    let table = [
        ((1, 1, 28, 30), [28, 1, 30, 2, 30]),
        ((5, 2, 28, 30), [70, 3, 90, 20, 36]),
        ((3, 1, 28, 30), [84, 3, 90, 6, 30]),
        ((3, 1, 30, 30), [90, 3, 90, 0, 30]),
        ((1, 2, 28, 30), [14, 1, 30, 16, 60]),
        ((1, 3, 28, 10), [10, 1, 10, 0, 30]),
        ((1, 3, 30, 10), [10, 1, 10, 0, 30]),
        ((4, 7, 28, 10), [16, 2, 20, 4, 35]),
        ((1, 2, 30, 10), [15, 2, 20, 5, 40]),
        ((1, 2, 28, 5), [14, 3, 15, 1, 30]),
        ((1, 3, 28, 5), [10, 2, 10, 0, 30]),
        ((1, 3, 30, 5), [10, 2, 10, 0, 30]),
        ((1, 7, 28, 10), [4, 1, 10, 6, 70]),
    ];
    for ((units, days, period, pack), expected) in table {
        let found = reckon(units, days, period, pack, 0);
        assert_eq!(found[..5], expected, "{units} every {days} days for {period} days in packs of {pack}");
        assert_eq!(found[5], found[3], "with nothing on hand, what is left is the surplus");
    }
}

/// Scottish Government review 2015, Appendix 1: 2.5 a day is 17.5 a week and 910 a year; 4 a week is 208; both 1,118.
#[test]
fn the_scottish_year_has_52_weeks() {
    assert_eq!(reckon(5, 2, 364, 1, 0)[0], 910);
    assert_eq!(reckon(4, 7, 364, 1, 0)[0], 208);
    assert_eq!(reckon(43, 14, 364, 1, 0)[0], 1_118, "21.5 a week");
    assert_eq!(reckon(5, 2, 14, 1, 0)[0], 35, "17.5 a week");
}

/// The same table prints the alerts 1,138, 260 and 1,398: 25% above, rounded half up.
#[test]
fn printed_alerts_are_rounded_half_up() {
    assert_eq!([910, 208, 1_118].map(|expected| printed_alert(expected, 25)), [1_138, 260, 1_398]);
}

#[test]
fn stock_on_hand_is_taken_off_and_lasts() {
    // Need 28: 10 at hand leave 18, two packs of 10.
    assert_eq!(reckon(1, 1, 28, 10, 10), [18, 2, 20, 2, 30, 2]);
    // More at hand than needed: nothing is ordered, no surplus is bought, 12 remain.
    assert_eq!(reckon(1, 1, 28, 10, 40), [0, 0, 0, 0, 40, 12]);
    assert_eq!(reckon(1, 1, 28, 10, 28), [0, 0, 0, 0, 28, 0]);
}

/// 13 boxes of 90 for 364 days at 3 a day leave 78 when the surplus is thrown away, and nothing when it is carried.
#[test]
fn carrying_the_surplus_saves_a_year_of_spare_bags() {
    let wasteful: i64 = (0..13).map(|_| reckon(3, 1, 28, 90, 0)[2]).sum();
    assert_eq!(wasteful - 364 * 3, 78);
    let (mut on_hand, mut ordered) = (0_i64, 0);
    for _ in 0..13 {
        let issue = reckon(3, 1, 28, 90, u32::try_from(on_hand).expect("small"));
        ordered += issue[2];
        on_hand = issue[5];
    }
    assert_eq!(ordered - 364 * 3, on_hand);
    assert!(on_hand < 90, "never a whole box too many");
}

/// 28.3495 g to the ounce, 29.5735 mL to the US fluid ounce. Rounded to hundredths as a pharmacist would.
#[test]
fn ounces_and_fluid_ounces() {
    let hundredths = |value: Option<Ratio<i64>>| (value.expect("fits") * 100).round().to_integer();
    let whole = Ratio::from_integer;
    assert_eq!(hundredths(ounces(whole(60))), 212, "a tube of 60 g is 2.12 oz");
    assert_eq!(hundredths(ounces(whole(120))), 423, "two tubes are 4.23 oz");
    assert_eq!(hundredths(ounces(whole(11 * 25))), 970, "11 bottles of 25 g");
    assert_eq!(hundredths(ounces(whole(12 * 25))), 1_058, "12 bottles");
    assert_eq!(hundredths(fluid_ounces(whole(9 * 50))), 1_522, "9 cans of 50 mL");
    assert_eq!(hundredths(fluid_ounces(whole(10 * 50))), 1_691, "10 cans");
    assert_eq!(ounces(Ratio::new(283_495, 10_000)), Some(whole(1)));
    assert_eq!(fluid_ounces(Ratio::new(295_735, 10_000)), Some(whole(1)));
}

/// NHS Lanarkshire: 1–2 cans of adhesive remover for each box of 30 begun; 70 pouches are 3 boxes begun.
#[test]
fn cans_for_boxes_begun() {
    let thirty = NonZeroU32::new(30).expect("thirty");
    assert_eq!((per_boxes_begun(70, thirty, 1), per_boxes_begun(70, thirty, 2)), (3, 6));
    assert_eq!((per_boxes_begun(60, thirty, 2), per_boxes_begun(61, thirty, 2)), (4, 6));
    assert_eq!(per_boxes_begun(0, thirty, 2), 0);
}

#[test]
fn use_reads_as_people_say_it() {
    let table = [
        ((1, 3), "1 every 3 days"),
        ((5, 2), "2.5 a day"),
        ((3, 1), "3 a day"),
        ((1, 1), "1 a day"),
        ((7, 7), "1 a day"),
        ((4, 7), "4 every 7 days"),
        ((7, 3), "7 every 3 days"),
        ((9, 8), "9 every 8 days"),
        ((5, 4), "1.25 a day"),
        ((201, 100), "2.01 a day"),
    ];
    for ((units, days), words) in table {
        assert_eq!(use_in_words(&uses(units, days)), words);
    }
    assert_eq!(decimal_words(Ratio::new(30, 7)), "about 4.3");
    assert_eq!(decimal_words(Ratio::new(2_275, 2)), "1137.5");
}

#[test]
fn uses_and_periods_have_bounds() {
    assert!(Use::new(0, 1).is_none() && Use::new(1, 0).is_none());
    assert!(Use::new(10_000, 3_650).is_some());
    assert!(Use::new(10_001, 1).is_none() && Use::new(1, 3_651).is_none());
    assert!(Period::new(0).is_none() && Period::new(367).is_none());
    assert_eq!(Period::new(366).map(Period::days), Some(366));
    // The largest everything does not overflow (the test build checks arithmetic).
    let most = reckon(10_000, 1, 366, u32::MAX, u32::MAX);
    assert_eq!(most[0], 0);
    assert_eq!(reckon(1, 3_650, 366, u32::MAX, u32::MAX)[4], i64::from(u32::MAX) * 3_650);
}

proptest! {
    #[test]
    fn an_order_covers_the_need_and_not_a_pack_more(
        units in 1_u32..=10_000, days in 1_u32..=3_650, period in 1_u16..=366, pack in 1_u32..=1_000,
        on_hand in 0_u32..=20_000,
    ) {
        let [needed, packs, supplied, surplus, lasts, left] = reckon(units, days, period, pack, on_hand);
        // What is used in the period, in cross-multiplied whole numbers: never more than there is.
        let used = i64::from(period) * i64::from(units);
        prop_assert!((i64::from(on_hand) + supplied) * i64::from(days) >= used);
        prop_assert!(lasts >= i64::from(period));
        prop_assert!(surplus >= 0 && surplus < i64::from(pack));
        prop_assert_eq!(supplied, packs * i64::from(pack));
        prop_assert!(needed >= 0 && left >= 0);
        // One pack less would not do.
        if packs > 0 {
            let less = i64::from(on_hand) + supplied - i64::from(pack);
            prop_assert!(less * i64::from(days) < used);
        }
    }

    #[test]
    fn more_use_time_or_less_stock_never_orders_less(
        units in 1_u32..=500, days in 1_u32..=60, period in 1_u16..=365, pack in 1_u32..=100, on_hand in 0_u32..=500,
    ) {
        let ordered = |units, days, period, on_hand| reckon(units, days, period, pack, on_hand)[2];
        let base = ordered(units, days, period, on_hand);
        prop_assert!(ordered(units + 1, days, period, on_hand) >= base);
        prop_assert!(ordered(units, days, period + 1, on_hand) >= base);
        prop_assert!(ordered(units, days + 1, period, on_hand) <= base);
        prop_assert!(ordered(units, days, period, on_hand + 1) <= base);
    }

    #[test]
    fn the_same_rate_in_other_numbers_is_the_same_order(
        units in 1_u32..=100, days in 1_u32..=100, times in 1_u32..=30, period in 1_u16..=366, pack in 1_u32..=100,
    ) {
        prop_assert_eq!(reckon(units, days, period, pack, 3), reckon(units * times, days * times, period, pack, 3));
    }
}
