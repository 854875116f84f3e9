//! Undo: what was done from the list goes back to what stood before, for the shift, for who did it, as long as nothing
//! else changed it; the log keeps both. Both databases.

use chrono::Duration;
use futures_util::future::join_all;
use roundel::access::roles::Role;
use roundel::follow_up::store::Review;

use crate::both_backends;
use crate::support::{Client, Page, Someone, TestApp, raw};

const NHS: &str = "999 000 0042";

fn overdue(app: &TestApp) -> Someone {
    let someone = app.db_patient_with("Ashgrove", "Marion", NHS, 60, |_, stoma| stoma.discharge_on = None);
    let review = app.next_review(someone.id);
    let day = app.today() - Duration::days(9);
    app.db_review(Review { planned_on: day, latest_on: day, nominal_on: day, by_hand: true, step: None, ..review });
    someone
}

/// A review without what counts on with every change.
fn facts(review: Review) -> Review {
    Review { version: 0, updated_at: review.created_at, ..review }
}

/// Does something to the patient's next review from the list; answers the address of Undo in the message.
async fn done(app: &TestApp, client: &Client, held: &Someone, what: &str, fields: &[(&str, &str)]) -> String {
    let review = app.next_review(held.id);
    client.get("/week").await.expect(200);
    let (who, version) = (held.id.to_string(), review.version.to_string());
    let mut all = vec![("patient", who.as_str()), ("version", version.as_str())];
    all.extend(fields);
    client.post(&format!("/reviews/{}/{what}", review.id), &all).await.expect(303);
    let page: Page = client.get("/week").await.expect(200);
    let to = page.attributes(".message form", "action");
    assert_eq!(to.len(), 1, "{what}: {}", page.first(".message"));
    to[0].clone()
}

both_backends! {
    async fn every_act_of_the_list_can_be_undone(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = overdue(&app);
        let page = nurse.get("/week").await;
        let slot = page.attributes("form.book input[name=slot]", "value")[0].clone();
        let me = nurse.staff.unwrap().to_string();
        let all = |app: &TestApp| app.reviews_of(held.id).into_iter().filter(Review::is_open).map(facts).collect::<Vec<_>>();
        let before = all(&app);
        for (what, fields) in [
            ("book", vec![("slot", slot.as_str())]),
            ("ring", vec![("reached", "no"), ("note", "no answer")]),
            ("defer", vec![("until", "+2w"), ("reason", "away")]),
            ("assign", vec![("to", me.as_str())]),
            ("outcome", vec![("outcome", "noshow")]),
            ("outcome", vec![("outcome", "fulfilled")]),
            ("outcome", vec![("outcome", "cancelled"), ("note", "not needed")]),
        ] {
            let undo = done(&app, &nurse, &held, what, &fields).await;
            let seq = app.last_event();
            nurse.post(&undo, &[]).await.expect(303);
            assert_eq!(all(&app), before, "{what} {fields:?}");
            let page = nurse.get("/week").await;
            assert!(page.first(".message").contains("undone") && !page.has(".message form"), "{}", page.first(".message"));
            assert!(app.events_after(seq).iter().any(|e| e.what == "review.undo" && e.outcome == "ok"));
            // A second press of Undo answers the same and does nothing.
            nurse.post(&undo, &[]).await.expect(303);
            assert_eq!(all(&app), before);
        }
        // What was noted with an act stays in the records and is shown no more; the log has act and undo.
        assert_eq!(raw::count(&mut app.outside(), "contacts"), 3);
        assert_eq!(raw::count(&mut app.outside(), "contacts WHERE undone_at IS NULL"), 0);
        let record = nurse.get(&format!("/patients/{}", held.id)).await;
        assert!(!record.words().contains("no answer"), "{}", record.words());
        let logged = app.events_after(0);
        assert_eq!(logged.iter().filter(|e| e.what == "contact.ring" && e.outcome == "ok").count(), 1);
    }

    async fn a_booking_taken_back_by_mistake_comes_back_unless_the_slot_is_gone(app: TestApp) {
        let clerk = app.as_role(Role::Clerk);
        let held = overdue(&app);
        let page = clerk.get("/week").await;
        let slot = page.attributes("form.book input[name=slot]", "value")[0].clone();
        done(&app, &clerk, &held, "book", &[("slot", &slot)]).await;
        let booked = app.next_review(held.id);
        let undo = done(&app, &clerk, &held, "unbook", &[]).await;
        assert_eq!(app.next_review(held.id).status, "proposed");
        clerk.post(&undo, &[]).await.expect(303);
        assert_eq!(facts(app.next_review(held.id)), facts(booked.clone()));
        let undo = done(&app, &clerk, &held, "unbook", &[]).await;
        let other = app.db_patient("Bellwether", "Marion", "999 000 0050", 60);
        let theirs = app.next_review(other.id);
        app.db_review(Review {
            status: "booked".into(),
            booked_on: booked.booked_on,
            booked_time: booked.booked_time.clone(),
            ..theirs
        });
        let page = clerk.post(&undo, &[]).await.expect(409);
        assert!(page.words().contains("given to somebody else"), "{}", page.words());
        assert_eq!(app.next_review(held.id).status, "proposed");
    }

    async fn undo_is_refused_to_others_after_a_change_and_after_the_shift(app: TestApp) {
        let (nurse, colleague) = (app.as_role(Role::Nurse), app.as_role(Role::Nurse));
        let held = overdue(&app);
        let me = nurse.staff.unwrap().to_string();
        let undo = done(&app, &nurse, &held, "assign", &[("to", &me)]).await;
        colleague.get("/week").await;
        colleague.post(&undo, &[]).await.expect(404);
        let stranger = app.as_roles(app.add_service("Another Service"), &[Role::Nurse]);
        stranger.get("/week").await;
        stranger.post(&undo, &[]).await.expect(404);
        nurse.post_only(&undo, &[]).await.expect(403);
        // A colleague defers it: there is nothing to go back to any more.
        let theirs = done(&app, &colleague, &held, "defer", &[("until", "+2w"), ("reason", "away")]).await;
        let page = nurse.post(&undo, &[]).await.expect(409);
        assert!(page.words().contains("changed again since"), "{}", page.words());
        assert_eq!(app.next_review(held.id).deferred_reason.as_deref(), Some("away"));
        app.wait(Duration::hours(12));
        app.set_today(app.today()); // open sessions stay open
        let late = colleague.post(&theirs, &[]).await.expect(409);
        assert!(late.words().contains("12 hours"), "{}", late.words());
    }

    async fn the_same_act_sent_twice_at_once_is_one(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = overdue(&app);
        nurse.get("/week").await;
        let review = app.next_review(held.id);
        let (who, version) = (held.id.to_string(), review.version.to_string());
        let fields = [("patient", who.as_str()), ("version", version.as_str()), ("reached", "no"), ("note", "")];
        let address = format!("/reviews/{}/ring", review.id);
        let answers = join_all((0..4).map(|_| nurse.post(&address, &fields))).await;
        assert!(answers.iter().all(|page| page.status == 303), "{answers:?}");
        assert_eq!(raw::count(&mut app.outside(), "contacts"), 1);
        // Rung again later with the same words, from a fresh page, is another call.
        let version = app.next_review(held.id).version.to_string();
        let fields = [("patient", who.as_str()), ("version", version.as_str()), ("reached", "no"), ("note", "")];
        nurse.post(&address, &fields).await.expect(303);
        assert_eq!(raw::count(&mut app.outside(), "contacts"), 2);
    }
}
