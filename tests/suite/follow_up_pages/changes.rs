//! A change of facts is shown with its effect on the reviews before anything is written.

use chrono::Duration;
use roundel::access::roles::Role;
use roundel::follow_up::store::Review;

use crate::both_backends;
use crate::support::{Client, Page, Someone, TestApp};

const NHS: &str = "999 000 0042";

/// The stoma's form with another date of surgery, everything else as it stands.
async fn stoma_form(nurse: &Client, held: &Someone, part: &str) -> Vec<(String, String)> {
    nurse.get(&format!("/patients/{}/stomas/{part}", held.id)).await.expect(200).fields("form.sheet")
}

fn with<'a>(fields: &'a [(String, String)], changes: &[(&'a str, &'a str)]) -> Vec<(&'a str, &'a str)> {
    let changed = |name: &str| changes.iter().find(|(n, _)| *n == name).map(|(_, value)| *value);
    let mut all: Vec<(&str, &str)> =
        fields.iter().map(|(n, v)| (n.as_str(), changed(n).unwrap_or(v.as_str()))).collect();
    // A question without an answer sends nothing, so its answer is added.
    all.extend(changes.iter().filter(|(n, _)| fields.iter().all(|(name, _)| name != n)));
    all
}

fn confirm(page: &Page, seal: Option<&str>) -> Vec<(String, String)> {
    let mut fields = page.fields("main form");
    if let Some(seal) = seal {
        fields.iter_mut().filter(|(n, _)| n == "seal").for_each(|(_, v)| seal.clone_into(v));
    }
    fields
}

fn slices(fields: &[(String, String)]) -> Vec<(&str, &str)> {
    fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect()
}

/// Every review with what may change in it.
fn rows(app: &TestApp, held: &Someone) -> Vec<String> {
    let line = |r: &Review| format!("{:?} {} {} {:?} v{}", r.step, r.planned_on, r.status, r.off_plan, r.version);
    app.reviews_of(held.id).iter().map(line).collect()
}

both_backends! {
    async fn a_corrected_date_is_shown_before_it_is_written(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 20);
        let of = |step: &str| app.reviews_of(held.id).into_iter().find(|r| r.step.as_deref() == Some(step)).unwrap();
        let booked = of("six-week-clinic");
        app.db_review(Review {
            status: "booked".into(),
            booked_on: Some(booked.planned_on),
            booked_time: Some("09:00".into()),
            ..booked
        });
        let before = rows(&app, &held);
        let address = format!("/patients/{}/stomas/{}", held.id, held.stoma);
        let form = stoma_form(&nurse, &held, &held.stoma.to_string()).await;
        let surgery = (app.today() - Duration::days(27)).format("%d/%m/%Y").to_string();
        let discharge = (app.today() - Duration::days(20)).format("%d/%m/%Y").to_string();
        let sent = with(&form, &[("surgery_on", &surgery), ("discharge_on", &discharge)]);
        let page = nurse.post(&address, &sent).await.expect(200);
        let words = page.words();
        for said in ["moved", "booked, off plan", "Nothing is saved yet", "3 months after surgery on"] {
            assert!(words.contains(said), "“{said}” is not in: {words}");
        }
        assert!(page.first("button.primary").contains("THISTLEWOOD"), "the button names the patient");
        assert_eq!(rows(&app, &held), before, "nothing is written before it is confirmed");
        // A seal of something else: it is shown again and nothing is written.
        let again = nurse.post_only(&address, &slices(&confirm(&page, Some("ff")))).await.expect(200);
        assert!(again.words().contains("The record changed since"));
        assert_eq!(rows(&app, &held), before);
        nurse.post_only(&address, &slices(&confirm(&page, None))).await.expect(303);
        let after = rows(&app, &held);
        assert_ne!(after, before);
        let kept = of("six-week-clinic");
        assert_eq!(kept.booked_on, Some(booked.planned_on), "a booked review is never moved");
        assert!(kept.off_plan.is_some_and(|why| why.contains("the plan now says")));
        // The list says so too.
        let week = app.week_row(held.id).unwrap();
        assert!(week.review_status.as_deref() != Some("booked") || week.off_plan.is_some());
        // Sent once more: the row has moved on. Brought in step once more: nothing changes.
        nurse.post_only(&address, &slices(&confirm(&page, None))).await.expect(409);
        let id = held.id;
        app.write(move |tx| {
            tx.touch(id);
            Ok(())
        });
        assert_eq!(rows(&app, &held), after, "applying again changed something");
    }

    /// A date that is now in the past is due now, not overdue by months.
    async fn a_review_whose_new_date_has_passed_is_due_now(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient_with("Thistlewood", "Marion", NHS, 20, |_, s| s.discharge_on = None);
        let form = stoma_form(&nurse, &held, &held.stoma.to_string()).await;
        let surgery = (app.today() - Duration::days(170)).format("%d/%m/%Y").to_string();
        let address = format!("/patients/{}/stomas/{}", held.id, held.stoma);
        nurse.post_confirmed(&address, &with(&form, &[("surgery_on", &surgery)])).await.expect(303);
        let three = app.reviews_of(held.id).into_iter().find(|r| r.step.as_deref() == Some("three-months")).unwrap();
        assert_eq!(three.planned_on, app.today());
        let row = app.week_row(held.id).unwrap();
        assert_eq!((row.due_on, row.latest_on), (Some(app.today()), Some(app.today())));
        let week = nurse.get("/week").await.expect(200).words();
        assert!(week.contains("THISTLEWOOD") && !week.contains("past its last date"), "{week}");
        app.set_today(app.today() + Duration::days(2));
        let week = nurse.get("/week").await.expect(200).words();
        assert!(week.contains("2 days past its last date"), "from then on it is overdue: {week}");
    }

    async fn an_end_shows_what_it_closes(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let address = format!("/patients/{}/end", held.id);
        let version = nurse.get(&address).await.value("version").unwrap();
        let who = held.id.to_string();
        let sent = [("patient", who.as_str()), ("version", &version), ("reason", "died"), ("on", "today")];
        let page = nurse.post(&address, &sent).await.expect(200);
        assert!(page.words().contains("the patient died on 25-Nov-2026"), "{}", page.words());
        assert!(app.reviews_of(held.id).iter().any(Review::is_open), "closed before it was confirmed");
        nurse.post_only(&address, &slices(&confirm(&page, None))).await.expect(303);
        assert!(app.reviews_of(held.id).iter().all(|r| !r.is_open()));
        assert!(app.reviews_of(held.id).iter().all(|r| r.closed_reason.is_some()), "each closed one has a reason");
    }

    async fn a_refashioned_stoma_begins_anew_and_the_old_one_stays(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 300);
        let part = format!("{}/refashion", held.stoma);
        let form = stoma_form(&nurse, &held, &part).await;
        let address = format!("/patients/{}/stomas/{part}", held.id);
        let answers = [("kind", "ileostomy"), ("construction", "end"), ("permanence", "permanent"), ("surgery", "planned")];
        let refused = nurse.post(&address, &with(&form, &answers)).await.expect(422);
        assert!(refused.words().contains("Enter the date of the operation"));
        let on = (app.today() - Duration::days(3)).format("%d/%m/%Y").to_string();
        let mut sent = answers.to_vec();
        sent.push(("surgery_on", &on));
        nurse.post_confirmed(&address, &with(&form, &sent)).await.expect(303);
        let (service, id) = (app.service_id, held.id);
        let stomas = app.read(move |conn| roundel::stomas::store::of_patient(conn, service, id));
        let (new, old) = (&stomas[0], &stomas[1]);
        assert_eq!((old.id, old.refashioned_as, old.reversed_on), (held.stoma, Some(new.id), new.surgery_on));
        let reviews = app.reviews_of(held.id);
        let open: Vec<_> = reviews.iter().filter(|r| r.is_open()).map(|r| r.stoma_id).collect();
        assert!(!open.is_empty() && open.iter().all(|s| *s == Some(new.id)), "only the new episode plans");
        let closed = reviews.iter().find(|r| r.stoma_id == Some(old.id) && r.status == "cancelled").unwrap();
        assert!(closed.closed_reason.as_deref().unwrap().contains("the stoma was refashioned on"));
        assert!(nurse.get(&format!("/patients/{id}")).await.words().contains("Refashioned"));
        nurse.get(&address).await.expect(409);
    }

    async fn a_second_stoma_is_shown_and_visits_are_offered_as_one(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let form = stoma_form(&nurse, &held, "new").await;
        let on = (app.today() - Duration::days(33)).format("%d/%m/%Y").to_string();
        let sent = with(&form, &[
            ("kind", "urostomy"), ("construction", "end"), ("permanence", "permanent"), ("surgery", "planned"),
            ("surgery_on", &on), ("protocol", "dartford-gravesham"),
        ]);
        let address = format!("/patients/{}/stomas/new", held.id);
        let page = nurse.post(&address, &sent).await.expect(200);
        assert!(page.words().contains("added"), "{}", page.words());
        nurse.post_only(&address, &slices(&confirm(&page, None))).await.expect(303);
        let follow_up = format!("/patients/{}/follow-up", held.id);
        let page = nurse.get(&follow_up).await.expect(200);
        assert!(page.words().contains("One visit for two stomas"), "{}", page.words());
        let offer = page.fields("form[action$=together]");
        nurse.post_only(&format!("{follow_up}/together"), &slices(&offer)).await.expect(303);
        let value = |name: &str| offer.iter().find(|(n, _)| n == name).unwrap().1.clone();
        let of = |id: String| app.reviews_of(held.id).into_iter().find(|r| r.id.to_string() == id).unwrap();
        let (keep, bring) = (of(value("keep")), of(value("bring")));
        assert_eq!(keep.planned_on, bring.planned_on);
        assert_ne!(keep.stoma_id, bring.stoma_id);
        let reasons: Vec<String> = bring.reasons.read().unwrap();
        assert!(reasons.last().unwrap().contains("together with"), "{reasons:?}");
        // It stays there when the plan is made anew, and the form sent again is refused.
        let (id, day) = (held.id, bring.planned_on);
        app.write(move |tx| {
            tx.touch(id);
            Ok(())
        });
        assert_eq!(of(value("bring")).planned_on, day);
        nurse.post_only(&format!("{follow_up}/together"), &slices(&offer)).await.expect(409);
    }

    async fn the_timeline_tells_the_same_as_its_table(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 60);
        let page = nurse.get(&format!("/patients/{}/follow-up", held.id)).await.expect(200);
        let marks = page.select_text("#timeline svg use title");
        assert!(marks.iter().any(|m| m.contains("3 months")), "{marks:?}");
        let table = page.first("#timeline table");
        for said in ["Surgery", "Discharge", "3 months"] {
            assert!(table.contains(said), "{table}");
        }
        assert!(page.words().contains("dartford-gravesham, version 1"), "a review names the version that made it");
    }
}
