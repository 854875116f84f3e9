//! Reading clinics' spreadsheets: nasty samples, every kind of refusal, and properties that hold for any input.
//! All people are invented; NHS numbers are from the test range 999 000 0000 to 999 999 9999.

mod any_input;
mod files;
mod values;

use std::collections::BTreeSet;

use chrono::NaiveDate;
use roundel::exchange::caseload::decode::Encoding;
use roundel::exchange::caseload::{Allergies, EndWord, Ended, FileProblem, Gender, ImportedPatient, Reading, read};
use roundel::follow_up::rules::{Construction, Permanence, StomaKind, SurgeryType};

const WINDOWS1252: &[u8] = include_bytes!("data/clinic_windows1252.csv");
const SEMICOLON: &[u8] = include_bytes!("data/clinic_semicolon_mark.csv");
const UTF16: &[u8] = include_bytes!("data/clinic_utf16_tab.csv");
const MONTH_FIRST: &[u8] = include_bytes!("data/clinic_month_first.csv");
const WRONG_ROWS: &[u8] = include_bytes!("data/clinic_wrong_rows.csv");
const LOST_QUOTE: &[u8] = include_bytes!("data/clinic_lost_quote.csv");

fn day(y: i32, m: u32, d: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(y, m, d).unwrap()
}

fn today() -> NaiveDate {
    day(2026, 11, 25)
}

fn reading(bytes: &[u8]) -> Reading {
    read(bytes, None, today()).unwrap()
}

fn refused(bytes: &[u8]) -> FileProblem {
    read(bytes, None, today()).unwrap_err()
}

/// Every row that was read is in one patient or among the problems, and in no two places.
fn assert_accounted(reading: &Reading) {
    let mut rows: Vec<u64> = reading.patients.iter().flat_map(|patient| patient.rows.clone()).collect();
    let mut with_problems: Vec<u64> = reading.problems.iter().map(|problem| problem.row).collect();
    with_problems.dedup();
    rows.extend(with_problems);
    let distinct: BTreeSet<u64> = rows.iter().copied().collect();
    assert_eq!(rows.len(), distinct.len(), "a row is accounted for twice: {rows:?}");
    assert_eq!(rows.len(), reading.rows_read);
    assert_eq!(reading.rows_accepted() + reading.rows_refused(), reading.rows_read);
}

fn patient(reading: &Reading, row: u64) -> &ImportedPatient {
    reading
        .patients
        .iter()
        .find(|patient| patient.rows.contains(&row))
        .unwrap_or_else(|| panic!("no patient of row {row}"))
}

#[test]
fn a_sheet_in_windows_1252_with_a_title_and_odd_dates() {
    let reading = reading(WINDOWS1252);
    assert_accounted(&reading);
    assert_eq!((reading.encoding, reading.delimiter), (Encoding::Windows1252, ','));
    assert_eq!((reading.rows_read, reading.rows_accepted()), (10, 7));

    let marion = patient(&reading, 5);
    assert_eq!((marion.person.family_name.as_str(), marion.person.birth_date), ("Thistlewood", Some(day(1951, 8, 23))));
    assert_eq!(marion.person.identifiers[0].value(), "9990000042");
    assert_eq!(marion.person.gender, Some(Gender::Female));
    assert_eq!(marion.person.next_review, Some(day(2026, 12, 14)));
    assert_eq!(marion.person.notes.as_deref(), Some("lives alone, rings back"));
    let stoma = &marion.stomas[0];
    assert_eq!((stoma.kind, stoma.construction), (StomaKind::Colostomy, Some(Construction::End)));
    assert_eq!((stoma.permanence, stoma.surgery), (Some(Permanence::Permanent), Some(SurgeryType::Planned)));
    assert_eq!((stoma.surgery_on, stoma.width_mm), (Some(day(2026, 1, 12)), Some(32)));

    let piers = patient(&reading, 6);
    assert_eq!((piers.person.family_name.as_str(), piers.person.birth_date), ("Quillfeather", Some(day(1948, 3, 5))));
    assert_eq!((piers.stomas[0].surgery_on, piers.person.next_review), (Some(day(2026, 2, 3)), None));
    assert_eq!((piers.stomas[0].width_mm, piers.stomas[0].height_mm), (Some(28), Some(30)));

    // Two stomas in two rows; the serial number 44927 is 1 January 2023.
    let agnes = patient(&reading, 11);
    assert_eq!((agnes.rows.as_slice(), agnes.stomas.len()), ([11, 12].as_slice(), 2));
    assert_eq!(agnes.stomas[0].surgery_on, Some(day(2023, 1, 1)));
    assert_eq!((agnes.stomas[0].width_mm, agnes.stomas[1].kind), (Some(31), StomaKind::Urostomy));
    assert_eq!(agnes.person.phone.as_deref(), Some("01632 960199"), "filled from the second row");

    // The same patient and stoma twice, once in capitals and without the accent.
    let edith = patient(&reading, 13);
    assert_eq!((edith.rows.as_slice(), edith.stomas.len()), ([13, 14].as_slice(), 1));
    assert_eq!(
        (edith.person.given_name.as_deref(), edith.stomas[0].surgery),
        (Some("Édith"), Some(SurgeryType::Emergency))
    );
    assert!(reading.notes.iter().any(|note| note.row == Some(14) && note.text.contains("brought in once")));

    // "Na" is a name here, and no "not applicable".
    assert_eq!(patient(&reading, 15).person.family_name, "Na");

    // The second row of Tobias names what is not known here: neither of his rows is brought in.
    let rows: Vec<u64> = reading.problems.iter().map(|problem| problem.row).collect();
    assert_eq!(rows, [7, 8, 9]);
    assert_eq!(reading.problems[0].column, "Next review");
    assert!(reading.problems[1].why.starts_with("Row 9 of the same patient"), "{:?}", reading.problems[1]);
    assert!(reading.notes.iter().any(|note| note.text.contains("rows 1 and 2")), "the title is left out and said so");
}

#[test]
fn a_sheet_with_semicolons_whole_names_and_statuses() {
    let reading = reading(SEMICOLON);
    assert_accounted(&reading);
    assert_eq!((reading.encoding, reading.delimiter), (Encoding::Utf8Marked, ';'));
    let left: Vec<&str> = reading.not_brought_in.iter().map(|left| left.header.as_str()).collect();
    assert_eq!(left, ["Ward"]);
    let name = |row| {
        let person = &patient(&reading, row).person;
        (person.family_name.clone(), person.given_name.clone().unwrap(), person.title.clone())
    };
    assert_eq!(name(2), ("THISTLEWOOD".into(), "Marion".into(), Some("Mrs".into())));
    assert_eq!(name(3), ("Łukaszewicz".into(), "Bronisław".into(), Some("Mr".into())));
    assert_eq!(name(4), ("van der Marsh".into(), "Saskia".into(), None));
    assert_eq!(name(5), ("QUILLFEATHER".into(), "Piers".into(), None));
    assert_eq!(name(6), ("Pennyfold".into(), "Agnes".into(), Some("Mrs".into())));
    let stoma = |row| patient(&reading, row).stomas[0].clone();
    assert_eq!(stoma(2).place.as_deref(), Some("left iliac fossa"));
    assert_eq!((stoma(3).reversal_planned_on, stoma(3).reversed_on), (Some(day(2027, 3, 15)), None));
    assert_eq!((stoma(4).reversal_planned_on, stoma(4).reversed_on), (None, Some(day(2025, 11, 3))));
    assert_eq!(stoma(6).construction, Some(Construction::DoubleBarrel));
    let ended = |row| patient(&reading, row).person.ended;
    assert_eq!(ended(2), None);
    assert_eq!(ended(5), Some(Ended { reason: EndWord::Died, on: Some(day(2026, 10, 14)) }));
    assert_eq!(ended(6), Some(Ended { reason: EndWord::MovedAway, on: None }));
    assert!(reading.notes.iter().any(|note| note.row == Some(6) && note.text.contains("no date for it")));
    assert_eq!(
        (reading.problems.len(), reading.problems[0].row),
        (1, 7),
        "three names in a row: which is the family's?"
    );
}

#[test]
fn a_sheet_in_utf_16_with_other_numbers_and_an_address_in_parts() {
    let reading = reading(UTF16);
    assert_accounted(&reading);
    assert_eq!((reading.encoding, reading.delimiter), (Encoding::Utf16Le, '\t'));
    let zoe = &patient(&reading, 2).person;
    let numbers: Vec<(&str, &str)> = zoe.identifiers.iter().map(|id| (id.scheme().code(), id.value())).collect();
    assert_eq!(numbers, [("chi", "2308510021"), ("local", "ST-000017")]);
    assert_eq!(
        (zoe.address.as_deref(), zoe.allergies.clone()),
        (Some("4 Larch Row, Borrowdean"), Allergies::NoneKnown)
    );
    let seamus = &patient(&reading, 3).person;
    assert_eq!(seamus.address.as_deref(), Some("9 Quay Lane, The Steps, Harbourside"), "a line break inside a cell");
    assert_eq!((seamus.email.as_deref(), seamus.phone.as_deref()), (None, None));
    assert_eq!(seamus.allergies, Allergies::Known("acrylate adhesive".into()));
    let ola = &patient(&reading, 4).person;
    assert_eq!(ola.email.as_deref(), Some("ola at example"), "contact details never refuse a row");
    assert_eq!(reading.problems.len(), 1);
    assert_eq!(
        (reading.problems[0].row, reading.problems[0].column.as_str()),
        (5, "DOB"),
        "rows count as a person sees them"
    );
}

#[test]
fn dates_with_the_month_first_are_not_guessed() {
    let reading = reading(MONTH_FIRST);
    assert_accounted(&reading);
    // 07/07/1962 and 30-Jun-1957 have one reading; 03/05/1948 has two, and the column has shown that it is not day first.
    let rows: Vec<u64> = reading.patients.iter().map(|patient| patient.row).collect();
    assert_eq!(rows, [4, 6]);
    assert!(reading.problems[0].why.contains("if 23-Aug-1951 is meant, enter it as 23 Aug 1951"));
    assert!(reading.problems[1].why.contains("row 2: 08/23/1951"), "{:?}", reading.problems[1]);
    assert!(reading.notes[0].text.contains("month first"));
    // One slip among many day-first dates does not put the others in doubt.
    let mut sheet = String::from("Surname,Forename,DOB,Stoma\n");
    for month in 1..=12 {
        let born = if month < 12 { 13 } else { 5 };
        sheet.extend(["Fold", &month.to_string(), ",Agnes,", &format!("{born}/{month}/1950"), ",colostomy\n"]);
    }
    sheet.push_str("Slip,Agnes,03/25/1950,colostomy\n");
    let rows: Vec<u64> = read(sheet.as_bytes(), None, today()).unwrap().problems.iter().map(|p| p.row).collect();
    assert_eq!(rows, [14], "only the slip");
}

#[test]
fn every_kind_of_wrong_row_is_reported_with_column_and_reason() {
    let reading = reading(WRONG_ROWS);
    assert_accounted(&reading);
    let expected = [
        (2, "NHS No", "last digit does not fit"),
        (3, "NHS No", "has 9 digits"),
        (4, "NHS No", "set the column to text"),
        (5, "DOB", "There is no 31/2/1951"),
        (6, "DOB", "Enter 5 Mar 1924 or 5 Mar 2024"),
        (7, "Surname", "family name is missing"),
        (8, "Forename", "forename is missing"),
        (9, "DOB", "neither a birth date nor a patient number"),
        (10, "Stoma", "“hartmanns” is not known here"),
        (11, "Stoma", "kind of stoma is missing"),
        (12, "Stoma", "question mark leaves it open"),
        (13, "Stoma", "a row of its own"),
        (14, "End or loop", "contradicts the kind of stoma"),
        (15, "Surgery date", "more than a year ahead"),
        (16, "Surgery date", "before the birth date"),
        (17, "Discharge date", "before the surgery"),
        (18, "Last seen", "in the future"),
        (19, "Surgery date", "no full date"),
        (20, "Next review", "not understood as a date"),
        (21, "Status", "write active, reversed, died, moved or declined"),
        (22, "Status date", "in the future"),
        (23, "Status", "date of the reversal is missing"),
        (24, "Reversal date", "has passed"),
        (25, "Size", "whole mm, from 5 to 150"),
        (26, "Size", "whole mm, from 5 to 150"),
        (27, "Protrusion", "or flush"),
        (28, "Gender", "Other specific"),
        (29, "Surname", "letters of this name were lost"),
        (30, "column R", "more cells than the sheet has headings"),
        (31, "", "different birth dates"),
        (32, "", "different birth dates"),
        (33, "", "different NHS numbers"),
        (34, "", "different NHS numbers"),
        (35, "", "different width"),
        (36, "", "different width"),
        (37, "", "different statuses"),
        (38, "", "different statuses"),
        (39, "", "Row 40 of the same patient cannot be brought in"),
        (40, "Stoma", "“jejunostomy” is not known here"),
    ];
    for ((row, column, why), problem) in expected.iter().zip(&reading.problems) {
        assert_eq!((problem.row, problem.column.as_str()), (*row, *column), "{problem:?}");
        assert!(problem.why.to_lowercase().contains(&why.to_lowercase()), "{problem:?} should say {why}");
    }
    assert_eq!(reading.problems.len(), expected.len());
    assert_eq!(reading.problems[0].read, "9990000043", "what was read stands beside the reason");
    // The last two rows hold: free text never refuses a row, and a lookalike is a remark.
    assert_eq!(patient(&reading, 41).person.phone.as_deref(), Some("not a number"));
    let note = reading.notes.iter().find(|note| note.row == Some(42)).unwrap();
    assert!(note.text.starts_with("May be the same person as in row 41"), "{}", note.text);
}

#[test]
fn all_problems_of_a_row_are_reported_together() {
    let sheet = "Surname,Forename,DOB,NHS No,Stoma,Size\n,,31/02/1951,12,?,big\n";
    let reading = reading(sheet.as_bytes());
    let columns: Vec<&str> = reading.problems.iter().map(|problem| problem.column.as_str()).collect();
    assert_eq!(columns, ["Surname", "Forename", "DOB", "NHS No", "Stoma", "Size"]);
}

#[test]
fn a_lost_quotation_mark_is_noticed() {
    let reading = reading(LOST_QUOTE);
    assert_eq!((reading.problems[0].row, reading.problems[0].column.as_str()), (2, "Notes"));
    assert!(reading.problems[0].why.contains("2 further lines that look like rows"), "{:?}", reading.problems);
    let open =
        "Surname,Forename,DOB,Stoma,Notes\nFold,Agnes,19/02/1939,colostomy,\nFold,Ivor,19/02/1940,colostomy,\"well\n";
    assert_eq!(refused(open.as_bytes()), FileProblem::OpenQuote { row: 3 });
}

#[test]
fn one_person_in_several_rows() {
    let head = "Surname,Forename,DOB,NHS No,Hospital No,Stoma,Date of op,Allergies,Next review,Notes\n";
    let of = |rows: &str| reading(format!("{head}{rows}").as_bytes());
    // Joined through a third row: the first two share nothing, the last shares a number with each.
    let joined = of("Fold,Agnes,19/02/1939,,A1,colostomy,1/2/2020,,1/3/2027,one\n\
                     Fold,Agnes,,,B2,urostomy,1/2/2021,,1/2/2027,two\n\
                     Fold,Agnes,19/02/1939,9990000042,B2,ileostomy,1/2/2022,acrylate,,three\n");
    assert_accounted(&joined);
    assert_eq!((joined.patients.len(), joined.patients[0].stomas.len()), (1, 3), "{:?}", joined.problems);
    let person = &joined.patients[0].person;
    assert_eq!(person.identifiers.len(), 3);
    assert_eq!(person.next_review, Some(day(2027, 2, 1)), "the earlier one is the safer one");
    assert_eq!(person.notes.as_deref(), Some("one; two; three"));
    // The order of the rows makes no difference to who is brought in.
    assert_eq!(
        of("Fold,Agnes,,,B2,urostomy,1/2/2021,,,\nFold,Agnes,19/02/1939,,B2,colostomy,1/2/2020,,,\n").patients.len(),
        1
    );
    // A married name is believed with number and birth date, and not with the number alone.
    assert_eq!(
        of("Fold,Agnes,19/02/1939,9990000042,,colostomy,,,,\nHart,Agnes,19/02/1939,9990000042,,colostomy,,,,\n")
            .patients
            .len(),
        1
    );
    let other = of("Fold,Agnes,,9990000042,,colostomy,,,,\nHart,Agnes,,9990000042,,colostomy,,,,\n");
    assert!(
        other.problems.iter().all(|p| p.why.contains("different names")) && other.problems.len() == 2,
        "{:?}",
        other.problems
    );
    // "No allergies" and an allergy cannot both be true.
    let allergy =
        of("Fold,Agnes,19/02/1939,,,colostomy,1/2/2020,NKDA,,\nFold,Agnes,19/02/1939,,,urostomy,,acrylate,,\n");
    assert_eq!((allergy.patients.len(), allergy.problems.len()), (0, 2));
    // Active in one row and ended in another, in either order; a row that does not say agrees with both.
    let ended = |one: &str, two: &str| {
        let sheet = format!(
            "Name,DOB,Stoma,Status,Status date\nFold Ag,19/02/1939,colostomy,{one}\nFold Ag,19/02/1939,urostomy,{two}\n"
        );
        reading(sheet.as_bytes()).patients.first().map(|patient| patient.person.ended.is_some())
    };
    assert_eq!((ended("active,", "moved,1/2/2026"), ended("moved,1/2/2026", "active,")), (None, None));
    assert_eq!((ended(",", "moved,1/2/2026"), ended("moved,", "moved,1/2/2026")), (Some(true), Some(true)));
    assert_eq!((ended("died,1/2/2026", "moved,1/2/2026"), ended("active,", ",")), (None, Some(false)));
    // Dates of two rows that hold alone and not together.
    let dates = of("Fold,Agnes,19/02/1939,9990000042,,colostomy,,,,\nFold,Agnes,,9990000042,,urostomy,1/2/1938,,,\n");
    assert!(
        dates.problems[0].why.contains("contradict each other: it lies before the birth date"),
        "{:?}",
        dates.problems
    );
    // A column of one and the same number is no column of patient numbers.
    let rows: Vec<String> = (1..60).map(|n| format!("Fold{n},Agnes,,,7,colostomy,,,,\n")).collect();
    let same = of(&rows.concat());
    assert_eq!((same.patients.len(), same.rows_refused()), (0, 59));
    // Two operations, one kind: two stomas. A third row without a date could be either.
    let rows = "Fold,Agnes,19/02/1939,,,colostomy,1/2/2020,,,\nFold,Agnes,19/02/1939,,,colostomy,1/2/2024,,,\n";
    assert_eq!(of(rows).patients[0].stomas.len(), 2);
    let unclear = of(&format!("{rows}Fold,Agnes,19/02/1939,,,colostomy,,,,\n"));
    assert!(unclear.patients.is_empty() && unclear.problems[0].why.contains("not certain which stoma row 4 means"));
}

#[test]
fn dates_that_cannot_be_true_together() {
    let head = "Surname,Forename,DOB,Stoma,Date of surgery,Discharge date,Reversal date,Last seen,Next review,Status,Status date,Date of death\n";
    let columns = |row: &str| -> Vec<String> {
        let sheet = format!("{head}Fold,Agnes,19/02/1939,colostomy,{row}\n");
        reading(sheet.as_bytes()).problems.into_iter().map(|problem| problem.column).collect()
    };
    for (row, expected) in [
        ("12/01/2026,19/01/2026,01/03/2027,20/11/2026,14/12/2026,active,,", &[][..]),
        ("12/01/2026,19/01/2026,,,,died,14/10/2026,", &[]),
        ("12/01/2026,19/01/2026,,,,,,14/10/2026", &[]),
        (",,03/11/2025,,,reversed,,", &[]),
        ("01/02/2027,,,,,,,", &[]),
        ("01/12/2027,,,,,,,", &["Date of surgery"]),
        (",01/12/2027,,,,,,", &["Discharge date"]),
        (",18/02/1939,,,,,,", &["Discharge date"]),
        ("01/03/2027,,01/02/2027,,,,,", &["Reversal date"]),
        ("12/01/2026,,01/12/2025,,,reversed,,", &["Reversal date"]),
        ("12/01/2026,,,,,reversed,01/12/2025,", &["Status date"]),
        (",,,,,reversed,01/12/2026,", &["Status date"]),
        (",,18/02/1939,,,reversed,,", &["Reversal date"]),
        (",,,18/02/1939,,,,", &["Last seen"]),
        (",,,,18/02/1939,,,", &["Next review"]),
        (",,,20/11/2026,,died,14/10/2026,", &["Status date"]),
        (",,,20/11/2026,,,,14/10/2026", &["Date of death"]),
        (",,,,,moved,18/02/1939,", &["Status date"]),
        ("12/01/2026,,,,,died,11/01/2026,", &["Status date"]),
        // Seen again after a move, and operated elsewhere: odd, and possible.
        ("12/01/2026,,,20/11/2026,,moved,01/01/2026,", &[]),
        (",,,,,moved,,14/10/2026", &["Date of death"]),
    ] {
        assert_eq!(columns(row), expected, "{row}");
    }
}

#[test]
fn remarks_about_what_is_odd_and_possible() {
    let head = "Surname,Forename,DOB,CHI,NHS No,Stoma\n";
    let remarks = |rows: &str| -> Vec<(u64, String)> {
        let reading = reading(format!("{head}{rows}").as_bytes());
        assert_eq!(reading.problems, []);
        reading.notes.into_iter().filter_map(|note| note.row.map(|row| (row, note.text))).collect()
    };
    assert_eq!(remarks("Fold,Agnes,23/08/1951,2308510021,,colostomy\n"), []);
    let other_date = remarks("Fold,Agnes,24/08/1951,2308510021,,colostomy\n");
    assert!(other_date[0].1.contains("another date than the birth date"), "{other_date:?}");
    // 3200000015 is an H&C number that passes as an NHS number.
    let range = remarks("Fold,Agnes,23/08/1951,,3200000015,colostomy\n");
    assert!(range[0].1.contains("H&C numbers"), "{range:?}");
    // Lookalikes: swapped day and month; no birth date in one of them; and no remark about namesakes.
    let swapped =
        remarks("Fold,Agnes,05/08/1951,,9990000042,colostomy\nFolde,Agnes,08/05/1951,,9990000018,colostomy\n");
    assert!(swapped.len() == 1 && swapped[0].0 == 3 && swapped[0].1.contains("other way round"), "{swapped:?}");
    let unknown = remarks("Fold,Agnes,05/08/1951,,9990000042,colostomy\nFold,Agnes,,,9990000018,colostomy\n");
    assert!(unknown.len() == 1 && unknown[0].1.contains("not known"), "{unknown:?}");
    assert_eq!(
        remarks("Fold,Agnes,05/08/1951,,9990000042,colostomy\nFold,Agnes,17/02/1963,,9990000018,colostomy\n"),
        []
    );
}
