//! Setting a service up and changing its facts, through HTTP on both databases.

use roundel::access::roles::Role;
use roundel::access::{places, setup, store};
use roundel::db::ids::{PatientId, ServiceId};
use roundel::follow_up::rules::shipped_by_id;
use roundel::skin::rules::bands;

use crate::both_backends;
use crate::support::app::PASSWORD;
use crate::support::{Page, TestApp};

/// A service as `roundel staff add` makes it: nothing in it but one person.
fn new_service(app: &TestApp) -> ServiceId {
    let service = store::new_service("Harbourside Stoma Care", "england", false, app.now());
    let id = service.id;
    app.write_as(&app.actor(id), move |tx| store::add_service(tx, &service));
    id
}

fn service(app: &TestApp, id: ServiceId) -> store::Service {
    app.read(move |conn| store::service(conn, id))
}

fn summary(page: &Page) -> String {
    page.select_text("#error-summary li").join(" | ")
}

fn standing(page: &Page) -> Vec<String> {
    page.select_text(".side-head .tag")
}

const FACTS: [(&str, &str); 6] = [
    ("name", "Harbourside Stoma Care"),
    ("phone", "01632 960 001"),
    ("nation", "wales"),
    ("opens", "9.00"),
    ("closes", "12:00"),
    ("slot", "20"),
];

fn facts<'a>(version: &'a str, change: &[(&'a str, &'a str)]) -> Vec<(&'a str, &'a str)> {
    let mut fields: Vec<(&str, &str)> = FACTS.to_vec();
    fields.retain(|(name, _)| !change.iter().any(|(other, _)| other == name));
    fields.extend_from_slice(change);
    fields.push(("version", version));
    fields
}

both_backends! {
    async fn the_first_person_of_an_empty_service_is_led_through_the_steps(app: TestApp) {
        let id = new_service(&app);
        let person = app.db_person(id, &[Role::Administrator, Role::Lead]);
        let nobody = app.anonymous();
        let signed = nobody.post_only("/sign-in", &[("user", &person.sign_in_name), ("password", PASSWORD)]).await.expect(303);
        assert_eq!(signed.location().as_deref(), Some("/welcome"));
        let me = nobody;
        let page = me.get("/welcome").await.expect(200);
        assert!(page.words().contains("0 of 7 steps are done; 7 are left."), "{}", page.words());
        assert_eq!(standing(&page), ["left to do"; 7]);
        // Each choice shows what holds meanwhile, with its source and standing.
        let protocol = shipped_by_id("dartford-gravesham").unwrap();
        assert!(page.words().contains(&protocol.source) && page.words().contains(protocol.standing.words()));
        assert!(page.words().contains(&*bands::set("a").unwrap().source.source), "{}", page.words());

        // Facts, a site, protocols, quantities, bands: after each back to the steps.
        let form = me.get("/service").await.expect(200);
        let version = form.value("version").unwrap();
        let saved = me.post("/service", &facts(&version, &[])).await.expect(303);
        assert_eq!(saved.location().as_deref(), Some("/welcome"));
        me.post("/service/sites", &[("name", "  Marlow   Road Clinic ")]).await.expect(303);
        let form = me.get("/service/protocols").await.expect(200);
        assert!(!form.has("input[type=radio][checked]"), "nothing is chosen before somebody chose");
        let version = form.value("version").unwrap();
        let chosen = [("version", version.as_str()), ("colostomy", "local-colostomy"), ("ileostomy", "local-ileostomy"), ("urostomy", "local-urostomy")];
        me.post("/service/protocols", &chosen).await.expect(303);
        assert_eq!(me.post("/quantities", &[("set", "doncaster")]).await.expect(303).location().as_deref(), Some("/welcome"));
        let form = me.get("/service/bands").await.expect(200);
        assert!(!form.has("input[type=radio][checked]"));
        let version = form.value("version").unwrap();
        me.post("/service/bands", &[("version", &version), ("set", "b")]).await.expect(303);
        let page = me.get("/welcome").await.expect(200);
        assert_eq!(standing(&page), ["done", "done", "done", "done", "done", "left to do", "left to do"]);
        assert!(page.words().contains("Marlow Road Clinic"));
        // What is chosen stands in the records, and in the log by codes.
        let of = service(&app, id);
        assert_eq!((of.nation.as_str(), of.clinic_opens.as_str(), of.slot_minutes), ("wales", "09:00", 20));
        assert_eq!((of.protocol_colostomy.as_str(), of.band_set.as_str(), of.quantity_set.as_str()), ("local-colostomy", "b", "doncaster"));
        let events = app.events_after(0);
        let of = |what: &str| events.iter().find(|e| e.what == what && e.action == "U").unwrap_or_else(|| panic!("{what}"));
        assert!(of("service.facts").detail.contains("phone+nation+clinic"), "{}", of("service.facts").detail);
        assert!(of("service.protocols").detail.contains("local-ileostomy") && of("service.bands").detail.contains("\"b\""));
        assert!(events.iter().all(|e| !e.detail.contains("Marlow") && !e.detail.contains("960")), "a name or number in the log");

        // A colleague and a patient: all done. Put away, it is no longer the first page, and can be taken out again.
        app.db_person(id, &[Role::Nurse]);
        let mut there = roundel::patients::store::new_patient(id, "Thistlewood", "Marion", app.now());
        there.born_on = chrono::NaiveDate::from_ymd_opt(1951, 8, 23);
        app.write_as(&app.actor(id), move |tx| roundel::patients::store::add(tx, there, &[]));
        let page = me.get("/welcome").await.expect(200);
        assert!(page.words().contains("All 7 steps are done."), "{}", page.words());
        me.post("/welcome", &[("act", "put-away")]).await.expect(303);
        assert_eq!(me.get("/").await.expect(303).location().as_deref(), Some("/week"));
        assert!(me.get("/welcome").await.expect(200).words().contains("put away"));
        me.post("/welcome", &[("act", "take-out")]).await.expect(303);
        assert_eq!(me.get("/").await.expect(303).location().as_deref(), Some("/welcome"));
        me.post("/welcome", &[("act", "other")]).await.expect(400);
    }

    async fn a_step_may_be_left_out_and_a_nurse_is_not_led_there(app: TestApp) {
        let id = new_service(&app);
        let nurse = app.as_roles(id, &[Role::Nurse]);
        assert_eq!(nurse.get("/").await.expect(303).location().as_deref(), Some("/week"));
        let lead = app.as_roles(id, &[Role::Lead]);
        lead.get("/welcome").await.expect(200);
        lead.post("/welcome", &[("act", "put-away")]).await.expect(303);
        assert!(app.read(move |conn| setup::is_put_away(conn, id)));
        assert_eq!(lead.get("/").await.expect(303).location().as_deref(), Some("/week"));
        // An administrator sees the steps, and who does those that are not theirs.
        let administrator = app.as_roles(id, &[Role::Administrator]);
        let page = administrator.get("/welcome").await.expect(200);
        assert!(page.words().contains("The lead nurse does this."));
        assert_eq!(page.attributes(".side-body .button", "href"), ["/staff"]);
        let page = administrator.get("/service").await.expect(200);
        assert!(!page.has("main form"), "an administrator changes no fact of the service");
        administrator.post("/service", &facts("1", &[])).await.expect(403);
        assert_eq!(service(&app, id).nation, "england");
    }

    async fn wrong_facts_come_back_with_what_was_typed_and_nothing_is_saved(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        let version = lead.get("/service").await.expect(200).value("version").unwrap();
        let long = "x".repeat(81);
        for (field, typed, says) in [
            ("name", "   ", "Enter the name of the service"),
            ("name", long.as_str(), "Shorten the name"),
            ("nation", "france", "Choose the nation"),
            ("opens", "early", "when the first slot begins"),
            ("closes", "25:00", "when the last slot ends"),
            ("closes", "9:10", "at least one slot after it begins"),
            ("closes", "8:00", "at least one slot after it begins"),
            ("slot", "4", "from 5 to 240"),
            ("slot", "half an hour", "from 5 to 240"),
        ] {
            let page = lead.post("/service", &facts(&version, &[(field, typed)])).await.expect(422);
            assert!(summary(&page).contains(says), "{field} {typed}: {}", summary(&page));
            if field != "nation" {
                assert_eq!(page.value(field).as_deref(), Some(typed));
            }
            for target in page.attributes("#error-summary a", "href") {
                assert!(page.has(&format!("[id=\"{}\"]", target.trim_start_matches('#'))), "{target} leads nowhere");
            }
        }
        assert_eq!(service(&app, app.service_id).clinic_opens, "09:00");
        assert_eq!(service(&app, app.service_id).version, 1);
        // Two people at once: the page that was opened before the change is refused.
        lead.post("/service", &facts(&version, &[])).await.expect(303);
        lead.post("/service", &facts(&version, &[("name", "Another")])).await.expect(409);
        assert_eq!(service(&app, app.service_id).name, "Harbourside Stoma Care");
        // The new hours are what the week offers.
        app.db_patient("Thistlewood", "Marion", "999 000 0042", 90);
        let times: Vec<String> = lead.get("/week").await.expect(200).attributes("[name=slot]", "value");
        assert!(!times.is_empty() && times.iter().all(|t| t.ends_with("0") && !t.ends_with(":30")), "{times:?}");
        assert!(times.iter().all(|t| ["T09", "T10", "T11"].iter().any(|hour| t.contains(hour))), "{times:?}");
    }

    async fn sites_are_added_renamed_closed_and_opened_and_none_of_another_service(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        lead.get("/service").await.expect(200);
        for name in ["Marlow Road Clinic", "Harbour Hospital"] {
            lead.post("/service/sites", &[("name", name)]).await.expect(303);
        }
        for (typed, says) in [("", "Enter the name of the site"), ("marlow road CLINIC", "has this name")] {
            let page = lead.post("/service/sites", &[("name", typed)]).await.expect(422);
            assert!(summary(&page).contains(says), "{}", summary(&page));
            assert!(page.has("#new_site[aria-invalid=true]"));
        }
        let id = app.service_id;
        let site = app.read(move |conn| places::of_service(conn, id)).into_iter().find(|s| s.name.starts_with("Marlow")).unwrap();
        let path = format!("/service/sites/{}", site.id);
        let page = lead.post(&path, &[("act", "rename"), ("name", "Harbour hospital")]).await.expect(422);
        assert!(page.has(&format!("[id=\"site-{}\"][aria-invalid=true]", site.id)), "{}", page.text);
        lead.post(&path, &[("act", "rename"), ("name", "Marlow Road Health Centre")]).await.expect(303);
        lead.post(&path, &[("act", "close")]).await.expect(303);
        let page = lead.get("/service").await.expect(200);
        assert!(page.words().contains("Marlow Road Health Centre Closed since 25-Nov-2026"), "{}", page.words());
        lead.post(&path, &[("act", "open")]).await.expect(303);
        lead.post(&path, &[("act", "remove")]).await.expect(400);
        let site = app.read(move |conn| places::find(conn, id, site.id));
        assert_eq!((site.name.as_str(), site.closed_at), ("Marlow Road Health Centre", None));
        let elsewhere = app.add_service("Another Service");
        let stranger = app.as_roles(elsewhere, &[Role::Lead]);
        let page = stranger.get("/service").await.expect(200);
        assert!(!page.text.contains("Marlow"));
        for act in ["rename", "close", "open"] {
            stranger.post(&path, &[("act", act), ("name", "Taken")]).await.expect(404);
        }
        // The same name in another service is no conflict.
        stranger.post("/service/sites", &[("name", "Harbour Hospital")]).await.expect(303);
    }

    async fn a_protocol_counts_from_now_on_and_moves_nothing(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        let held = app.db_patient("Thistlewood", "Marion", "999 000 0042", 40);
        let before = app.reviews_of(held.id);
        let form = lead.get("/service/protocols").await.expect(200);
        // Said before it is done.
        assert!(form.words().contains("stomas recorded already (0 colostomies, 1 ileostomy, 0 urostomies) keep the protocol"), "{}", form.words());
        let version = form.value("version").unwrap();
        // A protocol that plans nothing for the kind is not offered, and refused.
        assert!(!form.has("input[name=colostomy][value=cambridge-urostomy]"));
        let wrong = [("version", version.as_str()), ("colostomy", "cambridge-urostomy"), ("ileostomy", "nothing"), ("urostomy", "")];
        let page = lead.post("/service/protocols", &wrong).await.expect(422);
        assert_eq!(page.select_text("#error-summary li").len(), 3, "{}", summary(&page));
        let chosen = [("version", version.as_str()), ("colostomy", "local-colostomy"), ("ileostomy", "local-ileostomy"), ("urostomy", "cambridge-urostomy")];
        lead.post("/service/protocols", &chosen).await.expect(303);
        let after = app.reviews_of(held.id);
        assert_eq!(before.len(), after.len());
        for (a, b) in before.iter().zip(&after) {
            assert_eq!((a.id, a.planned_on, &a.status, a.version), (b.id, b.planned_on, &b.status, b.version));
        }
        // A stoma recorded now follows the protocol of its kind, without anybody choosing it.
        lead.get("/patients/new").await.expect(200);
        let form = [
            ("family_name", "Penhallow"), ("given_name", "Gwen"), ("gender", "female"), ("nhs", "999 000 0050"),
            ("sensitivity", "none-known"), ("kind", "urostomy"), ("construction", "end"), ("permanence", "permanent"),
            ("surgery", "planned"), ("surgery_on", "today"), ("protocol", "usual"),
        ];
        let made = lead.post("/patients/new", &form).await.expect(303).location().unwrap();
        let id: PatientId = made.trim_start_matches("/patients/").parse().unwrap();
        let stomas = app.read(|conn| roundel::stomas::store::of_patient(conn, app.service_id, id));
        assert_eq!(stomas[0].protocol_id, "cambridge-urostomy");
    }
}
