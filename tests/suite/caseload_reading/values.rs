//! One cell: dates, serial numbers, words for a stoma, whole names.

use roundel::exchange::caseload::full_names::full_name;
use roundel::exchange::caseload::stoma_words;
use roundel::exchange::caseload::values::{self, DateUse};
use roundel::follow_up::rules::{Construction, Permanence, StomaKind};

use super::{day, today};

#[test]
fn dates_of_spreadsheets() {
    let clinical = |cell| values::date(cell, DateUse::Clinical, today()).map(|read| read.date);
    for cell in [
        "05/03/2024",
        "5/3/24",
        "5-Mar-24",
        "5 March 2024",
        "2024-03-05",
        "2024-03-05T00:00:00",
        "2024-03-05 09:30",
        "05/03/2024 00:00",
        "45356",
        "45356.5",
        "05.03.2024",
        "Tue 05-Mar-2024",
        "March 5, 2024",
        "'05/03/2024",
        "=\"05/03/2024\"",
    ] {
        assert_eq!(clinical(cell), Ok(day(2024, 3, 5)), "{cell}");
    }
    for cell in ["2024", "03/2024", "99999", "today", "+6w", "5/3", "050324", "31/04/2024", "5/3/2064", "12", "5/3/24?"]
    {
        assert!(clinical(cell).is_err(), "{cell}");
    }
    let birth = |cell| values::date(cell, DateUse::Birth, today()).map(|read| read.date);
    assert_eq!(birth("18863"), Ok(day(1951, 8, 23)));
    assert_eq!(birth("23/8/51"), Ok(day(1951, 8, 23)));
    assert!(birth("23/8/24").unwrap_err().contains("23 Aug 1924 or 23 Aug 2024"));
    assert!(birth("46400").is_err(), "a day in 2027");
}

#[test]
fn serial_numbers_follow_the_1900_date_system() {
    // Spreadsheet programs' documentation: 1 is 1 January 1900; 60 is the leap day that 1900 did not have; 25569 is the
    // first day of Unix time; 45292 is 1 January 2024 (checked with Python: date(1899, 12, 30) + n days for n > 60).
    for (number, date) in [
        (1, Some(day(1900, 1, 1))),
        (59, Some(day(1900, 2, 28))),
        (60, None),
        (61, Some(day(1900, 3, 1))),
        (25_569, Some(day(1970, 1, 1))),
        (36_526, Some(day(2000, 1, 1))),
        (45_292, Some(day(2024, 1, 1))),
        (0, None),
    ] {
        assert_eq!(values::excel_serial(number), date, "{number}");
    }
}

#[test]
fn words_for_not_known() {
    for cell in ["", " ", "?", "??", "-", "n/k", "N.K.", "Not known", "unknown", "n/a", "TBC", "nil", "\u{a0}"] {
        assert!(values::is_unknown(cell), "{cell:?}");
    }
    for cell in ["0", "no", "x", "#REF!", "***", "nkda"] {
        assert!(!values::is_unknown(cell), "{cell:?}");
    }
    assert!(!values::unknown_name("Nil") && !values::unknown_name("Na") && values::unknown_name("n/k"));
}

#[test]
fn words_for_a_stoma() {
    let read = |cell| stoma_words::stoma(cell).map(|words| (words.kind, words.construction, words.permanence));
    let (end, looped) = (Some(Construction::End), Some(Construction::Loop));
    let (permanent, temporary) = (Some(Permanence::Permanent), Some(Permanence::Temporary));
    for (cell, expected) in [
        ("colostomy", (StomaKind::Colostomy, None, None)),
        ("COL", (StomaKind::Colostomy, None, None)),
        ("Loop Ileo", (StomaKind::Ileostomy, looped, None)),
        ("temp. loop ileostomy", (StomaKind::Ileostomy, looped, temporary)),
        ("End-colostomy (permanent)", (StomaKind::Colostomy, end, permanent)),
        ("defunctioning loop ileostomy", (StomaKind::Ileostomy, looped, None)),
        ("ileal conduit", (StomaKind::Urostomy, None, None)),
        ("Urostomy / ileal conduit", (StomaKind::Urostomy, None, None)),
        ("double-barrelled colostomy", (StomaKind::Colostomy, Some(Construction::DoubleBarrel), None)),
        ("sigmoid end colostomy", (StomaKind::Colostomy, end, None)),
    ] {
        assert_eq!(read(cell), Ok(expected), "{cell}");
    }
    for cell in [
        "Hartmann's",
        "APR",
        "stoma",
        "loop",
        "jejunostomy",
        "mucous fistula",
        "colostomy?",
        "ileostomy/colostomy",
        "C",
        "bag",
        "end loop ileostomy",
        "perm/temp colostomy",
        "ileostomy reversed",
        "colostomy x2",
        "no colostomy",
        "ex-ileostomy",
    ] {
        assert!(read(cell).is_err(), "{cell}");
    }
    assert!(stoma_words::urgency("urgent").is_err(), "neither planned nor emergency");
}

#[test]
fn whole_names_are_taken_apart_only_when_certain() {
    let parts = |cell| {
        full_name(cell).map(|name| (name.family, name.given.unwrap_or_default(), name.title.unwrap_or_default()))
    };
    for (cell, family, given, title) in [
        ("Thistlewood, Marion", "Thistlewood", "Marion", ""),
        ("THISTLEWOOD, Marion (Mrs)", "THISTLEWOOD", "Marion", "Mrs"),
        ("Thistlewood, Mrs Marion Anne", "Thistlewood", "Marion Anne", "Mrs"),
        ("Mrs. Marion Thistlewood", "Thistlewood", "Marion", "Mrs."),
        ("Marion Thistlewood", "Thistlewood", "Marion", ""),
        ("THISTLEWOOD Marion Anne", "THISTLEWOOD", "Marion Anne", ""),
        ("McDONALD Ivor", "McDONALD", "Ivor", ""),
        ("Saskia van der Marsh", "van der Marsh", "Saskia", ""),
        ("Ivor St John", "St John", "Ivor", ""),
        ("van der Marsh, Saskia", "van der Marsh", "Saskia", ""),
    ] {
        assert_eq!(parts(cell), Ok((family.into(), given.into(), title.into())), "{cell}");
    }
    for cell in [
        "Thistlewood",
        "Marion Anne Thistlewood",
        "Thi Van Fold",
        "a, b, c",
        ", Marion",
        "Thistlewood, Mrs",
        "",
        "?, Marion",
    ] {
        assert!(full_name(cell).is_err(), "{cell}");
    }
}
