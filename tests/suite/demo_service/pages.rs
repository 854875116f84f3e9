//! The demonstration as somebody sees it: every state on a page, the mark on every page and on the paper.

use std::process::Command;

use roundel::access::roles::Role;
use roundel::access::store::staff_by_name;
use roundel::demo::{ACCOUNTS, make};

use super::{COUNT, everyone, the_service};
use crate::both_backends;
use crate::support::app::Person;
use crate::support::{Client, Page, TestApp, raw};

const MARK: &str = "Demonstration: invented people";

/// The demonstration, served; somebody of it, signed in.
fn served(app: &mut TestApp, role: Role) -> Client {
    if app.read(roundel::access::store::services).iter().all(|service| !service.demo) {
        assert!(make(&app.db, COUNT, 1, |_, _| {}).expect("the demonstration"));
    }
    app.service_id = the_service(&app.db);
    let (name, ..) = ACCOUNTS.iter().find(|(.., of)| *of == role).expect("an account");
    let row = app.read(|conn| staff_by_name(conn, name)).expect("the account");
    let person = Person { id: row.id, sign_in_name: row.sign_in_name, name: row.display_name };
    app.db_session(app.service_id, &person)
}

/// What a search finds: one text for each row.
async fn found(who: &Client, typed: &str) -> Vec<String> {
    who.get("/patients").await.expect(200);
    who.post("/patients/search", &[("q", typed)]).await.expect(303);
    who.get("/patients").await.expect(200).select_text("table.found tbody tr")
}

/// The record of the first patient of whom this holds.
async fn record(app: &TestApp, who: &Client, wanted: impl Fn(&super::Told) -> bool) -> Page {
    let told = everyone(&app.db, app.service_id);
    let one = told.iter().find(|told| wanted(told)).expect("somebody like that");
    who.get(&format!("/patients/{}", one.patient.id)).await.expect(200)
}

both_backends! {
    async fn the_week_shows_why_each_is_there(app: TestApp) {
        let mut app = app;
        let nurse = served(&mut app, Role::Nurse);
        let page = nurse.get("/week").await.expect(200);
        let rows = page.select_text("table tbody tr");
        assert!(rows.len() > 10, "{} rows", rows.len());
        for words in [
            "The stoma is dusky",
            "worse by",
            "past its last date",
            "missed",
            "No review is planned",
            "booked 09:",
        ] {
            assert!(rows.iter().any(|row| row.contains(words)), "“{words}” is in no row: {rows:#?}");
        }
        let bands = page.select_text(".row-band");
        assert_eq!(bands[0], "Today", "the most urgent come first: {bands:?}");
        assert!(rows[0].contains("2150 mL") || rows[0].contains("dusky"), "{}", rows[0]);
    }

    async fn every_state_is_on_a_page(app: TestApp) {
        let mut app = app;
        let nurse = served(&mut app, Role::Nurse);
        // Near duplicates: both are found by the letters that they share.
        let pair = found(&nurse, "thornb rosalind").await;
        assert!(pair.iter().any(|row| row.contains("THORNBURY")) && pair.iter().any(|row| row.contains("THORNBERY")), "{pair:?}");
        // Those who have gone are found and say so.
        let told = everyone(&app.db, app.service_id);
        for (reason, words) in [("died", "Died "), ("moved-away", "Moved away ")] {
            let gone = told.iter().find(|t| t.patient.ended_reason.as_deref() == Some(reason)).expect("somebody");
            let rows = found(&nurse, &format!("{} {}", gone.patient.family_name, gone.patient.given_name)).await;
            assert!(rows.iter().any(|row| row.contains(words)), "{words}: {rows:?}");
        }
        let gone = told.iter().find(|t| t.stomas.iter().any(|s| s.reversed_on.is_some())).expect("somebody");
        let rows = found(&nurse, &format!("{} {}", gone.patient.family_name, gone.patient.given_name)).await;
        assert!(rows.iter().any(|row| row.contains("Reversed ")), "{rows:?}");

        let page = record(&app, &nurse, |t| t.scores().is_some_and(|(before, last)| last < before && last > 0)).await;
        assert!(page.words().contains("better by"), "improving: {}", page.words());
        let page = record(&app, &nurse, |t| t.scores().is_some_and(|(before, last)| last > before)).await;
        assert!(page.words().contains("worse by"), "worsening: {}", page.words());
        let page = record(&app, &nurse, |t| t.stomas.len() == 2).await;
        assert_eq!(page.select_text("section[aria-labelledby=h-stomas] h3").len(), 2, "two stomas");
        let page = record(&app, &nurse, |t| t.stomas.iter().any(|s| s.reversal_on.is_some())).await;
        assert!(page.words().contains("Planned reversal"), "{}", page.words());
        let page = record(&app, &nurse, |t| t.reviews.iter().filter(|r| r.status == "noshow").count() == 2).await;
        assert_eq!(page.words().matches("Closed: Did not attend").count(), 2, "missed twice");
        let page = record(&app, &nurse, |t| t.open().any(|r| r.deferred_reason.is_some())).await;
        assert!(page.words().contains("Deferred: "), "{}", page.words());
        let page = record(&app, &nurse, |t| t.row.as_ref().is_some_and(|row| row.review_id.is_none())).await;
        assert!(page.first(".standfirst").contains("No review is planned"), "{}", page.first(".standfirst"));
        let page = record(&app, &nurse, |t| t.stomas.iter().any(|s| s.discharge_on.is_none())).await;
        let plan = nurse.get(&format!("{}/follow-up", page.path)).await.expect(200);
        assert!(plan.words().contains("the date of discharge is not known"), "{}", plan.words());
        // The overdue one asks for attention in its record as well.
        let today = app.today();
        let page = record(&app, &nurse, |t| t.row.as_ref().is_some_and(|row| row.latest_on.is_some_and(|on| on < today))).await;
        assert!(page.words().contains("past its latest date"), "{}", page.words());
    }

    async fn nothing_is_recorded_that_has_not_happened_yet(app: TestApp) {
        let mut app = app;
        served(&mut app, Role::Nurse);
        let now = match app.backend {
            crate::support::Backend::Sqlite => app.hands.now().format("'%Y-%m-%d %H:%M:%S%.6f'").to_string(),
            crate::support::Backend::Postgres => app.hands.now().format("'%Y-%m-%d %H:%M:%S%.6fZ'").to_string(),
        };
        for column in ["assessments WHERE signed_at", "contacts WHERE created_at", "prescriptions WHERE signed_at"] {
            assert_eq!(raw::count(&mut app.outside(), &format!("{column} > {now}")), 0, "{column} later than now");
        }
    }

    async fn the_mark_is_on_every_page_and_on_the_paper(app: TestApp) {
        let mut app = app;
        let lead = served(&mut app, Role::Lead);
        let (id, list) = {
            let sql = match app.backend {
                crate::support::Backend::Sqlite => "SELECT lower(hex(patient_id)) || ' ' || lower(hex(id)) AS text FROM prescriptions WHERE status = 'signed'",
                crate::support::Backend::Postgres => "SELECT patient_id::text || ' ' || id::text AS text FROM prescriptions WHERE status = 'signed'",
            };
            let first = raw::texts(&mut app.outside(), sql).remove(0);
            let (patient, list) = first.split_once(' ').expect("two ids");
            let uuid = |text: &str| uuid::Uuid::parse_str(text).expect("an id").to_string();
            (uuid(patient), uuid(list))
        };
        for path in [
            "/week".to_owned(),
            "/patients".to_owned(),
            "/patients/new".to_owned(),
            "/protocols".to_owned(),
            "/catalogue".to_owned(),
            "/quantities".to_owned(),
            "/import".to_owned(),
            "/audit".to_owned(),
            "/account".to_owned(),
            format!("/patients/{id}"),
            format!("/patients/{id}/edit"),
            format!("/patients/{id}/skin"),
            format!("/patients/{id}/follow-up"),
            format!("/patients/{id}/contacts/new"),
            format!("/patients/{id}/supplies"),
            format!("/patients/{id}/access"),
            format!("/prescriptions/{list}/summary"),
        ] {
            let page = lead.get(&path).await.expect(200);
            assert_eq!(page.first(".demo-mark"), MARK, "{path}");
        }
        // Errors: not there, not allowed, a form from elsewhere.
        assert_eq!(lead.get("/patients/none").await.expect(404).first(".demo-mark"), MARK);
        assert_eq!(lead.get("/staff").await.expect(403).first(".demo-mark"), MARK);
        assert_eq!(lead.post_only("/quantities", &[("csrf", "x")]).await.expect(403).first(".demo-mark"), MARK);

        let pdf = lead.get(&format!("/prescriptions/{list}/summary.pdf?size=large")).await.expect(200);
        let dir = tempfile::tempdir().unwrap();
        std::fs::write(dir.path().join("x.pdf"), &pdf.bytes).unwrap();
        let text = Command::new("pdftotext").args(["x.pdf", "-"]).current_dir(dir.path()).output().expect("pdftotext");
        let text = String::from_utf8_lossy(&text.stdout).into_owned();
        let pages: Vec<&str> = text.split('\u{c}').filter(|page| !page.trim().is_empty()).collect();
        assert!(!pages.is_empty());
        for page in pages {
            let words = page.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(words.contains(MARK), "{words}");
        }
    }
}
