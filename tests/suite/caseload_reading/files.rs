//! The file and its headings: encodings, delimiters, what is no CSV, columns and column lists.

use roundel::exchange::caseload::columns::LEAVE_OUT;
use roundel::exchange::caseload::decode::Encoding;
use roundel::exchange::caseload::{ColumnMap, Field, FileProblem, How, read, survey};

use super::{day, reading, refused, today};

#[test]
fn the_same_sheet_in_eight_writings_is_the_same() {
    let rows = [
        ["Surname", "Forename", "Date of birth", "NHS number", "Stoma", "Notes"],
        ["Dûpré", "Zoë", "23/08/1951", "999 000 0042", "end colostomy", "said “sore”"],
        ["O’Brien", "Piers", "5-Mar-48", "9990000018", "loop ileo", "a, b; c\td"],
    ];
    let sheet = |delimiter: char, end: &str| -> String {
        let line = |row: &[&str; 6]| row.map(|cell| format!("\"{cell}\"")).join(&delimiter.to_string());
        rows.iter().map(|row| line(row) + end).collect()
    };
    let expected = reading(sheet(',', "\r\n").as_bytes());
    assert_eq!(expected.patients.len(), 2);
    let utf16 = |text: &str, big: bool| -> Vec<u8> {
        let units = std::iter::once(0xFEFF).chain(text.encode_utf16());
        units.flat_map(|unit: u16| if big { unit.to_be_bytes() } else { unit.to_le_bytes() }).collect()
    };
    let windows: Vec<u8> = encoding_of(&sheet(';', "\r\n"));
    let writings: [(Vec<u8>, Encoding, char); 8] = [
        (sheet(';', "\n").into_bytes(), Encoding::Utf8, ';'),
        (sheet('\t', "\r").into_bytes(), Encoding::Utf8, '\t'),
        (sheet('|', "\n").into_bytes(), Encoding::Utf8, '|'),
        (format!("\u{feff}{}", sheet(',', "\n")).into_bytes(), Encoding::Utf8Marked, ','),
        (format!("sep=;\r\n{}", sheet(';', "\r\n")).into_bytes(), Encoding::Utf8, ';'),
        (utf16(&sheet('\t', "\r\n"), false), Encoding::Utf16Le, '\t'),
        (utf16(&sheet(',', "\n"), true), Encoding::Utf16Be, ','),
        (windows, Encoding::Windows1252, ';'),
    ];
    for (bytes, encoding, delimiter) in writings {
        let reading = reading(&bytes);
        assert_eq!((reading.encoding, reading.delimiter), (encoding, delimiter));
        assert_eq!(reading.patients, expected.patients, "{encoding:?} {delimiter:?}");
    }
}

/// Windows-1252 by its own table (Unicode's mapping file CP1252.TXT) for the characters of the sheet above.
fn encoding_of(text: &str) -> Vec<u8> {
    let byte = |c: char| match c {
        '“' => 0x93,
        '”' => 0x94,
        '’' => 0x92,
        _ => u8::try_from(u32::from(c)).unwrap(),
    };
    text.chars().map(byte).collect()
}

#[test]
fn files_that_are_no_csv_are_refused_in_words() {
    assert_eq!(refused(b""), FileProblem::Empty);
    assert_eq!(refused(b"\xEF\xBB\xBF \r\n "), FileProblem::Empty);
    for (bytes, words) in [
        (b"PK\x03\x04\x14\x00rest".as_slice(), "a workbook"),
        (b"\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1", "an old workbook"),
        (b"%PDF-1.7\n", "a PDF"),
        (b"{\\rtf1\\ansi", "a word-processor document"),
        (b"\n<html><table>", "a web page"),
    ] {
        let message = refused(bytes).to_string();
        assert!(message.contains(words) && message.contains("CSV UTF-8"), "{message}");
    }
    assert_eq!(refused(b"Surname,Forename\nA\x00b,c\n"), FileProblem::Binary { line: 2 });
    // 0x81 has no meaning in Windows-1252: the file is in another old encoding (there it is a u with two dots).
    assert_eq!(
        refused(b"Surname,Forename,DOB,Stoma\nM\x81ller,Ola,1/1/1950,colostomy\n"),
        FileProblem::Encoding { line: 2 }
    );
    assert_eq!(refused(b"\xEF\xBB\xBFSurname,Forename\nM\xFCller,Ola\n"), FileProblem::Encoding { line: 2 });
    assert_eq!(refused(b"\xFF\xFES\x00u\x00\xD8"), FileProblem::Encoding { line: 1 });
    assert_eq!(refused(b"just some text\nand more\n"), FileProblem::NoHeadings { looked: 10 });
    let rows: String = (0..100_001).map(|_| "a,b\n").collect();
    assert_eq!(refused(format!("Surname,Forename\n{rows}").as_bytes()), FileProblem::TooManyRows { limit: 100_000 });
}

#[test]
fn columns_that_are_missing_or_double_are_refused_in_words() {
    let message = refused(b"Surname,DOB,Ward\nFold,1/1/1950,4B\n").to_string();
    assert!(message.contains("the forename") && message.contains("the kind of stoma"), "{message}");
    let message = refused(b"Surname,Forename,Stoma\nFold,Agnes,colostomy\n").to_string();
    assert!(message.contains("the birth date or a patient number"), "{message}");
    let double = b"Surname,Forename,DOB,Date of birth,Stoma\nFold,Agnes,1/1/1950,2/1/1950,colostomy\n";
    let message = refused(double).to_string();
    assert!(message.contains("“DOB” (column C) and “Date of birth” (column D)"), "{message}");
    // The survey shows the same without refusing, so that a page can ask.
    let shown = survey(double, None).unwrap();
    assert_eq!((shown.ambiguous.len(), shown.rows, shown.sample[0][1].as_str()), (1, 1, "Agnes"));
    // And a list of columns settles it.
    let map = ColumnMap::parse("DOB = \"birth_date\"").unwrap();
    let reading = read(double, Some(&map), today()).unwrap();
    assert_eq!(reading.patients[0].person.birth_date, Some(day(1950, 1, 1)));
    assert_eq!(reading.not_brought_in[0].why, "another column fits better");
}

#[test]
fn headings_are_matched_by_likely_names() {
    let field = |heading: &str| {
        let sheet = format!("Surname,Forename,{heading}\n");
        let matches = survey(sheet.as_bytes(), None).unwrap().matches;
        matches.into_iter().find(|m| m.column == 2).map(|m| (m.field, m.how))
    };
    for (heading, expected) in [
        ("D.O.B.", Some((Field::BirthDate, How::Sure))),
        ("Date of Birth (dd/mm/yyyy)", Some((Field::BirthDate, How::Sure))),
        ("  nhs   NO. ", Some((Field::NhsNumber, How::Sure))),
        ("H&C No", Some((Field::HcNumber, How::Sure))),
        ("Sex", Some((Field::Gender, How::Likely))),
        ("Stoma", Some((Field::StomaKind, How::Likely))),
        ("Stoma size (mm)", Some((Field::Size, How::Sure))),
        // In cm every number would be wrong by ten.
        ("Stoma size (cm)", None),
        // Which of the two numbers a cell holds, nobody can tell from the digits.
        ("NHS/CHI number", None),
        // Last or next? Clinic or place on the body?
        ("Review date", None),
        ("Site", None),
        ("", None),
    ] {
        assert_eq!(field(heading), expected, "{heading}");
    }
    // No heading stands for two fields, and each code is its own.
    for field in Field::ALL {
        assert_eq!(Field::from_code(field.code()), Some(*field));
    }
}

#[test]
fn a_column_list_overrides_and_is_checked() {
    let sheet = b"Pat,Given,Born,Kind,Sex,Notes\nFold,Agnes,1/2/1950,colostomy,F,x\n";
    let toml = "Pat = \"family_name\"\nGiven = \"given_name\"\nKIND = \"stoma_kind\"\nNotes = \"leave-out\"\n";
    let map = ColumnMap::parse(toml).unwrap();
    let reading = read(sheet, Some(&map), today()).unwrap();
    assert_eq!(reading.patients[0].person.family_name, "Fold");
    assert_eq!(reading.patients[0].person.notes, None);
    assert_eq!(reading.matches[0].how, How::Listed);
    let wrong = |toml: &str| ColumnMap::parse(toml).unwrap_err().to_string();
    assert!(wrong("Pat = \"surname\"").contains("“surname” is no field"));
    assert!(wrong("Pat = 3").contains("must be set to the code"));
    assert!(wrong("A = \"notes\"\nB = \"notes\"").contains("both set to notes"));
    assert!(wrong("A = ").contains("does not fit"));
    let map = ColumnMap::from_pairs([("Nickname".to_owned(), LEAVE_OUT.to_owned())]).unwrap();
    let message = read(sheet, Some(&map), today()).unwrap_err().to_string();
    assert!(message.contains("no column “Nickname”"), "{message}");
}

#[test]
fn the_page_for_nurses_says_what_the_reader_does() {
    let page = include_str!("../../../docs/caseload-spreadsheet.md");
    for field in Field::ALL {
        assert!(page.contains(&format!("`{}`", field.code())), "{} is not in the table", field.code());
    }
    let fenced = |kind: &str| page.split(&format!("```{kind}\n")).nth(1).unwrap().split("```").next().unwrap();
    let example = reading(fenced("csv").as_bytes());
    assert_eq!((example.problems.len(), example.patients.len(), example.not_brought_in.len()), (0, 3, 0));
    assert_eq!(example.patients[2].stomas.len(), 2);
    assert!(ColumnMap::parse(fenced("toml")).is_ok());
    // The headings of the table, one by one, go to the field in whose row they stand.
    for line in page.lines().filter(|line| line.starts_with("| `")) {
        let cells: Vec<&str> = line.trim_matches('|').split(" | ").map(str::trim).collect();
        let codes: Vec<&str> = cells[0].split(", ").map(|code| code.trim_matches('`')).collect();
        for heading in cells[2].split([',', ';']).map(str::trim) {
            let matches = survey(format!("Ward 4B,{heading},Title,County\n").as_bytes(), None).unwrap().matches;
            let found = matches.iter().find(|m| m.column == 1).map(|m| m.field.code());
            assert!(found.is_some_and(|code| codes.contains(&code)), "{heading}: {found:?}, not {codes:?}");
        }
    }
}
