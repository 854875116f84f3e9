//! `roundel import caseload`: said first, then written, then there already; refused rows are named each time.

use std::path::{Path, PathBuf};

use super::{Ended, add_staff, ended, on};
use crate::both_backends;
use crate::support::{Backend, TestDatabase, raw};

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/suite/data").join(name)
}

/// Runs the import; invented numbers are taken, for these patients are invented.
fn import(db: &TestDatabase, file: &Path, more: &[&str]) -> Ended {
    let file = file.to_str().expect("plain text");
    ended(on(db, &[&["import", "caseload", file], more].concat()).env("ROUNDEL_REFUSE_TEST_NUMBERS", "false"))
}

fn counts(db: &TestDatabase) -> [i64; 5] {
    let mut conn = db.outside();
    ["patients", "stomas", "reviews", "week_rows", "audit_events"].map(|table| raw::count(&mut conn, table))
}

both_backends! {
    fn said_then_written_then_there_already(db: TestDatabase) {
        let sheet = data("clinic_semicolon_mark.csv");
        import(&db, &sheet, &[]).refused("there is no service yet");
        add_staff(&db, "Ruth Example", "ruth@clinic.example", "lead");
        let before = counts(&db);

        let said = import(&db, &sheet, &["--dry-run"]).expect(1);
        assert!(said.out.contains("5 patients would be added"), "{said:?}");
        assert!(said.out.contains("Nothing was written."), "{said:?}");
        assert_eq!(counts(&db), before, "a dry run writes nothing");

        let said = import(&db, &sheet, &[]).expect(1);
        assert!(said.out.contains("5 patients added") && !said.out.contains("Nothing was written"), "{said:?}");
        // What became of each column and of each row that was refused: row, column, what was read, why.
        assert!(said.out.contains("Date of surgery → surgery date"), "{said:?}");
        assert!(said.out.contains("Ward is left out"), "{said:?}");
        assert!(said.out.contains("Row 7, Name: “Edith Ann Marlbrook”: It is not certain which part is the family name"), "{said:?}");
        let [patients, stomas, reviews, rows, events] = counts(&db);
        assert_eq!((patients, stomas, rows, events), (5, 5, 2, before[4] + 1), "one reversed, one died, one moved");
        assert!(reviews > 0);
        assert_eq!(raw::count(&mut db.outside(), "audit_subjects"), 5, "the event names everybody");

        let after = counts(&db);
        let said = import(&db, &sheet, &[]).expect(1);
        assert!(said.out.contains("0 patients added, 5 there already, 0 stomas added"), "{said:?}");
        assert_eq!(counts(&db)[..4], after[..4], "the second time adds nothing");
        ended(&mut on(&db, &["audit", "verify"])).expect(0);
    }

    fn a_sheet_without_a_mistake_ends_with_0(db: TestDatabase) {
        add_staff(&db, "Ruth Example", "ruth@clinic.example", "lead");
        let folder = tempfile::tempdir().expect("a folder");
        let sheet = folder.path().join("sheet.csv");
        std::fs::write(&sheet, "Surname,Forename,DOB,Stoma,Op date\nPennyfold,Agnes,19/02/1939,end colostomy,12/01/2026\n").expect("a sheet");
        for (more, said) in [(&["--dry-run"][..], "would be added"), (&[], "added"), (&[], "1 there already")] {
            let ended = import(&db, &sheet, more).expect(0);
            assert!(ended.out.contains(said) && ended.out.contains("0 refused") || ended.out.contains("0 rows refused"), "{ended:?}");
        }
        assert_eq!(counts(&db)[0], 1);
    }

    fn invented_numbers_are_refused_unless_they_are_allowed(db: TestDatabase) {
        add_staff(&db, "Ruth Example", "ruth@clinic.example", "lead");
        let sheet = data("clinic_semicolon_mark.csv");
        let said = ended(&mut on(&db, &["import", "caseload", sheet.to_str().expect("plain text")])).expect(1);
        assert!(said.out.contains("0 patients added") && said.out.contains("test range"), "{said:?}");
        assert_eq!(counts(&db)[..4], [0; 4]);
    }
}

#[test]
fn a_column_list_says_what_a_heading_is() {
    let db = TestDatabase::new(Backend::Sqlite);
    add_staff(&db, "Ruth Example", "ruth@clinic.example", "lead");
    let (sheet, map) = (db.folder().join("sheet.csv"), db.folder().join("map.toml"));
    let text = "Surname,Forename,DOB,Stoma,When cut\nPennyfold,Agnes,19/02/1939,end colostomy,12/01/2026\n";
    std::fs::write(&sheet, text).expect("a sheet");
    let with_map = |text: &str, more: &[&str]| {
        std::fs::write(&map, text).expect("a map");
        import(&db, &sheet, &[&["--map", map.to_str().expect("plain text")], more].concat())
    };
    let said = import(&db, &sheet, &["--dry-run"]).expect(0);
    assert!(said.out.contains("When cut is left out"), "{said:?}");
    let said = with_map("\"When cut\" = \"surgery_date\"\n", &["--dry-run"]).expect(0);
    assert!(said.out.contains("When cut → surgery date"), "{said:?}");
    with_map("\"When cut\" = \"operation\"\n", &[]).refused("surgery_date");
    with_map("\"When cut\" = 1\n", &[]).refused("When cut");
    with_map("When cut\n", &[]).refused("column list");
    assert_eq!(counts(&db)[0], 0);
    with_map("\"When cut\" = \"surgery_date\"\n", &[]).expect(0);
    let days = raw::texts(&mut db.outside(), "SELECT surgery_on AS text FROM stomas");
    assert_eq!(days, ["2026-01-12"]);
    std::fs::remove_file(&map).expect("gone");
    import(&db, &sheet, &["--map", map.to_str().expect("plain text")]).refused("cannot be read");
}

#[test]
fn a_file_that_cannot_be_read_is_refused_in_a_sentence() {
    let db = TestDatabase::new(Backend::Sqlite);
    add_staff(&db, "Ruth Example", "ruth@clinic.example", "lead");
    let before = counts(&db);
    import(&db, &db.folder().join("none.csv"), &[]).refused("cannot be read");
    import(&db, &db.folder(), &[]).refused("cannot be read");
    let file = db.folder().join("sheet.csv");
    for (bytes, words) in [
        (b"".as_slice(), "The file is empty"),
        (b"%PDF-1.7\n", "This is a PDF, not a CSV file"),
        (b"Surname,Forename\nA\x00b,c\n", "This is no text"),
        (b"just some text\n", "No row with column headings"),
        (b"Surname,DOB\nFold,1/1/1950\n", "the kind of stoma"),
    ] {
        std::fs::write(&file, bytes).expect("a file");
        let said = import(&db, &file, &[]).refused(words);
        assert_eq!(said.err.lines().count(), 1, "one sentence: {said:?}");
    }
    assert_eq!(counts(&db), before);
}

#[test]
fn where_there_are_several_services_one_is_named() {
    let db = TestDatabase::new(Backend::Sqlite);
    add_staff(&db, "Ruth Example", "ruth@clinic.example", "lead");
    let other = [
        "staff",
        "add",
        "Nell Example",
        "nell@other.example",
        "--role",
        "lead",
        "--service",
        "Other Health",
        "--new-service",
    ];
    ended(&mut on(&db, &other)).expect(0);
    let sheet = data("clinic_semicolon_mark.csv");
    import(&db, &sheet, &[]).refused("there are several services");
    import(&db, &sheet, &["--service", "Third Health"]).refused("there is no service of this name");
    import(&db, &sheet, &["--service", "Other Health"]).expect(1);
    let sql = "SELECT DISTINCT s.name AS text FROM patients p JOIN services s ON s.id = p.service_id";
    assert_eq!(raw::texts(&mut db.outside(), sql), ["Other Health"]);
    // The same people are new to the other service.
    let said = import(&db, &sheet, &["--service", "Example Community Health"]).expect(1);
    assert!(said.out.contains("5 patients added"), "{said:?}");
}
