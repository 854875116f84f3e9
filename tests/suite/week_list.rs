//! The week's list and what is done from it, through HTTP on both databases.

use chrono::Duration;
use roundel::access::roles::Role;
use roundel::follow_up::store::Review;
use roundel::week::store::derive_row;

use crate::both_backends;
use crate::support::TestApp;

const NHS: [&str; 4] = ["999 000 0042", "999 000 0050", "999 000 0069", "999 000 0077"];

/// A patient whose three-month review is overdue by so many days.
fn overdue(app: &TestApp, family: &str, nhs: &str, days: i64) -> crate::support::Someone {
    let someone = app.db_patient_with(family, "Marion", nhs, 60, |_, stoma| {
        stoma.discharge_on = None;
    });
    let review = app.next_review(someone.id);
    let day = app.today() - Duration::days(days);
    app.db_review(Review { planned_on: day, latest_on: day, nominal_on: day, by_hand: true, step: None, ..review });
    someone
}

both_backends! {
    async fn the_longest_overdue_come_first_and_say_why(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        overdue(&app, "Ashgrove", NHS[0], 3);
        overdue(&app, "Bellwether", NHS[1], 40);
        overdue(&app, "Calloway", NHS[2], 12);
        // Nothing due: not on the list.
        app.db_patient_with("Danvers", "Marion", NHS[3], 10, |_, s| s.discharge_on = None);
        let page = nurse.get("/week").await.expect(200);
        let names = page.select_text(".row-name");
        let order: Vec<&str> = names.iter().filter_map(|n| n.split(',').next()).collect();
        assert_eq!(order, ["BELLWETHER", "CALLOWAY", "ASHGROVE"]);
        assert!(page.words().contains("40 days past its last date"));
        assert!(page.words().contains("Sorted by urgency"));
    }

    async fn the_suggested_slot_is_booked_once_and_another_is_offered_to_the_next(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        overdue(&app, "Ashgrove", NHS[0], 9);
        overdue(&app, "Bellwether", NHS[1], 3);
        let page = nurse.get("/week").await;
        let slots = page.attributes("form.book input[name=slot]", "value");
        assert_eq!(slots.len(), 2);
        assert_ne!(slots[0], slots[1], "two rows are not offered one slot");
        let actions = page.attributes("form.book", "action");
        let versions = page.attributes("form.book input[name=version]", "value");
        let patients = page.attributes("form.book input[name=patient]", "value");
        let first =
            [("patient", patients[0].as_str()), ("version", versions[0].as_str()), ("slot", slots[0].as_str())];
        nurse.post(&actions[0], &first).await.expect(303);
        let said = nurse.get("/week").await;
        assert!(said.first(".message").contains("booked for"), "{}", said.first(".message"));
        // The same slot for somebody else: the database holds one booking to a slot.
        let second =
            [("patient", patients[1].as_str()), ("version", versions[1].as_str()), ("slot", slots[0].as_str())];
        let refused = nurse.post(&actions[1], &second).await.expect(409);
        assert!(refused.words().contains("taken a moment ago"));
        // The same form again is the same act: it answers as it did and does nothing.
        nurse.post(&actions[0], &first).await.expect(303);
        // The form of one row with the patient of another is refused.
        let mixed = [("patient", patients[0].as_str()), ("version", versions[1].as_str()), ("slot", slots[1].as_str())];
        let page = nurse.post(&actions[1], &mixed).await.expect(409);
        assert!(page.words().contains("another patient"));
        // A slot that is none of the clinic's.
        let odd = [("patient", patients[1].as_str()), ("version", versions[1].as_str()), ("slot", "2030-01-05T03:10")];
        nurse.post(&actions[1], &odd).await.expect(409);
    }

    async fn a_booking_is_taken_back(app: TestApp) {
        let nurse = app.as_role(Role::Clerk);
        let held = overdue(&app, "Ashgrove", NHS[0], 9);
        let page = nurse.get("/week").await;
        let action = page.attributes("form.book", "action")[0].clone();
        let version = page.attributes("form.book input[name=version]", "value")[0].clone();
        let slot = page.attributes("form.book input[name=slot]", "value")[0].clone();
        let who = held.id.to_string();
        nurse.post(&action, &[("patient", &who), ("version", &version), ("slot", &slot)]).await.expect(303);
        let booked = app.next_review(held.id);
        assert_eq!(booked.status, "booked");
        let back = format!("/reviews/{}/unbook", booked.id);
        nurse.post(&back, &[("patient", &who), ("version", &booked.version.to_string())]).await.expect(303);
        let free = app.next_review(held.id);
        assert_eq!((free.status.as_str(), free.booked_on), ("proposed", None));
    }

    async fn ring_defer_assign_and_outcome_are_kept(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = overdue(&app, "Ashgrove", NHS[0], 9);
        nurse.get("/week").await;
        let version = |app: &TestApp| app.next_review(held.id).version.to_string();
        let at = |act: &str| format!("/reviews/{}/{act}", app.next_review(held.id).id);
        let who = held.id.to_string();

        nurse.post(&at("ring"), &[("patient", &who), ("version", &version(&app)), ("reached", "no"), ("note", "rang twice")]).await.expect(303);
        assert!(app.next_review(held.id).is_open());

        nurse.post(&at("defer"), &[("patient", &who), ("version", &version(&app)), ("until", "+2w"), ("reason", "")]).await.expect(409);
        nurse.post(&at("defer"), &[("patient", &who), ("version", &version(&app)), ("until", "yesterdayish"), ("reason", "away")]).await.expect(409);
        nurse.post(&at("defer"), &[("patient", &who), ("version", &version(&app)), ("until", "+2w"), ("reason", "away")]).await.expect(303);
        let deferred = app.next_review(held.id);
        assert!(deferred.planned_on >= app.today() + Duration::days(14));
        assert_eq!(deferred.deferred_reason.as_deref(), Some("away"));

        let staff = nurse.staff.unwrap().to_string();
        nurse.post(&at("assign"), &[("patient", &who), ("version", &version(&app)), ("to", &staff)]).await.expect(303);
        assert_eq!(app.next_review(held.id).assigned_to, nurse.staff);

        nurse.post(&at("outcome"), &[("patient", &who), ("version", &version(&app)), ("outcome", "cancelled")]).await.expect(409);
        nurse.post(&at("outcome"), &[("patient", &who), ("version", &version(&app)), ("outcome", "noshow")]).await.expect(303);
        // A missed review never vanishes: another is open, and the list says that one was missed.
        let next = app.next_review(held.id);
        assert_eq!(next.title, "Missed review");
        let page = nurse.get(&format!("/patients/{}", held.id)).await;
        assert!(page.words().contains("missed"), "{}", page.words());
        let page = nurse.get(&format!("/week?week={}", next.due_on())).await;
        assert!(page.words().contains("ASHGROVE"));
    }

    async fn an_act_on_an_old_page_changes_nothing(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = overdue(&app, "Ashgrove", NHS[0], 9);
        nurse.get("/week").await;
        let review = app.next_review(held.id);
        let at = format!("/reviews/{}/assign", review.id);
        let (who, version, colleague) = (held.id.to_string(), review.version.to_string(), nurse.staff.unwrap().to_string());
        let fields = |to| [("patient", who.as_str()), ("version", version.as_str()), ("to", to)];
        nurse.post(&at, &fields("")).await.expect(303);
        let before = app.next_review(held.id);
        let page = nurse.post(&at, &fields(&colleague)).await.expect(409);
        assert!(page.words().contains("Nothing was saved"));
        let ring = [("patient", who.as_str()), ("version", version.as_str()), ("reached", "no"), ("note", "Rang at noon")];
        let page = nurse.post(&format!("/reviews/{}/ring", review.id), &ring).await.expect(409);
        assert!(page.words().contains("You had typed: “Rang at noon”"), "{}", page.words());
        assert_eq!(app.next_review(held.id).version, before.version);
    }

    async fn a_patient_without_any_review_is_on_the_list(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Ashgrove", "Marion", NHS[0], 20);
        for review in app.reviews_of(held.id) {
            app.db_review(Review { status: "cancelled".into(), closed_reason: Some("by hand".into()), ..review });
        }
        let page = nurse.get("/week").await;
        assert!(page.words().contains("ASHGROVE") && page.words().contains("No review is planned"));
    }

    async fn a_clerk_sees_who_and_when_but_no_clinical_reason(app: TestApp) {
        let held = overdue(&app, "Ashgrove", NHS[0], 40);
        let clerk = app.as_role(Role::Clerk);
        let page = clerk.get("/week").await.expect(200);
        assert!(page.words().contains("ASHGROVE"));
        assert!(!page.words().contains("4 weeks or more"), "{}", page.words());
        let record = clerk.get(&format!("/patients/{}", held.id)).await.expect(200);
        assert!(!record.has("#h-skin") && !record.has("#h-supplies"));
        clerk.get(&format!("/patients/{}/skin", held.id)).await.expect(403);
    }

    async fn the_kept_row_is_what_the_facts_give(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = overdue(&app, "Ashgrove", NHS[0], 9);
        nurse.get("/week").await;
        let review = app.next_review(held.id);
        let form = [
            ("patient", held.id.to_string()),
            ("version", review.version.to_string()),
            ("until", "+3w".to_owned()),
            ("reason", "away".to_owned()),
        ];
        let form: Vec<(&str, &str)> = form.iter().map(|(n, v)| (*n, v.as_str())).collect();
        nurse.post(&format!("/reviews/{}/defer", review.id), &form).await.expect(303);
        let service = app.service_id;
        let fresh = app.read(move |conn| derive_row(conn, service, held.id));
        assert_eq!(app.week_row(held.id), fresh);
    }

    async fn a_week_to_come_shows_only_what_falls_into_it(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        overdue(&app, "Ashgrove", NHS[0], 9);
        let later = app.db_patient_with("Bellwether", "Marion", NHS[1], 10, |_, s| s.discharge_on = None);
        let due = app.next_review(later.id).due_on();
        let page = nurse.get(&format!("/week?week={due}")).await.expect(200);
        assert!(page.words().contains("BELLWETHER") && !page.words().contains("ASHGROVE"));
        assert!(nurse.get("/week?week=nonsense").await.status == 400);
    }
}
