//! `roundel holidays`: the table that counts, written out, changed and loaded; reviews follow, booked ones are marked.

use super::{add_staff, ended, on};
use crate::both_backends;
use crate::support::raw;

both_backends! {
    fn another_table_is_loaded_and_reviews_follow(db: TestDatabase) {
        let file = tempfile::NamedTempFile::new().expect("a file");
        let path = file.path().to_str().expect("a path").to_owned();
        let load = ["holidays", "load", &path];
        let shown = ended(&mut on(&db, &["holidays", "show"])).expect(0).out;
        assert!(shown.contains("Years 2019 to 2028") && shown.contains("As shipped"), "{shown}");
        let table = ended(&mut on(&db, &["holidays", "write"])).expect(0).out;
        // A table that is wrong names its lines and changes nothing.
        std::fs::write(&path, table.replacen("first_year = 2019", "first_year = \"soon\"", 1)).expect("written");
        ended(&mut on(&db, &load)).refused("first_year");
        ended(&mut on(&db, &["holidays", "load", "/no/such/file.toml"])).refused("/no/such/file.toml");

        add_staff(&db, "Ruth Example", "ruth@clinic.example", "lead");
        // Somebody operated on five weeks ago; the day of the three-month review becomes a bank holiday.
        let today = roundel::clock::Clock::system().today();
        let surgery = today - chrono::Duration::weeks(5);
        let sheet = tempfile::NamedTempFile::new().expect("a file");
        let row = format!("Surname;Forename;DOB;NHS number;Stoma;Op date\r\nAshgrove;Marion;23/08/1951;999 000 0042;colostomy;{}\r\n", surgery.format("%d/%m/%Y"));
        std::fs::write(sheet.path(), row).expect("written");
        let mut import = on(&db, &["import", "caseload", sheet.path().to_str().expect("a path")]);
        ended(import.env("ROUNDEL_REFUSE_TEST_NUMBERS", "false")).expect(0);
        let planned = |db: &crate::support::TestDatabase| {
            let date = if matches!(db.backend, crate::support::Backend::Sqlite) { "planned_on" } else { "planned_on::text" };
            raw::texts(&mut db.outside(), &format!("SELECT {date} AS text FROM reviews WHERE status = 'proposed' ORDER BY planned_on"))
        };
        let before = planned(&db);
        let day = before.last().expect("a review").clone();
        let changed = table.replacen("[england]\n", &format!("[england]\n{day} = \"A day off\"\n"), 1);
        std::fs::write(&path, changed).expect("written");
        let said = ended(&mut on(&db, &["holidays", "load", &path, "--dry-run"])).expect(0).out;
        assert!(said.contains(&format!("England: new {day} A day off")) && said.contains("Nothing was written"), "{said}");
        assert_eq!(planned(&db), before);
        let said = ended(&mut on(&db, &load)).expect(0).out;
        assert!(said.contains("1 moved"), "{said}");
        assert!(!planned(&db).contains(&day), "a review stayed on the day");
        let shown = ended(&mut on(&db, &["holidays", "show"])).expect(0).out;
        assert!(shown.contains("Loaded on"), "{shown}");
        let log = raw::texts(&mut db.outside(), "SELECT what AS text FROM audit_events");
        assert!(log.iter().any(|what| what == "bank-holidays"), "{log:?}");
    }
}
