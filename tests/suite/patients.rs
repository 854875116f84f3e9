//! Registering, searching, correcting and ending a record, through HTTP on both databases.

use chrono::Duration;
use roundel::access::roles::Role;
use roundel::db::schema::record_versions;

use crate::both_backends;
use crate::support::{Page, raw};
use diesel::prelude::*;

/// Of the range that is never issued (python-stdnum and nhs-number agree on the check digit).
const NHS: &str = "999 000 0042";

fn registration<'a>(family: &'a str, given: &'a str, nhs: &'a str, surgery: &'a str) -> Vec<(&'a str, &'a str)> {
    vec![
        ("family_name", family),
        ("given_name", given),
        ("born_day", "23"),
        ("born_month", "Aug"),
        ("born_year", "1951"),
        ("gender", "female"),
        ("nhs", nhs),
        ("sensitivity", "none-known"),
        ("kind", "ileostomy"),
        ("construction", "end"),
        ("permanence", "permanent"),
        ("surgery", "planned"),
        ("surgery_on", surgery),
        ("protocol", "dartford-gravesham"),
    ]
}

fn with<'a>(mut fields: Vec<(&'a str, &'a str)>, name: &'a str, value: &'a str) -> Vec<(&'a str, &'a str)> {
    fields.retain(|(n, _)| *n != name);
    fields.push((name, value));
    fields
}

fn summary(page: &Page) -> Vec<String> {
    page.select_text("#error-summary li")
}

both_backends! {
    async fn a_registered_patient_has_a_banner_and_planned_reviews(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        nurse.get("/patients/new").await.expect(200);
        let made = nurse.post("/patients/new", &registration("Thistlewood", "Marion", NHS, "today")).await.expect(303);
        let page = nurse.follow(&made.location().unwrap()).await.expect(200);
        // ISB 1505 and 1506: family name in capitals, born dd-Mmm-yyyy, NHS number 3-3-4.
        assert!(page.first(".patient-name").contains("THISTLEWOOD, Marion"));
        let ids = page.first(".patient-ids");
        assert!(ids.contains("23-Aug-1951") && ids.contains("999 000 0042") && ids.contains("Female"), "{ids}");
        assert!(page.first(".avoid").contains("None known"));
        assert!(page.first(".message").contains("registered"));
        // Without a discharge date the early steps wait, the later ones are planned from the surgery.
        assert!(page.words().contains("3 months after surgery"));
        let plan = nurse.get(&format!("{}/follow-up", page.path)).await.expect(200);
        assert!(plan.words().contains("the date of discharge is not known"), "{}", plan.words());
    }

    async fn a_wrong_form_comes_back_with_what_was_typed(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        nurse.get("/patients/new").await;
        let mut form = registration("", "Marion", "999 000 0043", "31/2/2026");
        form = with(form, "born_year", "2051");
        form = with(form, "gender", "");
        form = with(form, "kind", "");
        let page = nurse.post("/patients/new", &form).await.expect(422);
        let wrong = summary(&page).join(" | ");
        for words in ["family name", "gender", "kind of stoma", "31/2/2026"] {
            assert!(wrong.contains(words), "{words} is not in: {wrong}");
        }
        assert_eq!(page.value("given_name").as_deref(), Some("Marion"));
        assert_eq!(page.value("nhs").as_deref(), Some("999 000 0043"));
        assert!(page.has("[aria-invalid=true]"));
        assert!(page.first("title").starts_with("Error: "));
        // Each entry leads to an element of the page.
        for target in page.attributes("#error-summary a", "href") {
            assert!(page.has(&format!("[id=\"{}\"]", target.trim_start_matches('#'))), "{target} leads nowhere");
        }
        let mut conn = app.outside();
        assert_eq!(raw::count(&mut conn, "patients"), 0, "a refused form wrote something");
    }

    async fn a_likely_duplicate_is_shown_before_anything_is_written(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        nurse.get("/patients/new").await;
        // The same name and birth date under another number.
        let form = registration("Thistlewood", "Marion", "999 000 0050", "today");
        let page = nurse.post("/patients/new", &form).await.expect(422);
        assert!(page.attributes("a", "href").contains(&format!("/patients/{}", held.id)));
        assert!(page.words().contains("The same name and the same birth date"));
        let form = with(form, "not_a_duplicate", "yes");
        nurse.post("/patients/new", &form).await.expect(303);
        // The same number is never taken twice, whatever is ticked.
        nurse.get("/patients/new").await;
        let again = with(with(form, "nhs", NHS), "family_name", "Otherwise");
        let page = nurse.post("/patients/new", &again).await.expect(422);
        assert!(summary(&page).join(" ").contains("has this number"));
        assert_eq!(raw::count(&mut app.outside(), "patients"), 2);
    }

    async fn a_search_finds_name_number_and_birth_date_and_no_other_service(app: TestApp) {
        let clerk = app.as_role(Role::Clerk);
        app.db_patient("Żukowicz", "Zoë", NHS, 40);
        app.db_patient("Penhallow", "Zoë", "999 000 0050", 40);
        for (typed, found) in [
            ("zukow", vec!["ŻUKOWICZ"]),
            ("zoe zuk", vec!["ŻUKOWICZ"]),
            ("penhallow zoe", vec!["PENHALLOW"]),
            ("999 000 0042", vec!["ŻUKOWICZ"]),
            ("9990000050", vec!["PENHALLOW"]),
            ("23/8/1951", vec!["PENHALLOW", "ŻUKOWICZ"]),
            ("23 Aug 1951", vec!["PENHALLOW", "ŻUKOWICZ"]),
            ("howe", vec![]),
        ] {
            clerk.get("/patients").await;
            let sent = clerk.post("/patients/search", &[("q", typed)]).await.expect(303);
            // Nothing of what was typed stands in an address.
            assert_eq!(sent.location().as_deref(), Some("/patients"));
            let page = clerk.get("/patients").await.expect(200);
            let names = page.select_text(".row-name");
            assert_eq!(names.len(), found.len(), "{typed}: {names:?}");
            for word in found {
                assert!(names.iter().any(|n| n.contains(word)), "{typed}: {names:?}");
            }
            assert!(!page.has(".patient"), "a list of patients has no banner (UK display standard)");
        }
        let elsewhere = app.add_service("Another Service");
        let stranger = app.as_roles(elsewhere, &[Role::Nurse]);
        stranger.get("/patients").await;
        stranger.post("/patients/search", &[("q", "zoe")]).await;
        assert!(stranger.get("/patients").await.select_text(".row-name").is_empty());
    }

    async fn another_services_record_is_not_there(app: TestApp) {
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let review = app.next_review(held.id);
        let elsewhere = app.add_service("Another Service");
        let stranger = app.as_roles(elsewhere, &[Role::Nurse, Role::Prescriber, Role::Lead]);
        stranger.get("/week").await;
        for part in ["", "/edit", "/end", "/stomas/new", "/contacts/new", "/skin", "/follow-up", "/supplies", "/access"] {
            let page = stranger.get(&format!("/patients/{}{part}", held.id)).await.expect(404);
            assert!(!page.text.contains("THISTLEWOOD"), "{part}");
        }
        let version = review.version.to_string();
        let form = [("version", version.as_str()), ("reached", "yes")];
        stranger.post(&format!("/reviews/{}/ring", review.id), &form).await.expect(404);
    }

    async fn a_correction_keeps_what_was_there_and_refuses_an_old_page(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let address = format!("/patients/{}/edit", held.id);
        let form = nurse.get(&address).await.expect(200);
        let (version, patient) = (form.value("version").unwrap(), held.id.to_string());
        let fields = [
            ("patient", patient.as_str()),
            ("version", version.as_str()),
            ("family_name", "Thistlewood-Hart"),
            ("given_name", "Marion"),
            ("born_day", "23"),
            ("born_month", "8"),
            ("born_year", "1951"),
            ("gender", "female"),
            ("nhs", NHS),
            ("sensitivity", "known"),
            ("sensitivity_note", "Latex"),
        ];
        nurse.post(&address, &fields).await.expect(303);
        assert!(nurse.get(&format!("/patients/{}", held.id)).await.first(".avoid").contains("Latex"));
        // The page that was opened before the change is refused and writes nothing; what was typed comes back beside what
        // stands now, and can then be saved knowingly.
        let mut late = fields;
        late[10] = ("sensitivity_note", "Latex and zinc");
        let page = nurse.post(&address, &late).await.expect(409);
        assert!(summary(&page).join(" ").contains("Somebody else changed this record"));
        let compared = page.first("section.check");
        assert!(compared.contains("Latex and zinc") && compared.contains("In the record now"), "{compared}");
        assert_eq!(page.value("sensitivity_note").as_deref(), Some("Latex and zinc"));
        assert_ne!(page.value("version").unwrap(), version);
        // The form of another patient's page is refused.
        let other = app.db_patient("Bellwether", "Marion", "999 000 0050", 40);
        let page = nurse.post(&format!("/patients/{}/edit", other.id), &fields).await.expect(409);
        assert!(page.words().contains("another patient's page"));
        let kept: i64 = app.read(|conn| Ok(record_versions::table.count().get_result(conn)?));
        assert_eq!(kept, 1);
    }

    async fn an_ended_record_leaves_the_list_and_can_be_opened_again(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        assert!(app.week_row(held.id).is_some());
        let (address, who) = (format!("/patients/{}/end", held.id), held.id.to_string());
        let version = nurse.get(&address).await.value("version").unwrap();
        let page = nurse.post(&address, &[("patient", &who), ("version", &version), ("reason", "died"), ("on", "+1d")]).await.expect(422);
        assert!(summary(&page).join(" ").contains("today or in the past"));
        nurse.post_confirmed(&address, &[("patient", &who), ("version", &version), ("reason", "died"), ("on", "today")]).await.expect(303);
        let page = nurse.get(&format!("/patients/{}", held.id)).await;
        assert!(page.has(".patient.died") && page.first(".patient-ids").contains("Died"));
        assert!(app.week_row(held.id).is_none());
        assert!(app.reviews_of(held.id).iter().all(|r| !r.is_open()), "a review stayed open after a death");
        let version = nurse.get(&address).await.value("version").unwrap();
        nurse.post(&address, &[("patient", &who), ("version", &version), ("why", "")]).await.expect(422);
        nurse.post(&address, &[("patient", &who), ("version", &version), ("why", "entered for the wrong patient")]).await.expect(303);
        assert!(app.week_row(held.id).is_some());
        assert!(app.reviews_of(held.id).iter().any(roundel::follow_up::store::Review::is_open));
    }

    async fn reviews_follow_a_corrected_date_and_a_booked_one_is_only_marked(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 20);
        let before = app.reviews_of(held.id);
        let booked = before.iter().find(|r| r.step.as_deref() == Some("three-months")).unwrap().clone();
        app.db_review(roundel::follow_up::store::Review {
            status: "booked".into(),
            booked_on: Some(booked.planned_on),
            booked_time: Some("09:00".into()),
            ..booked.clone()
        });
        let address = format!("/patients/{}/stomas/{}", held.id, held.stoma);
        let form = nurse.get(&address).await.expect(200);
        let (version, patient) = (form.value("version").unwrap(), held.id.to_string());
        let corrected = (app.today() - Duration::days(50)).format("%d/%m/%Y").to_string();
        let fields = [
            ("version", version.as_str()),
            ("patient", patient.as_str()),
            ("kind", "ileostomy"),
            ("construction", "end"),
            ("permanence", "permanent"),
            ("surgery", "planned"),
            ("surgery_on", corrected.as_str()),
            ("protocol", "dartford-gravesham"),
        ];
        nurse.post_confirmed(&address, &fields).await.expect(303);
        let after = app.reviews_of(held.id);
        let of = |step: &str| after.iter().find(|r| r.step.as_deref() == Some(step) && r.is_open()).unwrap();
        assert!(of("three-months").off_plan.is_some(), "a booked review is marked, not moved");
        assert_eq!(of("three-months").booked_on, Some(booked.planned_on));
        let six = before.iter().find(|r| r.step.as_deref() == Some("six-months")).unwrap();
        assert!(of("six-months").planned_on < six.planned_on, "a planned review follows the date");
        // Two tabs: the form of another patient's page is refused.
        let other = app.db_patient("Penhallow", "Gwen", "999 000 0050", 40);
        let stranger = other.id.to_string();
        let mixed: Vec<(&str, &str)> =
            fields.iter().map(|(n, v)| if *n == "patient" { (*n, stranger.as_str()) } else { (*n, *v) }).collect();
        nurse.post(&address, &mixed).await.expect(409);
    }

    async fn every_view_of_a_patient_is_in_the_log(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 49);
        for part in ["", "/edit", "/end", "/stomas/new", "/contacts/new", "/skin", "/follow-up", "/supplies", "/access"] {
            let before = app.last_event();
            nurse.get(&format!("/patients/{}{part}", held.id)).await.expect(200);
            let events = app.events_after(before);
            let about = events.iter().filter(|e| app.subjects_of(e.seq).contains(&held.id)).count();
            assert_eq!(about, 1, "{part}: {events:?}");
        }
        let before = app.last_event();
        nurse.get("/week").await.expect(200);
        let events = app.events_after(before);
        assert!(events.iter().any(|e| app.subjects_of(e.seq).contains(&held.id)), "a list counts as seen");
        let auditor = app.as_role(Role::Auditor);
        let page = auditor.get(&format!("/patients/{}/access", held.id)).await.expect(200);
        assert!(page.words().contains("Nurse") && page.words().contains("week, list"));
    }
}
