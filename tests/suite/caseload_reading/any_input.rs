//! What holds for any input: nothing is lost, nothing depends on the order of rows, nothing takes too long.

use std::time::{Duration, Instant};

use proptest::prelude::*;
use roundel::exchange::caseload::read;
use roundel::patients::identifiers::check_digit;

use super::{LOST_QUOTE, MONTH_FIRST, SEMICOLON, UTF16, WINDOWS1252, WRONG_ROWS, assert_accounted, reading, today};

/// A sheet of `count` rows about invented people with valid numbers of the test range, every fifth with a second stoma;
/// and how many people.
fn big_sheet(count: usize) -> (String, usize) {
    let mut lines = Vec::new();
    let mut people = 0;
    for stem in 999_000_001_u32.. {
        if lines.len() >= count {
            break;
        }
        let Some(check) = check_digit(&stem.to_string()) else { continue };
        let family: String = format!("{people:05}").bytes().map(|digit| char::from(digit - b'0' + b'a')).collect();
        let (day, month, year) = (people % 28 + 1, people % 12 + 1, 1930 + people % 60);
        let size = 20 + people % 30;
        let line = |stoma: &str, on: usize| {
            format!(
                "Fold{family},Ola,{day:02}/{month:02}/{year},{stem} {check},{stoma},{on}/3/2021,{size},01632 960017,\"4 Larch Row, Borrowdean\",\"said \"\"sore\"\"\""
            )
        };
        lines.push(line("end colostomy", 1));
        if people % 5 == 0 {
            lines.push(line("urostomy", 2));
        }
        people += 1;
    }
    lines.truncate(count);
    let head = "Surname,Forename,DOB,NHS No,Stoma,Date of op,Size (mm),Telephone,Address,Notes";
    (format!("{head}\r\n{}\r\n", lines.join("\r\n")), people)
}

#[test]
fn twenty_thousand_rows_are_read_without_comparing_all_pairs() {
    let (sheet, people) = big_sheet(20_000);
    let started = Instant::now();
    let reading = reading(sheet.as_bytes());
    let took = started.elapsed();
    assert_accounted(&reading);
    assert_eq!(reading.rows_read, 20_000);
    assert_eq!((reading.patients.len(), reading.problems.first()), (people, None));
    // Not the speed (the bench has that) but that no stage looks at every pair of rows: that would take minutes.
    assert!(took < Duration::from_mins(1), "{took:?}");
}

#[test]
fn reading_twice_gives_the_same_answer() {
    for bytes in [WINDOWS1252, SEMICOLON, UTF16, MONTH_FIRST, WRONG_ROWS, LOST_QUOTE] {
        assert_eq!(format!("{:?}", reading(bytes)), format!("{:?}", reading(bytes)));
    }
}

/// Cells as clinics have them, good and bad.
fn cell() -> impl Strategy<Value = String> {
    prop_oneof![
        4 => Just(String::new()),
        2 => prop::sample::select(vec!["?", "n/k", "colostomy", "loop ileo", "23/08/1951", "5-Mar-24", "44927", "9990000042", "F"])
            .prop_map(str::to_owned),
        1 => "[ -~]{0,12}",
        1 => "[\\PC\n\"]{0,8}",
    ]
}

fn quoted(cell: &str) -> String {
    format!("\"{}\"", cell.replace('"', "\"\""))
}

proptest! {
    #[test]
    fn any_sheet_is_accounted_for(rows in prop::collection::vec(prop::collection::vec(cell(), 6), 0..12), semicolon in any::<bool>()) {
        let delimiter = if semicolon { ";" } else { "," };
        let mut sheet = ["Surname", "Forename", "DOB", "NHS No", "Stoma", "Notes"].join(delimiter) + "\r\n";
        for row in &rows {
            sheet.push_str(&(row.iter().map(|cell| quoted(cell)).collect::<Vec<_>>().join(delimiter) + "\r\n"));
        }
        // Control characters refuse the file; there are none among these cells but line feeds.
        let reading = read(sheet.as_bytes(), None, today()).unwrap();
        assert_accounted(&reading);
        let filled = rows.iter().filter(|row| row.iter().any(|cell| !cell.trim().is_empty())).count();
        prop_assert_eq!(reading.rows_read, filled);
        // Rows count as a spreadsheet program counts them: the n-th record is row n + 1.
        for problem in &reading.problems {
            prop_assert!(problem.row >= 2 && problem.row < 2 + rows.len() as u64);
        }
    }

    #[test]
    fn the_order_of_rows_does_not_decide_who_comes_in(seed in prop::collection::vec((0_usize..4, 0_usize..3, 0_usize..4, 0_usize..3), 1..10)) {
        let row = |(name, born, number, stoma): &(usize, usize, usize, usize)| format!(
            "{},Ola,{},{},{}\n",
            ["Fold", "Fold", "Hart", "Quill"][*name],
            ["19/02/1939", "20/02/1939", ""][*born],
            ["", "9990000042", "9990000018", "9990000026"][*number],
            ["colostomy", "urostomy", "fistula"][*stoma],
        );
        let sheet = |rows: &mut dyn Iterator<Item = String>| format!("Surname,Forename,DOB,NHS No,Stoma\n{}", rows.collect::<String>());
        let people = |sheet: String| {
            let reading = read(sheet.as_bytes(), None, today()).unwrap();
            assert_accounted(&reading);
            let mut people: Vec<_> = reading.patients.iter().map(|p| (p.person.birth_date, p.person.identifiers.clone(), p.rows.len(), p.stomas.len())).collect();
            people.sort();
            people
        };
        prop_assert_eq!(people(sheet(&mut seed.iter().map(row))), people(sheet(&mut seed.iter().rev().map(row))));
    }

    #[test]
    fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let _ = read(&bytes, None, today());
        let mut sheet = b"Surname,Forename,DOB,Stoma\r\n".to_vec();
        sheet.extend(&bytes);
        if let Ok(reading) = read(&sheet, None, today()) {
            assert_accounted(&reading);
        }
    }

    #[test]
    fn rows_are_numbered_as_a_person_sees_them(blank in prop::collection::vec(0_usize..3, 1..8), end in prop::sample::select(vec!["\n", "\r\n", "\r"])) {
        let mut sheet = format!("Surname,Forename,DOB,Stoma{end}");
        let mut expected = Vec::new();
        let mut row = 1;
        for (at, blank) in blank.iter().enumerate() {
            sheet.push_str(&end.repeat(*blank));
            sheet.extend(["Fold,\"Ola\nB", &at.to_string(), "\",1/1/1950,colostomy", end]);
            row += *blank as u64 + 1;
            expected.push(row);
        }
        // The line break inside each forename is a problem of its row, and does not count as a row.
        let rows: Vec<u64> = read(sheet.as_bytes(), None, today()).unwrap().problems.iter().map(|p| p.row).collect();
        prop_assert_eq!(rows, expected);
    }
}
