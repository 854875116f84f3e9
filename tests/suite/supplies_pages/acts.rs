//! What may be done with a list and what not: old pages, other records, withdrawn items, ended records; all of it logged.

use roundel::access::roles::Role;
use roundel::db::ids::PrescriptionId;

use super::{NHS, draft, id_of, send, sign, stocked};
use crate::both_backends;
use crate::support::{Client, Page, TestApp, raw};

/// Sends the signature's form as this page holds it.
async fn sign_from(who: &Client, page: &Page, list: &str) -> Page {
    let value =
        |name: &str| page.attributes(&format!("form[action='{list}/sign'] input[name='{name}']"), "value").remove(0);
    who.post(
        &format!("{list}/sign"),
        &[("patient", &value("patient")), ("version", &value("version")), ("seal", &value("seal"))],
    )
    .await
}

/// Stops a list, or throws a draft away, as this page offers it.
async fn stop_from(who: &Client, page: &Page, list: &str, reason: &str) -> Page {
    let value =
        |name: &str| page.attributes(&format!("form[action='{list}/stop'] input[name='{name}']"), "value").remove(0);
    let fields = [("patient", &*value("patient")), ("version", &*value("version")), ("reason", reason)];
    who.post(&format!("{list}/stop"), &fields).await
}

fn count(app: &TestApp, of: &str) -> i64 {
    raw::count(&mut app.outside(), of)
}

both_backends! {
    async fn each_act_is_in_the_log_and_names_the_patient(app: TestApp) {
        let (nurse, prescriber) = (app.as_role(Role::Nurse), app.as_role(Role::Prescriber));
        let items = stocked(&app);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let pouch = id_of(&items, "one-piece-drainable-flat-cut");
        let before = app.last_event();
        let first = draft(&nurse, &held, &[(&pouch, "1", "1", "")]).await;
        let form = nurse.get(&format!("/patients/{}/supplies", held.id)).await.expect(200);
        send(&nurse, &form, "save", &[(&pouch, "2", "1", "")]).await.expect(303);
        sign(&prescriber, &first).await.expect(303);
        prescriber.get(&format!("{first}/summary.pdf")).await.expect(200);
        let second = draft(&nurse, &held, &[(&pouch, "1", "1", "")]).await;
        let page = nurse.get(&format!("{second}/summary")).await.expect(200);
        stop_from(&nurse, &page, &second, "Not wanted after all").await.expect(303);
        let page = prescriber.get(&format!("{first}/summary")).await.expect(200);
        stop_from(&prescriber, &page, &first, "The stoma was reversed").await.expect(303);
        let events = app.events_after(before);
        let about: Vec<_> = events.iter().filter(|e| !app.subjects_of(e.seq).is_empty()).collect();
        assert!(about.iter().all(|e| app.subjects_of(e.seq) == [held.id]), "{about:?}");
        let told: Vec<String> = about.iter().filter(|e| e.action != "R").map(|e| format!("{} {}", e.action, e.what)).collect();
        let expected = [
            "C prescription.draft",
            "U prescription.draft",
            "U prescription.sign",
            "C prescription.draft",
            "U prescription.discard",
            "U prescription.stop",
        ];
        assert_eq!(told, expected);
        let read: Vec<&str> = about.iter().filter(|e| e.action == "R").map(|e| e.what.as_str()).collect();
        for what in ["patient.supplies", "prescription.summary", "prescription.pdf"] {
            assert!(read.contains(&what), "{what}: {read:?}");
        }
        for event in &events {
            let detail = event.detail.to_lowercase();
            assert!(!detail.contains("thistlewood") && !detail.contains("wanted") && !detail.contains("reversed"), "{detail}");
        }
    }

    async fn a_draft_that_is_thrown_away_is_not_supplied_from(app: TestApp) {
        let (nurse, prescriber) = (app.as_role(Role::Nurse), app.as_role(Role::Prescriber));
        let items = stocked(&app);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let pouch = id_of(&items, "one-piece-drainable-flat-cut");
        let list = draft(&nurse, &held, &[(&pouch, "1", "1", "")]).await;
        let old = prescriber.get(&format!("{list}/summary")).await.expect(200);
        let page = nurse.get(&format!("{list}/summary")).await.expect(200);
        let again = stop_from(&nurse, &page, &list, " ").await.expect(422);
        assert!(again.first("#error-summary").contains("why the draft is not needed"));
        stop_from(&nurse, &page, &list, "Entered for the wrong patient").await.expect(303);
        sign_from(&prescriber, &old, &list).await.expect(409);
        assert_eq!(count(&app, "prescriptions WHERE signed_at IS NOT NULL"), 0);
        let page = nurse.get(&format!("{list}/summary")).await.expect(200);
        assert!(page.first(".standfirst").contains("Draft thrown away"), "{}", page.first(".standfirst"));
        assert!(!page.has(&format!("form[action='{list}/stop']")));
        // The next draft has a number of its own.
        let next = draft(&nurse, &held, &[(&pouch, "1", "1", "")]).await;
        assert!(nurse.get(&format!("{next}/summary")).await.expect(200).heading().contains("version 2"));
    }

    async fn what_is_signed_is_what_was_seen(app: TestApp) {
        let (nurse, prescriber) = (app.as_role(Role::Nurse), app.as_role(Role::Prescriber));
        let items = stocked(&app);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let pouch = id_of(&items, "one-piece-drainable-flat-cut");
        let list = draft(&nurse, &held, &[(&pouch, "1", "1", "")]).await;
        // The draft is changed after the prescriber has looked at it.
        let old = prescriber.get(&format!("{list}/summary")).await.expect(200);
        let form = nurse.get(&format!("/patients/{}/supplies", held.id)).await.expect(200);
        send(&nurse, &form, "save", &[(&pouch, "9", "1", "")]).await.expect(303);
        sign_from(&prescriber, &old, &list).await.expect(409);
        // The quantity set is changed after they have looked: the verdict is another.
        let old = prescriber.get(&format!("{list}/summary")).await.expect(200);
        let set = raw::texts(&mut app.outside(), "SELECT quantity_set AS text FROM services").remove(0);
        let other = if set == "doncaster" { "scotland-2015" } else { "doncaster" };
        raw::touched(&mut app.outside(), &format!("UPDATE services SET quantity_set = '{other}'"));
        let answer = sign_from(&prescriber, &old, &list).await.expect(409);
        assert!(answer.words().contains("look at the checks, then sign"), "{}", answer.words());
        assert_eq!(count(&app, "prescriptions WHERE status = 'draft'"), 1);
        sign(&prescriber, &list).await.expect(303);
        // What was signed keeps the set it was checked against.
        raw::touched(&mut app.outside(), &format!("UPDATE services SET quantity_set = '{set}'"));
        let kept = raw::texts(&mut app.outside(), "SELECT quantity_set AS text FROM prescriptions");
        assert_eq!(kept, [other]);
    }

    async fn an_item_withdrawn_meanwhile_is_not_signed(app: TestApp) {
        let prescriber = app.as_role(Role::Prescriber);
        let items = stocked(&app);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let pouch = id_of(&items, "one-piece-drainable-flat-cut");
        let list = draft(&prescriber, &held, &[(&pouch, "1", "1", "")]).await;
        let item = format!("/catalogue/{pouch}");
        prescriber.post(&item, &[("act", "withdraw")]).await.expect(303);
        let answer = sign(&prescriber, &list).await.expect(409);
        assert!(answer.words().contains("No longer offered: "), "{}", answer.words());
        let form = prescriber.get(&format!("/patients/{}/supplies", held.id)).await.expect(200);
        assert!(form.first("select[name=item] option[selected]").contains("(no longer offered)"));
        let again = send(&prescriber, &form, "save", &[(&pouch, "1", "1", "")]).await.expect(422);
        assert!(again.first("#error-summary").contains("is no longer offered"));
        prescriber.post(&item, &[("act", "burn")]).await.expect(400);
        prescriber.post(&item, &[("act", "offer")]).await.expect(303);
        sign(&prescriber, &list).await.expect(303);
    }

    async fn a_draft_belongs_to_one_patient_and_one_stoma(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let items = stocked(&app);
        let (held, other) = (app.db_patient("Thistlewood", "Marion", NHS, 40), app.db_patient("Ashgrove", "Ivor", "999 000 0050", 40));
        let pouch = id_of(&items, "one-piece-drainable-flat-cut");
        let mine = draft(&nurse, &held, &[(&pouch, "1", "1", "")]).await;
        let mine = mine.trim_start_matches("/prescriptions/").to_owned();
        let path = format!("/patients/{}/supplies", other.id);
        nurse.get(&path).await.expect(200);
        let (own, stranger) = (other.stoma.to_string(), held.stoma.to_string());
        let fresh = PrescriptionId::new().to_string();
        let elsewhere = app.add_service("Another Service");
        let foreign = roundel::supplies::catalogue::starter_items(elsewhere, app.now());
        let copy = foreign.clone();
        app.write_as(&app.actor(elsewhere), move |tx| roundel::supplies::store::add_items(tx, &copy));
        let foreign = id_of(&foreign, "one-piece-drainable-flat-cut");
        // The other patient's draft, their stoma, another service's item.
        for (stoma, draft, item, status) in [
            (&own, &mine, &pouch, 404),
            (&stranger, &fresh, &pouch, 409),
            (&own, &fresh, &foreign, 422),
            (&own, &"none".to_owned(), &pouch, 404),
        ] {
            let fields = [
                ("stoma", stoma.as_str()), ("draft", draft), ("version", "1"), ("act", "save"), ("period", "28"),
                ("item", item), ("units", "1"), ("every", "1"), ("on_hand", ""), ("opening", ""), ("issue", "repeat"),
                ("reason", ""), ("review", ""),
            ];
            nurse.post(&path, &fields).await.expect(status);
        }
        assert_eq!(count(&app, "prescriptions"), 1);
        // Nor can a patient of this service be reached from another.
        let other_nurse = app.as_roles(elsewhere, &[Role::Nurse]);
        other_nurse.get(&path).await.expect(404);
        other_nurse.get("/week").await.expect(200);
        other_nurse.post(&path, &[("stoma", &own), ("act", "check")]).await.expect(404);
    }

    async fn a_record_that_has_ended_gets_no_list(app: TestApp) {
        let prescriber = app.as_role(Role::Prescriber);
        let items = stocked(&app);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let pouch = id_of(&items, "one-piece-drainable-flat-cut");
        let first = draft(&prescriber, &held, &[(&pouch, "1", "1", "")]).await;
        sign(&prescriber, &first).await.expect(303);
        let second = draft(&prescriber, &held, &[(&pouch, "2", "1", "")]).await;
        let (old, form) = (
            prescriber.get(&format!("{second}/summary")).await.expect(200),
            prescriber.get(&format!("/patients/{}/supplies", held.id)).await.expect(200),
        );
        let (service, id, today) = (app.service_id, held.id, app.today());
        app.write(move |tx| {
            let patient = roundel::patients::store::find(tx.conn(), service, id)?;
            let numbers = roundel::patients::store::identifiers_of(tx.conn(), service, id)?;
            let gone = roundel::patients::store::Patient { ended_reason: Some("died".to_owned()), ended_on: Some(today), ..patient };
            roundel::patients::store::replace(tx, gone, &numbers, None)
        });
        sign_from(&prescriber, &old, &second).await.expect(409);
        send(&prescriber, &form, "save", &[(&pouch, "3", "1", "")]).await.expect(409);
        let page = prescriber.get(&format!("/patients/{}/supplies", held.id)).await.expect(200);
        assert!(!page.has("form#draft"), "no form for a record that has ended");
        assert!(page.words().contains("still in force: stop it"), "{}", page.words());
        assert_eq!(count(&app, "prescriptions WHERE status = 'draft'"), 1);
        // What is in force can still be stopped.
        let page = prescriber.get(&format!("{first}/summary")).await.expect(200);
        stop_from(&prescriber, &page, &first, "The patient has died").await.expect(303);
    }

    async fn each_stoma_has_a_list_of_its_own(app: TestApp) {
        let prescriber = app.as_role(Role::Prescriber);
        let items = stocked(&app);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let mut second = app.read(|conn| roundel::stomas::store::find(conn, app.service_id, held.stoma));
        second.id = roundel::db::ids::StomaId::new();
        second.kind = "urostomy".to_owned();
        second.protocol_id = "cambridge-urostomy".to_owned();
        let stoma = second.id;
        app.write(move |tx| roundel::stomas::store::add(tx, &second));
        let path = format!("/patients/{}/supplies", held.id);
        assert!(!prescriber.get(&path).await.expect(200).has("form#draft"), "which stoma is chosen first");
        for (stoma, code) in [(held.stoma, "one-piece-drainable-flat-cut"), (stoma, "one-piece-urostomy-flat-cut")] {
            let form = prescriber.get(&format!("{path}?stoma={stoma}")).await.expect(200);
            let saved = send(&prescriber, &form, "save", &[(&id_of(&items, code), "1", "1", "")]).await.expect(303);
            let list = saved.location().unwrap().strip_suffix("/summary").unwrap().to_owned();
            sign(&prescriber, &list).await.expect(303);
        }
        assert_eq!(count(&app, "prescriptions WHERE status = 'signed'"), 2, "neither is superseded by the other");
        prescriber.get(&format!("{path}?stoma={}", roundel::db::ids::StomaId::new())).await.expect(404);
    }

    async fn who_may_only_look_is_given_no_form(app: TestApp) {
        let (nurse, assistant, clerk) = (app.as_role(Role::Nurse), app.as_role(Role::Assistant), app.as_role(Role::Clerk));
        let items = stocked(&app);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let pouch = id_of(&items, "one-piece-drainable-flat-cut");
        let list = draft(&nurse, &held, &[(&pouch, "1", "1", "")]).await;
        let path = format!("/patients/{}/supplies", held.id);
        let page = assistant.get(&path).await.expect(200);
        assert!(!page.has("form#draft") && page.words().contains("Version 1"));
        let page = assistant.get(&format!("{list}/summary")).await.expect(200);
        assert!(!page.has(&format!("form[action='{list}/sign']")) && !page.has(&format!("form[action='{list}/stop']")));
        assistant.post(&path, &[("act", "check")]).await.expect(403);
        assistant.post(&format!("{list}/stop"), &[("patient", &held.id.to_string()), ("version", "1"), ("reason", "Not wanted")]).await.expect(403);
        for address in [path, format!("{list}/summary"), format!("{list}/summary.pdf")] {
            clerk.get(&address).await.expect(403);
        }
    }

    async fn a_note_that_is_cleared_is_gone(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let items = stocked(&app);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let pouch = id_of(&items, "one-piece-drainable-flat-cut");
        draft(&nurse, &held, &[(&pouch, "1", "1", "")]).await;
        raw::touched(&mut app.outside(), "UPDATE prescriptions SET note = 'Leave it with the neighbour'");
        let form = nurse.get(&format!("/patients/{}/supplies", held.id)).await.expect(200);
        assert_eq!(form.value("note").as_deref(), Some("Leave it with the neighbour"));
        send(&nurse, &form, "save", &[(&pouch, "1", "1", "")]).await.expect(303);
        assert_eq!(count(&app, "prescriptions WHERE note IS NOT NULL"), 0);
    }
}
