//! Bringing a spreadsheet in through HTTP on both databases: looked at first, then all of it or nothing.

mod columns;

use std::collections::BTreeSet;

use reqwest::Method;
use roundel::access::roles::Role;

use crate::both_backends;
use crate::support::{Backend, Client, Page, TestApp, raw};

/// Invented caseload as a clinic writes it (the sheets of the tests on reading).
const SHEET: &[u8] = include_bytes!("data/clinic_windows1252.csv");
const WRONG_ROWS: &[u8] = include_bytes!("data/clinic_wrong_rows.csv");
const LINE: &str = "roundel-test-boundary";

/// Sends a file as a browser does (RFC 7578).
async fn upload_with(who: &Client, token: Option<&str>, file: &[u8]) -> Page {
    let mut body = Vec::new();
    if let Some(token) = token {
        let head = format!("--{LINE}\r\nContent-Disposition: form-data; name=\"csrf\"\r\n\r\n{token}\r\n");
        body.extend_from_slice(head.as_bytes());
    }
    let head = "Content-Disposition: form-data; name=\"file\"; filename=\"caseload.csv\"\r\nContent-Type: text/csv";
    body.extend_from_slice(format!("--{LINE}\r\n{head}\r\n\r\n").as_bytes());
    body.extend_from_slice(file);
    body.extend_from_slice(format!("\r\n--{LINE}--\r\n").as_bytes());
    let request = who.request(Method::POST, "/import");
    let request = request.header("content-type", format!("multipart/form-data; boundary={LINE}"));
    who.send(request.body(body)).await
}

async fn upload(who: &Client, file: &[u8]) -> Page {
    who.get("/import").await.expect(200);
    let token = who.token();
    upload_with(who, token.as_deref(), file).await
}

/// The form of the check page as it stands, with an act.
async fn act(who: &Client, page: &Page, act: &str) -> Page {
    let action = page.attributes("main form[action^='/import/']", "action").remove(0);
    let names = page.attributes("main select[name^='column-']", "name");
    let chosen: Vec<String> = names.iter().map(|name| page.value(name).unwrap_or_default()).collect();
    let mut fields: Vec<(&str, &str)> = names.iter().zip(&chosen).map(|(n, v)| (n.as_str(), v.as_str())).collect();
    fields.push(("act", act));
    who.post(&action, &fields).await
}

fn counts(app: &TestApp) -> Vec<i64> {
    let mut conn = app.outside();
    ["patients", "patient_identifiers", "stomas", "reviews", "week_rows"].map(|t| raw::count(&mut conn, t)).to_vec()
}

both_backends! {
    async fn a_sheet_is_looked_at_before_anything_is_written(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        let page = upload(&lead, SHEET).await.expect(200);
        assert!(page.words().contains("Surname") && page.words().contains("D.O.B."));
        assert_eq!(page.attributes("main select", "name").len(), 13, "one select for each of the 13 columns");
        assert_eq!(page.value("column-0").as_deref(), Some("family_name"));
        assert_eq!(counts(&app), [0; 5]);
        let again = act(&lead, &page, "look").await.expect(200);
        assert_eq!(again.first(".standfirst"), page.first(".standfirst"));
        assert_eq!(counts(&app), [0; 5]);
        let page = upload(&lead, WRONG_ROWS).await.expect(200);
        // The first row holds a number whose check digit is wrong; 42 lines with the heading.
        let cells = page.select_text("section[aria-labelledby=h-Refused] tbody tr:first-child > *");
        assert_eq!(cells.len(), 4);
        assert!(cells[0] == "2" && cells[1] == "NHS No" && cells[2] == "9990000043", "{cells:?}");
        assert!(cells[3].len() > 15, "{cells:?}");
        assert_eq!(counts(&app), [0; 5]);
    }

    async fn what_is_brought_in_is_there_once_and_in_the_log(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        let page = upload(&lead, SHEET).await.expect(200);
        let before = app.last_event();
        let done = act(&lead, &page, "bring-in").await.expect(200);
        assert_eq!(done.heading(), "Brought in");
        let written = counts(&app);
        assert!(written.iter().all(|count| *count > 0), "{written:?}");
        let said = done.first(".standfirst");
        assert!(said.starts_with(&format!("{} patients ", written[0])), "{said} {written:?}");
        let events = app.events_after(before);
        let imports: Vec<_> =
            events.iter().filter(|e| app.subjects_of(e.seq).len() > 1).map(|e| app.subjects_of(e.seq)).collect();
        let [named] = imports.as_slice() else { panic!("not one event: {events:?}") };
        let named: BTreeSet<String> = named.iter().map(ToString::to_string).collect();
        let subjects = i64::try_from(named.len()).unwrap();
        assert_eq!(subjects, written[0], "the event names every patient");
        let week = lead.get("/week").await.expect(200);
        assert!(week.words().contains("MARLBROOK"), "{}", week.words());
        // The same file again, and the form that was sent already.
        act(&lead, &page, "bring-in").await.expect(303);
        let said = lead.get("/import").await.first(".message");
        assert!(said.contains("sent twice and is there once"), "{said}");
        assert_eq!(counts(&app), written);
        let page = upload(&lead, SHEET).await.expect(200);
        assert!(page.first(".standfirst").starts_with("0 patients "), "{}", page.first(".standfirst"));
        assert!(!page.has("button[value='bring-in']"));
        act(&lead, &page, "bring-in").await.expect(200);
        assert_eq!(counts(&app), written);
    }

    async fn what_is_no_sheet_is_refused_in_a_sentence(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        for file in [&b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0"[..], b""] {
            let page = upload(&lead, file).await.expect(422);
            assert_eq!(page.select_text("#error-summary li").len(), 1);
        }
        assert_eq!(raw::count(&mut app.outside(), "uploads"), 0);
    }

    async fn a_file_from_elsewhere_or_without_the_right_is_refused(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        lead.get("/import").await.expect(200);
        upload_with(&lead, None, SHEET).await.expect(403);
        upload_with(&lead, Some("guessed"), SHEET).await.expect(403);
        for role in [Role::Nurse, Role::Prescriber, Role::Assistant, Role::Clerk, Role::Auditor, Role::Administrator] {
            let other = app.as_role(role);
            other.get("/import").await.expect(403);
            let token = other.token();
            upload_with(&other, token.as_deref(), SHEET).await.expect(403);
        }
        assert_eq!(raw::count(&mut app.outside(), "uploads"), 0);
    }

    async fn another_persons_file_is_not_brought_in(app: TestApp) {
        let (lead, other) = (app.as_role(Role::Lead), app.as_role(Role::Lead));
        let page = upload(&lead, SHEET).await.expect(200);
        other.get("/import").await.expect(200);
        act(&other, &page, "bring-in").await.expect(409);
        assert_eq!(counts(&app), [0; 5]);
    }

    async fn a_write_that_fails_leaves_nothing_half_brought_in(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        let page = upload(&lead, SHEET).await.expect(200);
        // Fails at the third stoma, when two patients are written already.
        let sql = match app.backend {
            Backend::Sqlite => {
                "CREATE TRIGGER full BEFORE INSERT ON stomas WHEN (SELECT count(*) FROM stomas) >= 2 \
                 BEGIN SELECT RAISE(ABORT, 'no room'); END"
            }
            Backend::Postgres => {
                "CREATE FUNCTION no_room() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN \
                 IF (SELECT count(*) FROM stomas) >= 2 THEN RAISE EXCEPTION 'no room'; END IF; RETURN NEW; END $$; \
                 CREATE TRIGGER full_up BEFORE INSERT ON stomas FOR EACH ROW EXECUTE FUNCTION no_room()"
            }
        };
        raw::run(&mut app.outside(), sql).unwrap();
        let before = app.last_event();
        let page_after = act(&lead, &page, "bring-in").await;
        assert!(page_after.status >= 500, "{}", page_after.status);
        assert_eq!(counts(&app), [0; 5]);
        assert_eq!(app.last_event(), before, "the log tells of what was not done");
        let drop = match app.backend {
            Backend::Sqlite => "DROP TRIGGER full",
            Backend::Postgres => "DROP TRIGGER full_up ON stomas",
        };
        raw::run(&mut app.outside(), drop).unwrap();
        act(&lead, &page, "bring-in").await.expect(200);
        assert!(counts(&app)[0] > 0, "the file was kept");
    }
}
