//! Dates, ages, telephone numbers and postcodes against the strings of the UK common user interface standards
//! (ISB 1500, 1503, 1505, 1508, design guides 4.0.0.0), and dates as people type them.

use chrono::{Days, NaiveDate, NaiveDateTime, TimeDelta};
use proptest::prelude::*;
use roundel::dates_in::{DateProblem, read_birth_date, read_date};
use roundel::display::{age, age_at, long_date, phone, postcode, short_date, weekday_date, weeks_since, years_of_age};

fn day(y: i32, m: u32, d: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(y, m, d).unwrap()
}

fn today() -> NaiveDate {
    day(2026, 11, 25)
}

#[test]
fn dates_are_written_as_the_standard_asks() {
    // ISB 1503: the examples that it calls right.
    assert_eq!(short_date(day(2008, 1, 1)), "01-Jan-2008");
    assert_eq!(weekday_date(day(2008, 1, 1)), "Tue 01-Jan-2008");
    assert_eq!(short_date(day(2008, 2, 28)), "28-Feb-2008");
    assert_eq!(short_date(day(2008, 12, 31)), "31-Dec-2008");
    // Own.
    assert_eq!(weekday_date(day(2026, 11, 5)), "Thu 05-Nov-2026");
    assert_eq!(long_date(day(2026, 11, 5)), "5 November 2026");
}

#[test]
fn ages_are_the_banner_guides_own() {
    // ISB 1505, table of examples: time since birth and what is shown.
    let born = day(2024, 1, 1).and_hms_opt(0, 0, 0).unwrap();
    let after = |delta: TimeDelta| age_at(born, born + delta).unwrap();
    assert_eq!(after(TimeDelta::minutes(90)), "90min");
    assert_eq!(after(TimeDelta::minutes(26 * 60 + 5)), "26hrs");
    assert_eq!(after(TimeDelta::hours(3 * 24 + 17)), "3d");
    assert_eq!(after(TimeDelta::days(27)), "27d");
    assert_eq!(after(TimeDelta::days(28)), "4w");
    assert_eq!(after(TimeDelta::days(29)), "4w 1d");
    let years = |years: i32, days: u64| -> NaiveDateTime {
        (day(2024 + years, 1, 1) + Days::new(days)).and_hms_opt(0, 0, 0).unwrap()
    };
    assert_eq!(age_at(born, years(1, 1)).unwrap(), "12m 1d");
    assert_eq!(age_at(born, years(1, 8)).unwrap(), "12m 8d");
    assert_eq!(age_at(born, years(1, 39)).unwrap(), "13m 8d");
    assert_eq!(age_at(born, years(4, 39)).unwrap(), "4y 1m");
    assert_eq!(age_at(born, years(18, 0)).unwrap(), "18y");
    // The bounds: the last moment before each change of unit.
    assert_eq!(after(TimeDelta::minutes(119)), "119min");
    assert_eq!(after(TimeDelta::minutes(120)), "2hrs");
    assert_eq!(after(TimeDelta::minutes(48 * 60 - 1)), "47hrs");
    assert_eq!(after(TimeDelta::hours(48)), "2d");
    assert_eq!(age(day(2024, 1, 1), day(2024, 12, 31)).unwrap(), "52w 1d");
    assert_eq!(age(day(2024, 1, 1), day(2025, 1, 1)).unwrap(), "12m");
    assert_eq!(age(day(2024, 1, 1), day(2025, 12, 31)).unwrap(), "23m 30d");
    assert_eq!(age(day(2024, 1, 1), day(2026, 1, 1)).unwrap(), "2y");
}

#[test]
fn ages_from_dates_alone() {
    let march = day(2026, 3, 2);
    assert_eq!(age(day(1951, 8, 23), march).unwrap(), "74y");
    assert_eq!(age(day(1951, 3, 2), march).unwrap(), "75y");
    assert_eq!(age(day(1951, 3, 3), march).unwrap(), "74y");
    assert_eq!(age(day(2008, 3, 3), march).unwrap(), "17y 11m");
    assert_eq!(
        age(day(2024, 1, 31), day(2025, 3, 1)).unwrap(),
        "13m",
        "the month is full on the day after 28 February"
    );
    assert_eq!(age(march, march).unwrap(), "0d");
    assert_eq!(age(day(2026, 3, 3), march), None);
    // Who is born on 29 February comes of age on 1 March (English law; decided here and pinned).
    assert_eq!(age(day(2008, 2, 29), day(2026, 2, 28)).unwrap(), "17y 11m");
    assert_eq!(age(day(2008, 2, 29), day(2026, 3, 1)).unwrap(), "18y");
    assert_eq!(years_of_age(day(2008, 2, 29), day(2028, 2, 29)), Some(20));
}

#[test]
fn time_since_a_date_in_one_unit() {
    let since = |date| weeks_since(date, today());
    for (date, words) in [
        (day(2026, 11, 25), "today"),
        (day(2026, 11, 24), "1 day"),
        (day(2026, 11, 12), "13 days"),
        (day(2026, 11, 11), "2 weeks"),
        (day(2026, 10, 14), "6 weeks"),
        (day(2026, 5, 28), "25 weeks"),
        (day(2026, 5, 25), "6 months"),
        (day(2024, 11, 26), "23 months"),
        (day(2024, 11, 25), "2 years"),
        (day(2014, 6, 1), "12 years"),
        (day(2026, 11, 26), "in 1 day"),
        (day(2026, 12, 16), "in 3 weeks"),
    ] {
        assert_eq!(since(date), words, "{date}");
    }
}

#[test]
fn telephone_numbers_are_the_guides_own() {
    // ISB 1508: right forms; and the same numbers as they are received.
    for (received, shown) in [
        ("029 2018 0928", "029 2018 0928"),
        ("(029) 2018 0928", "029 2018 0928"),
        ("+44 29 2018 0928", "029 2018 0928"),
        ("+442920180928", "029 2018 0928"),
        ("00442920180928", "029 2018 0928"),
        ("01514960947", "0151 496 0947"),
        ("01632960326", "01632 960326"),
        ("02079460472x1234", "020 7946 0472 x1234"),
        ("020 7946 0472 ext. 1234", "020 7946 0472 x1234"),
        ("+1 555 323 1020", "+1 555 323 1020"),
        // +440 is no number: shown as received. The bracketed 0 says itself that it is left out.
        ("+4402920180928", "+4402920180928"),
        ("+44 (0)29 2018 0928", "029 2018 0928"),
        // Own: numbers kept for drama (Ofcom), and what is no UK number.
        ("07700900123", "07700 900123"),
        ("08081570192", "0808 157 0192"),
        ("0113 496 0123", "0113 496 0123"),
        ("0800123456", "0800 123456"),
        ("960326", "960326"),
        ("daughter  01632 960326", "daughter 01632 960326"),
        ("01632 960326 / 07700 900123", "01632 960326 / 07700 900123"),
        ("", ""),
    ] {
        assert_eq!(phone(received), shown, "{received}");
    }
}

#[test]
fn postcodes_have_capitals_and_one_blank() {
    // ISB 1500. ZZ99 is the pseudo-postcode area of the NHS Postcode Directory.
    for (received, shown) in [
        ("zz99 9zz", "ZZ99 9ZZ"),
        ("ZZ999ZZ", "ZZ99 9ZZ"),
        (" m1  1aa ", "M1 1AA"),
        ("ec1a1bb", "EC1A 1BB"),
        ("D02 AF30", "D02 AF30"),
        ("n/k", "n/k"),
        ("", ""),
    ] {
        assert_eq!(postcode(received), shown);
    }
}

#[test]
fn typed_dates_are_read_day_first() {
    let november = day(2026, 11, 5);
    for typed in [
        "5 Nov 2026",
        "05-Nov-2026",
        "5/11/2026",
        "05/11/2026",
        "5.11.2026",
        "2026-11-05",
        "5th November 2026",
        "5nov2026",
        "Nov 5, 2026",
        "Thu 05-Nov-2026",
        "thursday 5 november 2026",
        " 5  nov  26 ",
        "5 / 11 / 2026",
    ] {
        assert_eq!(read_date(typed, today()), Ok(november), "{typed}");
    }
    for (typed, date) in [
        ("today", today()),
        ("Yesterday", day(2026, 11, 24)),
        ("tomorrow", day(2026, 11, 26)),
        ("+6w", day(2027, 1, 6)),
        ("-2d", day(2026, 11, 23)),
        ("+3m", day(2027, 2, 25)),
        ("+ 1 y", day(2027, 11, 25)),
    ] {
        assert_eq!(read_date(typed, today()), Ok(date), "{typed}");
    }
    assert_eq!(read_date("+3m", day(2026, 11, 30)), Ok(day(2027, 2, 28)), "months clamp to the month's end");
}

#[test]
fn typed_dates_that_are_not_certain_are_refused_with_what_to_type() {
    let message = |typed: &str| read_date(typed, today()).unwrap_err().to_string();
    assert_eq!(message(""), "Enter the date as 15 Nov 2026");
    assert_eq!(read_date("n/k", today()), Err(DateProblem::Unknown));
    assert_eq!(message("5 Nov"), "“5 Nov” has no year. Enter the date with its year, as 15 Nov 2026");
    assert_eq!(message("Mar 2019"), "“Mar 2019” is no full date. Enter day, month and year, as 15 Nov 2026");
    assert!(matches!(read_date("2019", today()), Err(DateProblem::NoDay(_))));
    assert_eq!(
        message("11/15/2026"),
        "There is no month 15. The day comes first: if 15-Nov-2026 is meant, enter it as 15 Nov 2026"
    );
    assert_eq!(message("31/2/2026"), "There is no 31/2/2026. Enter the date as 15 Nov 2026");
    assert!(matches!(read_date("29/2/26", today()), Err(DateProblem::UnclearYear(26) | DateProblem::NoSuchDay { .. })));
    assert_eq!(
        message("Fri 5 Nov 2026"),
        "05-Nov-2026 is not the weekday that was typed: Thu 05-Nov-2026. Check the date"
    );
    assert!(message("5/11/2062").starts_with("05-Nov-2062 cannot be right here"));
    assert!(message("5/11/2206").starts_with("05-Nov-2206 cannot be right here"));
    assert_eq!(message("5/11/40"), "The year 40 is not clear. Enter the year with four digits, as 15 Nov 2026");
    for typed in [
        "tomorow",
        "5/11/2026/3",
        "5//11/2026",
        "5?11?2026",
        "05112026",
        "+6",
        "+w",
        "6w",
        "5/Smarch/2026",
        "-",
        "/5/11/2026",
    ] {
        assert!(matches!(read_date(typed, today()), Err(DateProblem::NotADate(_))), "{typed}");
    }
}

#[test]
fn a_date_with_two_readings_is_refused_with_both_and_never_more() {
    for typed in ["05/11/26", "5-11-26", "5.11.26", " 5 11 26 "] {
        let problem = read_date(typed, today()).unwrap_err();
        assert_eq!(problem.readings(), [day(2026, 11, 5), day(2026, 5, 11)], "{typed}");
    }
    assert_eq!(
        read_date("05/11/26", today()).unwrap_err().to_string(),
        "“05/11/26” has two readings: Thu 05-Nov-2026 or Mon 11-May-2026. Choose one, or enter the month as a word"
    );
    // One reading only: the same either way, no such month, a month in words, a year in four figures.
    for (typed, date) in [
        ("11/11/26", day(2026, 11, 11)),
        ("25/11/26", day(2026, 11, 25)),
        ("5 Nov 26", day(2026, 11, 5)),
        ("05/11/2026", day(2026, 11, 5)),
    ] {
        assert_eq!(read_date(typed, today()), Ok(date), "{typed}");
    }
    assert_eq!(read_date("11/15/2026", today()).unwrap_err().readings(), [day(2026, 11, 15)]);
    assert_eq!(read_birth_date("23/8/24", today()).unwrap_err().readings(), [day(1924, 8, 23), day(2024, 8, 23)]);
    assert!(read_date("31/2/2026", today()).unwrap_err().readings().is_empty());
}

#[test]
fn two_digit_birth_years_need_one_reading() {
    assert_eq!(read_birth_date("23/8/51", today()), Ok(day(1951, 8, 23)));
    assert_eq!(
        read_birth_date("23/8/24", today()).unwrap_err().to_string(),
        "The year 24 has two readings. Enter 23 Aug 1924 or 23 Aug 2024"
    );
    assert_eq!(read_birth_date("24/12/26", today()), Ok(day(1926, 12, 24)), "24-Dec-2026 is yet to come");
    assert!(matches!(read_birth_date("26/11/2026", today()), Err(DateProblem::OutOfBounds { .. })));
    assert!(matches!(read_birth_date("1/1/1890", today()), Err(DateProblem::OutOfBounds { .. })));
}

proptest! {
    /// Whatever is shown can be typed back.
    #[test]
    fn shown_dates_are_read_again(offset in -30_000_i64..3_000) {
        let date = today() + TimeDelta::days(offset);
        for typed in [short_date(date), weekday_date(date), long_date(date), date.to_string(), date.format("%-d/%-m/%Y").to_string()] {
            prop_assert_eq!(read_date(&typed, today()), Ok(date), "{}", typed);
        }
    }

    #[test]
    fn anything_typed_is_a_date_or_a_problem(typed in ".{0,30}") {
        if let Ok(date) = read_date(&typed, today()) {
            prop_assert!(date > day(1904, 1, 1) && date < day(2037, 1, 1));
        }
        let _ = (phone(&typed), postcode(&typed));
    }

    #[test]
    fn things_like_dates_never_panic(typed in "[+-]?[0-9]{1,5}[ /.-]?([0-9]{1,2}|jan|feb|mar|sept)?[ /.-]?[0-9]{0,5}[dwmy]?") {
        let _ = (read_date(&typed, today()), read_birth_date(&typed, today()));
    }

    #[test]
    fn ages_never_run_backwards(born in 0_i64..36_500, lived in 0_i64..36_500) {
        let born = day(1920, 1, 1) + TimeDelta::days(born);
        let on = born + TimeDelta::days(lived);
        prop_assert!(age(born, on).is_some());
        let (now, next) = (years_of_age(born, on).unwrap(), years_of_age(born, on + TimeDelta::days(1)).unwrap());
        prop_assert!(next == now || next == now + 1);
    }
}
