//! The check page: what it says of each sheet, and columns that somebody changes before anything is written.

use roundel::access::roles::Role;
use roundel::exchange::caseload::read;

use super::{act, counts, upload};
use crate::both_backends;
use crate::support::{Client, Page, TestApp, raw};

/// Every sheet of the tests on reading; each holds something that goes wrong in clinics.
const SHEETS: [(&str, &[u8]); 6] = [
    ("lost quote", include_bytes!("../data/clinic_lost_quote.csv")),
    ("month first", include_bytes!("../data/clinic_month_first.csv")),
    ("semicolon", include_bytes!("../data/clinic_semicolon_mark.csv")),
    ("utf-16", include_bytes!("../data/clinic_utf16_tab.csv")),
    ("windows", include_bytes!("../data/clinic_windows1252.csv")),
    ("wrong rows", include_bytes!("../data/clinic_wrong_rows.csv")),
];

/// One patient; a heading that nobody knows, one that repeats, one that is empty.
const ODD: &str = "Surname,Forename,DOB,Stoma,When cut,Date,Date,,Comments\n\
                   Pennyfold,Agnes,19/02/1939,end colostomy,12/01/2026,19/01/2026,20/02/2026,x,rings back\n";

/// Sends the check form as the page holds it, some columns chosen otherwise; a choice is named by its words.
async fn choose(who: &Client, page: &Page, changed: &[(usize, &str)], act: &str) -> Page {
    let action = page.attributes("main form[action^='/import/']", "action").remove(0);
    let names = page.attributes("main select[name^='column-']", "name");
    let mut chosen: Vec<String> = names.iter().map(|name| page.value(name).unwrap_or_default()).collect();
    for (column, words) in changed {
        let options = format!("select[name='column-{column}'] option");
        let at = page.select_text(&options).iter().position(|option| option == words);
        chosen[*column] = page.attributes(&options, "value").remove(at.unwrap_or_else(|| panic!("no choice {words}")));
    }
    let mut fields: Vec<(&str, &str)> = names.iter().zip(&chosen).map(|(n, v)| (n.as_str(), v.as_str())).collect();
    fields.push(("act", act));
    who.post(&action, &fields).await
}

fn stomas(app: &TestApp) -> Vec<String> {
    let day = |column: &str| format!("coalesce(CAST({column} AS TEXT), '-')");
    let sql = format!("SELECT {} || ' ' || {} AS text FROM stomas", day("surgery_on"), day("discharge_on"));
    raw::texts(&mut app.outside(), &sql)
}

both_backends! {
    async fn every_refused_row_of_every_sheet_is_on_the_page(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        for (name, sheet) in SHEETS {
            let page = upload(&lead, sheet).await.expect(200);
            let expected = read(sheet, None, app.today()).expect("a sheet").problems;
            assert!(!expected.is_empty(), "{name}");
            let rows = page.html();
            let row = scraper::Selector::parse("section[aria-labelledby=h-Refused] tbody tr").unwrap();
            let words = |text: String| text.split_whitespace().collect::<Vec<_>>().join(" ");
            let mut shown: Vec<Vec<String>> = rows
                .select(&row)
                .map(|r| r.child_elements().map(|cell| words(cell.text().collect())).collect())
                .collect();
            let mut told: Vec<Vec<String>> = expected
                .into_iter()
                .map(|p| vec![p.row.to_string(), words(p.column), words(p.read), words(p.why)])
                .collect();
            shown.sort();
            told.sort();
            assert_eq!(shown, told, "{name}");
            assert!(page.words().contains("cells parted by"), "{name}");
        }
        assert_eq!(counts(&app), [0; 5]);
    }

    async fn a_sheet_with_a_column_that_nobody_knows_is_brought_in(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        let page = upload(&lead, SHEETS[2].1).await.expect(200);
        let ward = page.select_text("select[name='column-13'] option[selected]");
        assert_eq!(ward, ["leave out"], "the ward is no field");
        act(&lead, &page, "look").await.expect(200);
        let before = app.last_event();
        let done = act(&lead, &page, "bring-in").await.expect(200);
        assert!(done.first(".standfirst").starts_with("5 patients added"), "{}", done.first(".standfirst"));
        assert_eq!(counts(&app)[0], 5);
        // One event for the whole file; it counts and names nobody in words.
        let events: Vec<_> = app.events_after(before).into_iter().filter(|e| e.what == "caseload.import").collect();
        assert_eq!(events.len(), 1);
        assert_eq!(app.subjects_of(events[0].seq).len(), 5);
        let detail: serde_json::Value = serde_json::from_str(&events[0].detail).unwrap();
        assert_eq!((&detail["added"], &detail["refused"]), (&"5".into(), &"1".into()), "{detail}");
        assert!(!events[0].detail.to_lowercase().contains("thistlewood"));
        assert_eq!(raw::count(&mut app.outside(), "uploads"), 0, "the file itself is not kept");
    }

    async fn a_column_that_is_chosen_is_what_is_brought_in(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        let page = upload(&lead, ODD.as_bytes()).await.expect(200);
        let changed = [(4, "surgery date"), (8, "leave out")];
        let page = choose(&lead, &page, &changed, "look").await.expect(200);
        for (column, words) in changed {
            let chosen = page.select_text(&format!("select[name='column-{column}'] option[selected]"));
            assert_eq!(chosen, [words], "the choice is kept");
        }
        assert_eq!(counts(&app), [0; 5]);
        let done = act(&lead, &page, "bring-in").await.expect(200);
        assert!(done.first(".standfirst").starts_with("1 patient"), "{}", done.first(".standfirst"));
        assert_eq!(stomas(&app), ["2026-01-12 -"]);
        assert_eq!(raw::count(&mut app.outside(), "patients WHERE note IS NOT NULL"), 0, "the comments were left out");
    }

    async fn two_columns_of_one_heading_are_told_apart(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        let page = upload(&lead, ODD.as_bytes()).await.expect(200);
        let changed = [(5, "discharge date"), (6, "leave out"), (4, "surgery date")];
        let page = choose(&lead, &page, &changed, "look").await.expect(200);
        act(&lead, &page, "bring-in").await.expect(200);
        assert_eq!(stomas(&app), ["2026-01-12 2026-01-19"]);
    }

    async fn columns_that_cannot_be_are_refused_on_the_page(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        let page = upload(&lead, ODD.as_bytes()).await.expect(200);
        // A needed column left out, two columns for one field: nothing is written and the choice can be mended.
        for (changed, words) in [
            (&[(3, "leave out")][..], "the kind of stoma"),
            (&[(4, "surgery date"), (8, "surgery date")], "When cut"),
        ] {
            let again = choose(&lead, &page, changed, "bring-in").await.expect(422);
            assert!(again.first("#error-summary").contains(words), "{}", again.first("#error-summary"));
            assert!(again.first("title").starts_with("Error: "), "{}", again.first("title"));
            assert_eq!(again.attributes("main select[name^='column-']", "name").len(), 9);
            assert_eq!(counts(&app), [0; 5]);
        }
        let fields = [("column-0", "no_such_field"), ("act", "bring-in")];
        let action = page.attributes("main form[action^='/import/']", "action").remove(0);
        let answer = lead.post(&action, &fields).await;
        assert!((400..500).contains(&answer.status), "{}", answer.status);
        assert_eq!(counts(&app), [0; 5]);
    }

    async fn what_stands_in_a_sheet_is_only_shown(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        let sheet = "Surname,Forename,DOB,Stoma,<b id=bad>Ward\n<i id=bad>Fold,\"\"\"><u id=bad>\",1/1/1950,colostomy,<s id=bad>\n";
        let page = upload(&lead, sheet.as_bytes()).await.expect(200);
        assert!(page.text.contains("&#60;i id=bad") || page.text.contains("&lt;i id=bad"), "{}", page.text);
        assert!(!page.has("#bad"), "an element of the sheet is one of the page");
    }

    /// Two people may have the same name and be born on the same day; their numbers tell them apart.
    async fn another_number_is_another_person(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        let held = app.db_patient("Thistlewood", "Marion", "999 000 0042", 40);
        let sheet = "Surname,Forename,DOB,NHS number,Stoma\nThistlewood,Marion,23/08/1951,9990000050,colostomy\n";
        let page = upload(&lead, sheet.as_bytes()).await.expect(200);
        let refused = page.select_text("section[aria-labelledby=h-Refused] tbody tr");
        let said = page.first(".standfirst");
        assert!(!said.contains("1 there already"), "the row is taken for somebody else: {said}");
        assert_eq!(refused.len(), 1, "{said}");
        act(&lead, &page, "bring-in").await.expect(200);
        let stomas = app.read(|conn| roundel::stomas::store::of_patient(conn, app.service_id, held.id));
        assert_eq!(stomas.len(), 1, "a stoma of somebody else was written into this record");
        // Under the same number it is the same person.
        let page = upload(&lead, sheet.replace("9990000050", "9990000042").as_bytes()).await.expect(200);
        assert!(page.first(".standfirst").contains("1 there already"), "{}", page.first(".standfirst"));
    }

    /// A number without a birth date beside it is believed only under the name that goes with it.
    async fn a_number_under_another_name_is_not_believed_alone(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        let held = app.db_patient("Thistlewood", "Marion", "999 000 0042", 40);
        let sheet = "Surname,Forename,DOB,NHS number,Stoma\nQuillfeather,Piers,,9990000042,urostomy\n";
        let page = upload(&lead, sheet.as_bytes()).await.expect(200);
        let refused = page.select_text("section[aria-labelledby=h-Refused] tbody tr");
        assert_eq!(refused.len(), 1, "{}", page.first(".standfirst"));
        act(&lead, &page, "bring-in").await.expect(200);
        let stomas = app.read(|conn| roundel::stomas::store::of_patient(conn, app.service_id, held.id));
        assert_eq!(stomas.len(), 1, "a stoma of somebody else was written into this record");
    }

    async fn a_file_waits_two_hours_and_for_nobody_else(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        let page = upload(&lead, ODD.as_bytes()).await.expect(200);
        let elsewhere = app.add_service("Another Service");
        let stranger = app.as_roles(elsewhere, &[Role::Lead]);
        stranger.get("/import").await.expect(200);
        let answer = act(&stranger, &page, "bring-in").await;
        assert!(matches!(answer.status, 404 | 409), "{}", answer.status);
        app.wait(chrono::Duration::minutes(121));
        let later = app.as_role(Role::Lead);
        upload(&later, ODD.as_bytes()).await.expect(200);
        assert_eq!(raw::count(&mut app.outside(), "uploads"), 1, "the file that nobody brought in is gone");
        assert_eq!(counts(&app), [0; 5]);
    }
}
