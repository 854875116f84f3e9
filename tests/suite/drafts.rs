//! Drafts: what was typed is kept for its author alone, comes back, and goes when the form is saved; a form that arrives
//! at a locked screen is kept and not committed. Both databases.

use chrono::Duration;
use reqwest::Method;
use reqwest::header::ACCEPT;
use roundel::access::roles::Role;
use roundel::config::IDLE_MINUTES;

use crate::both_backends;
use crate::support::app::PASSWORD;
use crate::support::client::form;
use crate::support::{Client, Page, TestApp, raw};

const NHS: &str = "999 000 0042";

/// Sends a form as the script does: no page is asked for.
async fn by_script(client: &Client, fields: &[(&str, &str)]) -> Page {
    let token = client.token().unwrap_or_default();
    let mut all = fields.to_vec();
    all.push(("csrf", &token));
    client.send(form(client.request(Method::POST, "/drafts").header(ACCEPT, "text/plain"), &all)).await
}

fn drafts(app: &TestApp) -> i64 {
    raw::count(&mut app.outside(), "drafts")
}

both_backends! {
    async fn what_was_typed_is_kept_comes_back_and_goes_when_it_is_signed(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 100);
        let place = format!("/patients/{}/contacts/new", held.id);
        let page = nurse.get(&place).await.expect(200);
        assert!(!page.has(".restored"), "nothing was typed yet");
        assert_eq!(page.value("draft_at").as_deref(), Some(place.as_str()));
        let (once, assessment) = (page.value("once").unwrap(), page.value("assessment").unwrap());
        let id = held.id.to_string();
        let mut typed = vec![
            ("draft_at", place.as_str()),
            ("patient", &id),
            ("once", &once),
            ("assessment", &assessment),
            ("mode", "phone"),
            ("told", "Sleeps badly since the <change>"),
            ("also", "fever"),
            ("also", "vomiting"),
        ];
        let seq = app.last_event();
        let kept = by_script(&nurse, &typed).await.expect(200);
        assert_eq!(kept.text, "Draft saved 10:42");
        assert_eq!(kept.header("content-type"), Some("text/plain; charset=utf-8"));
        // Every time is in the log, with the patient and without a word of what was typed.
        let events = app.events_after(seq);
        assert_eq!(events.iter().map(|e| e.what.as_str()).collect::<Vec<_>>(), ["draft"]);
        assert!(events[0].detail.contains("contact") && !events[0].detail.contains("Sleeps"), "{}", events[0].detail);
        assert_eq!(app.subjects_of(events[0].seq), [held.id]);
        app.wait(Duration::minutes(3));
        typed[5] = ("told", "Sleeps better");
        assert_eq!(by_script(&nurse, &typed).await.expect(200).text, "Draft saved 10:45");
        assert_eq!(drafts(&app), 1, "one draft of a form");
        // It comes back, visibly, and reading it is in the log.
        let seq = app.last_event();
        let page = nurse.get(&place).await.expect(200);
        assert!(page.first(".restored").contains("Wed 25-Nov-2026 at 10:45"), "{}", page.first(".restored"));
        assert!(page.text.contains("Sleeps better") && !page.text.contains("Sleeps badly"));
        assert!(page.has("input[name=also][value=fever][checked]") && page.has("input[name=also][value=vomiting][checked]"));
        assert!(page.has("input[name=mode][value=phone][checked]"));
        assert_eq!(page.value("once").as_deref(), Some(once.as_str()), "it is the same form");
        assert!(app.events_after(seq).iter().any(|e| e.what == "contact.new" && e.detail.contains("draft")));
        // Signed: the draft goes in the same transaction, and a late save of the script brings nothing back.
        let mut signed = typed.clone();
        signed.extend([("review", "no"), ("on", "today"), ("colour", "red"), ("skin_clear", "yes"), ("next", "planned")]);
        signed.retain(|(name, _)| *name != "also");
        nurse.post(&place, &signed).await.expect(303);
        assert_eq!(raw::count(&mut app.outside(), "assessments"), 1);
        assert_eq!(drafts(&app), 0);
        assert_eq!(by_script(&nurse, &typed).await.expect(200).text, "This form was saved already");
        assert_eq!(drafts(&app), 0);
    }

    async fn without_script_a_button_keeps_it_and_a_button_throws_it_away(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let page = nurse.get("/patients/new").await.expect(200);
        assert!(page.has("button[name=later][formaction='/drafts']"), "Save and finish later");
        let typed = [("draft_at", "/patients/new"), ("family_name", "Thistlewood"), ("kind", "colostomy"), ("later", "yes")];
        let to = nurse.post("/drafts", &typed).await.expect(303).location().unwrap();
        assert!(nurse.get(&to).await.expect(200).first(".message").contains("is kept for 7 days"));
        let page = nurse.get("/patients/new").await.expect(200);
        assert_eq!(page.value("family_name").as_deref(), Some("Thistlewood"));
        assert!(page.has("input[name=kind][value=colostomy][checked]"));
        assert!(page.has("form[action='/drafts/discard'] button"));
        nurse.post("/drafts/discard", &[("draft_at", "/patients/new")]).await.expect(303);
        let page = nurse.get("/patients/new").await.expect(200);
        assert_eq!(page.value("family_name").as_deref(), Some(""));
        assert!(!page.has(".restored"));
    }

    async fn every_long_form_keeps_one_draft_of_its_own(app: TestApp) {
        let nurse = app.as_roles(app.service_id, &[Role::Nurse, Role::Prescriber]);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 100);
        let (id, stoma) = (held.id, held.stoma);
        for (page, field) in [
            (format!("/patients/{id}/contacts/new"), "plan"),
            (format!("/patients/{id}/edit"), "phone"),
            (format!("/patients/{id}/stomas/new"), "protrusion_mm"),
            (format!("/patients/{id}/stomas/{stoma}"), "protrusion_mm"),
            (format!("/patients/{id}/supplies"), "note"),
        ] {
            let place = nurse.get(&page).await.expect(200).value("draft_at").unwrap_or_default();
            assert!(place.starts_with(&page), "{page} keeps no draft");
            by_script(&nurse, &[("draft_at", &place), (field, "17 of them")]).await.expect(200);
            let again = nurse.get(&page).await.expect(200);
            assert!(again.text.contains("17 of them") && again.has(".restored"), "{page}: {}", again.words());
        }
        assert_eq!(drafts(&app), 5);
    }

    async fn a_draft_is_its_authors_alone(app: TestApp) {
        let (nurse, colleague) = (app.as_role(Role::Nurse), app.as_role(Role::Nurse));
        let held = app.db_patient("Thistlewood", "Marion", NHS, 100);
        let place = format!("/patients/{}/edit", held.id);
        nurse.get(&place).await;
        by_script(&nurse, &[("draft_at", &place), ("phone", "01632 960999")]).await.expect(200);
        let theirs = colleague.get(&place).await.expect(200);
        assert!(!theirs.text.contains("01632 960999") && !theirs.has(".restored"));
        // Throwing away takes one's own only; another service reaches neither the patient nor the draft.
        colleague.post("/drafts/discard", &[("draft_at", &place)]).await.expect(303);
        assert_eq!(drafts(&app), 1);
        let elsewhere = app.add_service("Another Service");
        let stranger = app.as_roles(elsewhere, &[Role::Nurse]);
        stranger.get("/account").await;
        by_script(&stranger, &[("draft_at", &place), ("phone", "01632 960000")]).await.expect(404);
        // Who may not save the form keeps no draft of it.
        let auditor = app.as_role(Role::Auditor);
        auditor.get("/account").await;
        by_script(&auditor, &[("draft_at", &place), ("phone", "01632 960000")]).await.expect(403);
        for wrong in ["", "/week", "https://elsewhere.example/patients/new", "/patients/new?next=/"] {
            by_script(&nurse, &[("draft_at", wrong)]).await.expect(404);
        }
        let bare = nurse.request(Method::POST, "/drafts").header(ACCEPT, "text/plain");
        nurse.send(form(bare, &[("draft_at", &place), ("csrf", "made up")])).await.expect(403);
        assert_eq!(drafts(&app), 1);
    }

    async fn drafts_past_their_time_go(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        nurse.get("/patients/new").await;
        by_script(&nurse, &[("draft_at", "/patients/new"), ("family_name", "Old")]).await.expect(200);
        // A day later it is there (WCAG 2.2, 2.2.6: more than 20 hours); past the week it is not.
        app.set_today(app.today() + Duration::days(1));
        assert_eq!(nurse.get("/patients/new").await.value("family_name").as_deref(), Some("Old"));
        app.set_today(app.today() + Duration::days(8));
        let held = app.db_patient("Thistlewood", "Marion", NHS, 100);
        let place = format!("/patients/{}/edit", held.id);
        nurse.get(&place).await;
        by_script(&nurse, &[("draft_at", &place), ("phone", "01632 960999")]).await.expect(200);
        assert_eq!(raw::count(&mut app.outside(), "drafts WHERE place = '/patients/new'"), 0);
    }

    async fn a_form_that_comes_to_a_locked_screen_is_kept_and_not_saved(app: TestApp) {
        let person = app.db_person(app.service_id, &[Role::Nurse]);
        let nurse = app.db_session(app.service_id, &person);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 100);
        let place = format!("/patients/{}/edit", held.id);
        let page = nurse.get(&place).await.expect(200);
        let (version, id) = (page.value("version").unwrap(), held.id.to_string());
        let fields = [
            ("patient", id.as_str()),
            ("version", &version),
            ("family_name", "Thistlewood"),
            ("phone", "01632 960999"),
            ("gender", "female"),
            ("sensitivity", "none-known"),
            ("draft_at", &place),
        ];
        app.wait(Duration::minutes(IDLE_MINUTES + 1));
        let seq = app.last_event();
        let to = nurse.post(&place, &fields).await.expect(303).location().unwrap();
        assert!(to.starts_with("/sign-in?") && to.contains("kept=true"), "{to}");
        let event = app.events_after(seq).pop().unwrap();
        assert_eq!((event.what.as_str(), event.staff_id), ("draft", Some(person.id)));
        let (service, who) = (app.service_id, held.id);
        let stands = app.read(move |conn| roundel::patients::store::find(conn, service, who)).phone;
        assert_eq!(stands.as_deref(), Some("01632 960123"), "nothing was committed");
        // The sign-in page says who was here, asks for the password only, and offers somebody else.
        let page = nurse.get(&to).await.expect(200);
        assert!(page.words().contains(&format!("{} was signed in here", person.name)), "{}", page.words());
        assert!(page.words().contains("What was typed is kept"));
        assert!(page.has("input[type=hidden][name=user]") && !page.has("input[type=text][name=user]"));
        assert!(page.words().contains("Sign in as somebody else"));
        let next = page.value("next").unwrap();
        assert_eq!(next, place);
        let user = page.value("user").unwrap();
        // A wrong password comes back to the same page.
        let wrong = nurse.post("/sign-in", &[("user", &user), ("password", "no"), ("next", &next), ("kept", "true")]).await;
        let wrong = wrong.expect(422);
        assert!(wrong.words().contains("was signed in here") && wrong.words().contains("What was typed is kept"));
        let back = nurse.post("/sign-in", &[("user", &user), ("password", PASSWORD), ("next", &next)]).await.expect(303);
        assert_eq!(back.location().as_deref(), Some(place.as_str()));
        let page = nurse.get(&place).await.expect(200);
        assert!(page.has(".restored"));
        assert_eq!(page.value("phone").as_deref(), Some("01632 960999"));
    }

    async fn at_a_locked_screen_only_its_own_form_is_kept(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let place = "/patients/new";
        nurse.get(place).await.expect(200);
        app.wait(Duration::minutes(IDLE_MINUTES + 1));
        let token = nurse.token().unwrap();
        let fields = [("draft_at", place), ("family_name", "Planted"), ("csrf", "made up")];
        nurse.post_only(place, &fields).await.expect(401); // not that session's token
        app.anonymous().post_only(place, &[("draft_at", place), ("csrf", &token)]).await.expect(401);
        nurse.post("/reviews/00000000-0000-7000-8000-000000000000/book", &[("version", "1")]).await.expect(401);
        assert_eq!(drafts(&app), 0);
        // Whoever lost access keeps nothing either.
        let staff = nurse.staff.unwrap();
        let service = app.service_id;
        app.write(move |tx| roundel::access::store::set_access(tx, service, staff, false));
        nurse.post(place, &[("draft_at", place), ("family_name", "Late")]).await.expect(401);
        assert_eq!(drafts(&app), 0);
        // A day later nobody can say any more whose screen it was.
        let other = app.as_role(Role::Nurse);
        other.get(place).await;
        app.wait(Duration::hours(25));
        other.post(place, &[("draft_at", place), ("family_name", "Late")]).await.expect(401);
        assert_eq!(drafts(&app), 0);
    }

    async fn a_form_opened_before_signing_in_again_comes_back_filled(app: TestApp) {
        let person = app.db_person(app.service_id, &[Role::Nurse]);
        let nurse = app.db_session(app.service_id, &person);
        nurse.get("/patients/new").await.expect(200);
        let old = nurse.token().unwrap();
        app.wait(Duration::minutes(IDLE_MINUTES + 1));
        // In another window the same person signs in: the cookie is new, the old page's token is not.
        nurse.post("/sign-in", &[("user", &person.sign_in_name), ("password", PASSWORD)]).await.expect(303);
        let fields = [("draft_at", "/patients/new"), ("family_name", "Thistlewood"), ("csrf", old.as_str())];
        let to = nurse.post("/patients/new", &fields).await.expect(303).location().unwrap();
        assert_eq!(to, "/patients/new");
        let page = nurse.get(&to).await.expect(200);
        assert_eq!(page.value("family_name").as_deref(), Some("Thistlewood"));
        assert!(page.words().contains("opened before you signed in again"));
        assert_eq!(raw::count(&mut app.outside(), "patients"), 0);
        // The script of the old page is answered as ever.
        let old = form(nurse.request(Method::POST, "/drafts").header(ACCEPT, "text/plain"), &fields);
        assert!(nurse.send(old).await.expect(200).text.starts_with("Draft saved"));
        // Another's token is not: their page in this browser is refused, and their draft stays theirs.
        let colleague = app.as_role(Role::Nurse);
        colleague.get("/patients/new").await;
        let theirs = colleague.token().unwrap();
        let fields = [("draft_at", "/patients/new"), ("family_name", "Quillfeather"), ("csrf", theirs.as_str())];
        nurse.post("/patients/new", &fields).await.expect(403);
        assert!(!nurse.get("/patients/new").await.text.contains("Quillfeather"));
    }

    async fn the_countdown_asks_without_lengthening_and_staying_lengthens(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        nurse.get("/account").await.expect(200);
        app.wait(Duration::minutes(IDLE_MINUTES - 2));
        let left = nurse.get("/session").await.expect(200).text;
        assert_eq!(left, r#"{"left":120,"more":true}"#);
        assert_eq!(nurse.get("/session").await.expect(200).text, left, "asking does not lengthen");
        assert_eq!(nurse.post("/session", &[]).await.expect(200).text, r#"{"left":900,"more":true}"#);
        app.wait(Duration::minutes(IDLE_MINUTES - 1));
        assert_eq!(nurse.get("/session").await.expect(200).text, r#"{"left":60,"more":true}"#);
        app.wait(Duration::minutes(2));
        nurse.get("/session").await.expect(303);
        nurse.post("/session", &[]).await.expect(401);
    }
}
