//! The same form sent twice, one after the other and at once, makes one thing, and the second answers like the first.
//! Both databases. Acts of the list: `undo.rs`.

use futures_util::future::join_all;
use roundel::access::roles::Role;

use crate::both_backends;
use crate::support::{Client, Page, raw};

const NHS: &str = "999 000 0042";

/// Sends the same form four times at once and once more after; every answer is this.
async fn five_times(client: &Client, address: &str, fields: &[(&str, &str)], status: u16) -> Page {
    let mut answers = join_all((0..4).map(|_| client.post(address, fields))).await;
    answers.push(client.post(address, fields).await);
    let first = answers.remove(0).expect(status);
    for other in answers {
        let other = other.expect(status);
        assert_eq!(other.location(), first.location(), "{address}");
    }
    first
}

both_backends! {
    async fn a_registration(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let once = nurse.get("/patients/new").await.expect(200).value("once").unwrap();
        let fields = [
            ("once", once.as_str()),
            ("family_name", "Thistlewood"),
            ("given_name", "Marion"),
            ("born_day", "23"),
            ("born_month", "Aug"),
            ("born_year", "1951"),
            ("gender", "female"),
            ("nhs", NHS),
            ("sensitivity", "none-known"),
            ("kind", "ileostomy"),
            ("construction", "end"),
            ("permanence", "permanent"),
            ("surgery", "planned"),
            ("surgery_on", "today"),
            ("protocol", "dartford-gravesham"),
        ];
        let made = five_times(&nurse, "/patients/new", &fields, 303).await;
        assert!(made.location().unwrap().starts_with("/patients/"));
        assert_eq!(raw::count(&mut app.outside(), "patients"), 1);
        assert_eq!(raw::count(&mut app.outside(), "stomas"), 1);
        // The form without its id did not come from a page of ours.
        nurse.post("/patients/new", &fields[1..]).await.expect(400);
    }

    async fn another_stoma(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let address = format!("/patients/{}/stomas/new", held.id);
        let once = nurse.get(&address).await.expect(200).value("once").unwrap();
        let who = held.id.to_string();
        let fields = [
            ("once", once.as_str()),
            ("patient", who.as_str()),
            ("kind", "colostomy"),
            ("construction", "end"),
            ("permanence", "permanent"),
            ("surgery", "planned"),
            ("surgery_on", "yesterday"),
            ("protocol", "dartford-gravesham"),
        ];
        // A second stoma is shown with its reviews first; the form that confirms is the one that may be sent twice.
        let shown = nurse.post(&address, &fields).await.expect(200).fields("main form");
        let confirmed: Vec<(&str, &str)> = shown.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
        five_times(&nurse, &address, &confirmed, 303).await;
        assert_eq!(raw::count(&mut app.outside(), "stomas"), 2);
    }

    async fn a_contact(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 100);
        let address = format!("/patients/{}/contacts/new", held.id);
        let page = nurse.get(&address).await.expect(200);
        let (once, assessment, who) = (page.value("once").unwrap(), page.value("assessment").unwrap(), held.id.to_string());
        let fields = [
            ("patient", who.as_str()),
            ("once", &once),
            ("assessment", &assessment),
            ("mode", "clinic"),
            ("review", "no"),
            ("on", "today"),
            ("colour", "red"),
            ("skin_clear", "yes"),
            ("next", "planned"),
        ];
        five_times(&nurse, &address, &fields, 303).await;
        assert_eq!(raw::count(&mut app.outside(), "assessments"), 1);
        assert_eq!(raw::count(&mut app.outside(), "contacts"), 1);
    }

    async fn an_item_of_the_catalogue(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        let once = lead.get("/catalogue").await.expect(200).value("once").unwrap();
        let fields = [
            ("once", once.as_str()),
            ("category", "one-piece-drainable"),
            ("name", "One-piece drainable pouch, trial"),
            ("size", "15–45 mm"),
            ("pack", "20"),
            ("unit", "pouch"),
            ("convexity", "flat"),
            ("precut", "no"),
            ("latex", "no"),
            ("animal_derived", "ask"),
        ];
        let before = raw::count(&mut app.outside(), "catalogue_items");
        five_times(&lead, "/catalogue", &fields, 303).await;
        assert_eq!(raw::count(&mut app.outside(), "catalogue_items"), before + 1);
    }

    async fn a_member_of_staff_who_still_has_a_link_that_works(app: TestApp) {
        let administrator = app.as_role(Role::Administrator);
        let once = administrator.get("/staff").await.expect(200).value("once").unwrap();
        let fields =
            [("once", once.as_str()), ("name", "Robin Example"), ("sign_in_name", "robin@clinic.example"), ("roles", "nurse")];
        five_times(&administrator, "/staff", &fields, 200).await;
        let last = administrator.post("/staff", &fields).await.expect(200);
        assert_eq!(raw::count(&mut app.outside(), "staff WHERE sign_in_name = 'robin@clinic.example'"), 1);
        let link: String =
            last.text.split("/link/").nth(1).unwrap().chars().take_while(char::is_ascii_hexdigit).collect();
        app.anonymous().get(&format!("/link/{link}")).await.expect(200);
        assert_eq!(raw::count(&mut app.outside(), "sign_in_links WHERE used_at IS NULL"), 1);
    }
}
