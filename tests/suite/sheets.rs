//! Day sheet and downtime sheet through HTTP on both databases: who is on them, what is logged, what a role sees.

use chrono::{Duration, NaiveDate};
use roundel::access::roles::Role;
use roundel::follow_up::store::Review;
use roundel::patients::store as patients;
use roundel::skin::store::{DomainJudged, Judged};

use crate::both_backends;
use crate::support::{Someone, TestApp};

const NHS: [&str; 4] = ["999 000 0042", "999 000 0050", "999 000 0069", "999 000 0077"];

/// Books the next review of somebody.
pub fn booked(app: &TestApp, held: &Someone, on: NaiveDate, time: &str) {
    let review = app.next_review(held.id);
    app.db_review(Review {
        status: "booked".to_owned(),
        booked_on: Some(on),
        booked_time: Some(time.to_owned()),
        ..review
    });
}

/// A patient whose review was missed so long ago that the list asks for an answer within days.
fn overdue(app: &TestApp, family: &str, nhs: &str, days: i64) -> Someone {
    let held = app.db_patient_with(family, "Marion", nhs, 60, |_, stoma| stoma.discharge_on = None);
    let review = app.next_review(held.id);
    let day = app.today() - Duration::days(days);
    app.db_review(Review { planned_on: day, latest_on: day, nominal_on: day, by_hand: true, step: None, ..review });
    held
}

both_backends! {
    async fn the_day_sheet_lists_who_is_booked_by_time_with_two_identifiers_and_logs_each(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let today = app.today();
        let late = app.db_patient("Ashgrove", "Marion", NHS[0], 60);
        let early = app.db_patient("Bellwether", "Owen", NHS[1], 60);
        let other_day = app.db_patient("Calloway", "Edith", NHS[2], 60);
        booked(&app, &late, today, "11:30");
        booked(&app, &early, today, "09:00");
        booked(&app, &other_day, today + Duration::days(1), "09:00");
        let before = app.last_event();
        let page = nurse.get("/week/day").await.expect(200);
        let rows = page.select_text(".day-sheet tbody tr");
        assert_eq!(rows.len(), 2, "{rows:?}");
        assert!(rows[0].contains("09:00") && rows[0].contains("BELLWETHER, Owen"), "{rows:?}");
        assert!(rows[1].contains("11:30") && rows[1].contains("ASHGROVE, Marion"), "{rows:?}");
        for row in &rows {
            for words in ["23-Aug-1951", "999 000 00", "01632 960123", "End ileostomy", "Not yet scored"] {
                assert!(row.contains(words), "{words}: {row}");
            }
        }
        assert!(!page.has("section.patient"), "a page of several patients has no banner");
        assert!(page.words().contains("Sorted by time"), "{}", page.words());
        let events = app.events_after(before);
        let event = events.iter().find(|event| event.what == "week.day").expect("the view is logged");
        let mut seen = app.subjects_of(event.seq);
        seen.sort();
        let mut expected = vec![late.id, early.id];
        expected.sort();
        assert_eq!(seen, expected);
        // Another day by its address; the working days around it are one press away.
        let tomorrow = nurse.get(&format!("/week/day?on={}", today + Duration::days(1))).await.expect(200);
        assert!(tomorrow.words().contains("CALLOWAY") && !tomorrow.words().contains("ASHGROVE"));
        assert_eq!(nurse.get("/week/day?on=yesterdayish").await.status, 400);
        // Wednesday 25 November 2026: two days on is Friday, from there the next working day is Monday.
        let friday = nurse.get("/week/day?on=2026-11-27").await.expect(200);
        let links = friday.attributes(".page-turn a", "href");
        assert_eq!(links[..2], ["/week/day?on=2026-11-26", "/week/day?on=2026-11-30"]);
        assert!(friday.words().contains("Nobody is booked"));
        let saturday = nurse.get("/week/day?on=2026-11-28").await.expect(200);
        assert!(saturday.words().contains("not a working day"));
    }

    async fn who_has_died_or_has_a_namesake_is_marked_on_the_day_sheet(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let today = app.today();
        let first = app.db_patient("Thornbury", "Rosalind", NHS[0], 60);
        let second = app.db_patient("Thornbury", "Rosalind", NHS[1], 60);
        booked(&app, &first, today, "09:00");
        booked(&app, &second, today, "09:30");
        let page = nurse.get("/week/day").await.expect(200);
        let rows = page.select_text(".day-sheet tbody tr");
        assert!(rows.iter().all(|row| row.contains("Same name as another here")), "{rows:?}");
        let (service, id) = (app.service_id, second.id);
        app.write(move |tx| {
            let held = patients::find(tx.conn(), service, id)?;
            let numbers = patients::identifiers_of(tx.conn(), service, id)?;
            let gone = patients::Patient { ended_reason: Some("died".into()), ended_on: Some(today), ..held };
            patients::replace(tx, gone, &numbers, None)
        });
        let page = nurse.get("/week/day").await.expect(200);
        let rows = page.select_text(".day-sheet tbody tr");
        // A booking that is still there must not let somebody ring the family unwarned.
        for row in rows.iter().filter(|row| row.contains("09:30")) {
            assert!(row.contains("Has died, 25-Nov-2026"), "{row}");
        }
    }

    async fn the_downtime_sheet_holds_bookings_and_the_urgent_and_logs_each(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let today = app.today();
        let expected = app.db_patient("Ashgrove", "Marion", NHS[0], 60);
        booked(&app, &expected, today, "10:30");
        let urgent = overdue(&app, "Bellwether", NHS[1], 40);
        let usual = overdue(&app, "Calloway", NHS[2], 1);
        let page = nurse.get("/week").await.expect(200);
        assert!(page.attributes("main a", "href").contains(&"/week/downtime".to_owned()), "one press from the week");
        let before = app.last_event();
        let page = nurse.get("/week/downtime").await.expect(200);
        let list = |heading: &str| page.select_text(&format!("section[aria-labelledby={heading}] .slips > li"));
        let (booked, others) = (list("h-booked"), list("h-urgent"));
        assert_eq!((booked.len(), others.len()), (1, 1), "{booked:?} {others:?}");
        for words in ["10:30", "ASHGROVE, Marion", "23-Aug-1951", "999 000 0042", "01632 960123", "No list in force", "Not yet scored"] {
            assert!(booked[0].contains(words), "{words}: {}", booked[0]);
        }
        for words in ["BELLWETHER", "999 000 0050", "Within 5 working days", "4 weeks or more"] {
            assert!(others[0].contains(words), "{words}: {}", others[0]);
        }
        assert!(!page.words().contains("CALLOWAY"), "who is merely due is not on it");
        assert!(!page.has("section.patient"));
        let event = app.events_after(before).into_iter().find(|event| event.what == "week.downtime").expect("logged");
        let seen = app.subjects_of(event.seq);
        assert!(seen.contains(&expected.id) && seen.contains(&urgent.id) && !seen.contains(&usual.id));
        assert!(page.select_text(".slips > li").len() == page.attributes(".slips .pen-lines", "class").len(), "room to write");
    }

    async fn a_clerk_prints_who_comes_but_no_clinical_facts(app: TestApp) {
        let clerk = app.as_role(Role::Clerk);
        let held = overdue(&app, "Bellwether", NHS[1], 40);
        let page = clerk.get("/week/downtime").await.expect(200);
        let words = page.words();
        assert!(words.contains("BELLWETHER") && words.contains("your role does not see them"), "{words}");
        for clinical in ["4 weeks or more", "Supplies No list", "Not yet scored"] {
            assert!(!words.contains(clinical), "{clinical}: {words}");
        }
        booked(&app, &held, app.today(), "09:00");
        let day = clerk.get("/week/day").await.expect(200);
        assert!(day.words().contains("BELLWETHER") && !day.words().contains("Not yet scored"), "{}", day.words());
    }

    async fn no_sheet_shows_another_services_patients(app: TestApp) {
        let held = overdue(&app, "Bellwether", NHS[1], 40);
        booked(&app, &held, app.today(), "09:00");
        overdue(&app, "Ashgrove", NHS[0], 40);
        let elsewhere = app.add_service("Another Community Health");
        let stranger = app.as_roles(elsewhere, &[Role::Nurse]);
        for path in ["/week/day", "/week/downtime"] {
            let page = stranger.get(path).await.expect(200);
            assert!(!page.words().contains("BELLWETHER") && !page.words().contains("ASHGROVE"), "{path}: {}", page.words());
        }
    }
}

/// Words of the form, area and severity, as a colleague would read them out.
#[test]
fn skin_is_said_in_words() {
    let judged = Judged {
        discolouration: DomainJudged { area_points: 2, severity: 2 },
        erosion: DomainJudged { area_points: 1, severity: 1 },
        overgrowth: DomainJudged::default(),
    };
    let said = roundel::week::sheet_words::judged_words(&judged);
    assert_eq!(
        said,
        "Discolouration: a quarter to a half of the skin under the plate, different with a complaint or sign; Erosion: \
         less than a quarter of the skin under the plate, surface lost"
    );
    assert_eq!(roundel::week::sheet_words::judged_words(&Judged::default()), "clear");
}
