//! Follow-up through HTTP on both databases: protocols that a service owns, changes shown before they are written, the
//! calendar, the daily task and the year ahead.

mod changes;
mod rolling;

use roundel::access::roles::Role;
use roundel::db::ids::PatientId;

use crate::both_backends;
use crate::support::{Client, Page, TestApp};

/// Copies a shipped protocol as the lead and answers the code of the copy.
async fn copied(lead: &Client, id: &str) -> String {
    lead.get("/protocols").await.expect(200);
    let made = lead.post(&format!("/protocols/{id}/copy"), &[]).await.expect(303).location().unwrap();
    made.trim_start_matches("/protocols/").trim_end_matches("/draft").to_owned()
}

/// The fields of a draft, to be changed and sent.
struct Draft(Vec<(String, String)>);

impl Draft {
    async fn open(lead: &Client, code: &str) -> Self {
        Self(lead.get(&format!("/protocols/{code}/draft")).await.expect(200).fields("form.sheet"))
    }

    /// Sets the nth field of a name.
    fn set(&mut self, name: &str, nth: usize, value: &str) {
        let field = self.0.iter_mut().filter(|(n, _)| n == name).nth(nth).expect("such a field");
        value.clone_into(&mut field.1);
    }

    async fn send(&self, lead: &Client, code: &str, act: &str) -> Page {
        let mut fields: Vec<(&str, &str)> = self.0.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
        fields.push(("act", act));
        lead.post(&format!("/protocols/{code}/draft"), &fields).await
    }
}

/// Puts the draft into force from a day.
async fn forced(lead: &Client, code: &str, from: &str) -> Page {
    let address = format!("/protocols/{code}/force");
    let page = lead.get(&address).await.expect(200);
    let (version, seal) = (page.value("version").unwrap(), page.value("seal").unwrap());
    lead.post(&address, &[("version", &version), ("seal", &seal), ("from", from)]).await
}

/// What stands in the box of a protocol's text, line by line.
fn typed(page: &Page) -> String {
    page.fields("main form").into_iter().find(|(name, _)| name == "text").expect("a text").1
}

/// Whose reviews the protocol's steps are, as (step, planned, protocol version).
fn plan(app: &TestApp, id: PatientId) -> Vec<(String, String, i32)> {
    let open = app.reviews_of(id).into_iter().filter(roundel::follow_up::store::Review::is_open);
    open.map(|r| (r.step.clone().unwrap_or_default(), r.planned_on.to_string(), r.protocol_version)).collect()
}

both_backends! {
    async fn a_protocol_is_copied_changed_compared_and_put_into_force(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        let code = copied(&lead, "dartford-gravesham").await;
        assert_eq!(code, "acute-trust-from-discharge-to-yearly-review-own-copy");
        // A draft plans nothing and is not to choose.
        let stoma_form = lead.get("/patients/new").await.words();
        assert!(!stoma_form.contains("own copy"));
        forced(&lead, &code, "today").await.expect(303);
        let chosen = lead.get("/patients/new").await.words();
        assert!(chosen.contains("own copy"), "a protocol in force can be chosen");
        let follows = code.clone();
        let held = app.db_patient_with("Thistlewood", "Marion", "999 000 0042", 10, move |_, s| s.protocol_id = follows);
        let before = plan(&app, held.id);
        assert!(before.iter().all(|(.., version)| *version == 1) && before.len() == 6, "{before:?}");
        // The next version: the first clinic after 4 weeks, one more call, nothing at six months.
        lead.get(&format!("/protocols/{code}")).await;
        lead.post(&format!("/protocols/{code}/draft"), &[("act", "open")]).await.expect(303);
        let mut draft = Draft::open(&lead, &code).await;
        draft.set("count", 1, "4");
        for (name, value) in [
            ("step_title", "Call"), ("mode", "phone"), ("shape", "window"), ("count", "2"), ("unit", "W"),
            ("anchor", "surgery"), ("to_count", "3"), ("to_unit", "W"),
        ] {
            draft.set(name, 5, value);
        }
        draft.0.push(("remove".to_owned(), "3".to_owned()));
        draft.send(&lead, &code, "save").await.expect(303);
        assert_eq!(plan(&app, held.id), before, "a draft plans nothing");
        let said = lead.get(&format!("/protocols/{code}/compare?from=1&to=2")).await.expect(200).words();
        assert!(said.contains("now due by 4 weeks after discharge (was by 6 weeks after discharge)"), "{said}");
        assert!(said.contains("New step “Call”: from 2 weeks to 3 weeks after surgery, by telephone"), "{said}");
        assert!(said.contains("Step “6 months” is left out"), "{said}");
        let page = lead.get(&format!("/protocols/{code}/force")).await.expect(200);
        assert!(page.words().contains("1 added; 1 moved; 1 closed"), "{}", page.words());
        assert_eq!(plan(&app, held.id), before, "looking changes nothing");
        forced(&lead, &code, "today").await.expect(303);
        let after = plan(&app, held.id);
        let of = |step: &str| after.iter().find(|(s, ..)| s == step);
        assert!(of("six-months").is_none());
        assert_eq!(of("call").map(|c| c.2), Some(2), "a review names the version that made it");
        assert_eq!(of("six-week-clinic").map(|c| c.2), Some(2));
        assert_eq!(of("three-months").map(|c| c.2), Some(1), "an untouched one names the one that made it");
        // The earlier version stays readable.
        let first = lead.get(&format!("/protocols/{code}?version=1")).await.expect(200).words();
        assert!(first.contains("was in force from") && first.contains("6 weeks after discharge"));
        // There is no draft any more.
        lead.get(&format!("/protocols/{code}/force")).await.expect(409);
    }

    async fn only_the_lead_puts_a_protocol_into_force(app: TestApp) {
        let (lead, nurse, clerk) = (app.as_role(Role::Lead), app.as_role(Role::Nurse), app.as_role(Role::Clerk));
        let code = copied(&nurse, "local-ileostomy").await;
        nurse.get(&format!("/protocols/{code}/draft")).await.expect(200);
        nurse.get(&format!("/protocols/{code}/force")).await.expect(403);
        nurse.post(&format!("/protocols/{code}/force"), &[("from", "today")]).await.expect(403);
        clerk.get(&format!("/protocols/{code}/draft")).await.expect(403);
        let page = lead.get(&format!("/protocols/{code}/force")).await.expect(200);
        let (version, seal) = (page.value("version").unwrap(), page.value("seal").unwrap());
        let early = [("version", version.as_str()), ("seal", seal.as_str()), ("from", "-1d")];
        let refused = lead.post(&format!("/protocols/{code}/force"), &early).await.expect(422);
        assert!(refused.words().contains("today or later"));
        // Another service neither sees nor changes it.
        let other = app.add_service("Elsewhere");
        let stranger = app.as_roles(other, &[Role::Lead]);
        stranger.get("/protocols").await;
        for part in ["", "/draft", "/text", "/compare", "/force"] {
            stranger.get(&format!("/protocols/{code}{part}")).await.expect(404);
        }
        stranger.post(&format!("/protocols/{code}/copy"), &[]).await.expect(404);
    }

    async fn wrong_rows_come_back_with_what_was_typed(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        let code = copied(&lead, "local-colostomy").await;
        let mut draft = Draft::open(&lead, &code).await;
        draft.set("title", 0, "");
        draft.set("count", 0, "soon");
        draft.set("to_count", 0, "1");
        draft.set("shape", 2, "");
        let page = draft.send(&lead, &code, "save").await.expect(422);
        let said = page.select_text("#error-summary li");
        assert!(said.iter().any(|s| s.contains("Enter the title")), "{said:?}");
        assert!(said.iter().any(|s| s.contains("Step 1: enter a whole number")), "{said:?}");
        assert!(said.iter().any(|s| s.contains("Step 3")), "{said:?}");
        assert_eq!(page.fields("form.sheet").iter().find(|(n, _)| n == "count").unwrap().1, "soon");
        for target in page.attributes("#error-summary a", "href") {
            assert!(page.has(&target), "the summary leads to nothing: {target}");
        }
        // A window that ends before it begins, and a second number for a deadline.
        let mut draft = Draft::open(&lead, &code).await;
        draft.set("to_count", 0, "1");
        draft.set("to_count", 1, "9");
        draft.set("to_unit", 1, "D");
        let said = draft.send(&lead, &code, "save").await.expect(422).select_text("#error-summary li");
        assert!(said.iter().any(|s| s.contains("ends (P1D) before it begins (P2D)")), "{said:?}");
        assert!(said.iter().any(|s| s.contains("is not for the shape by")), "{said:?}");
        // One more row keeps what was typed.
        let mut draft = Draft::open(&lead, &code).await;
        draft.set("title", 0, "Kept");
        let rows = draft.0.iter().filter(|(n, _)| n == "step_title").count();
        let more = draft.send(&lead, &code, "row").await.expect(200).fields("form.sheet");
        assert_eq!(more.iter().filter(|(n, _)| n == "step_title").count(), rows + 1);
        assert!(more.contains(&("title".to_owned(), "Kept".to_owned())));
    }

    async fn the_text_of_a_protocol_is_read_with_its_lines(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        let code = copied(&lead, "leeds-community").await;
        let page = lead.get(&format!("/protocols/{code}/text")).await.expect(200);
        let (version, text) = (page.value("version").unwrap(), typed(&page));
        assert!(text.contains("[[steps]]") && text.contains("from = \"P3D\""), "{text}");
        let address = format!("/protocols/{code}/text");
        let broken = text.replace("from = \"P3D\"", "from = \"P9D\"");
        let refused = lead.post(&address, &[("version", &version), ("text", &broken)]).await.expect(422);
        let said = refused.select_text("#error-summary li").join(" ");
        assert!(said.contains("Line ") && said.contains("before it begins"), "{said}");
        assert!(typed(&refused).contains("P9D"));
        let longer = text.replace("to = \"P5D\"", "to = \"P6D\"");
        lead.post(&address, &[("version", &version), ("text", &longer)]).await.expect(303);
        assert!(typed(&lead.get(&address).await).contains("P6D"));
        // Somebody else was quicker.
        lead.post(&address, &[("version", &version), ("text", &text)]).await.expect(409);
        // One that comes with the program is shown and not changed.
        let shipped = lead.get("/protocols/leeds-community/text").await.expect(200);
        assert!(shipped.value("version").is_none() && shipped.first("pre").contains("[[steps]]"));
        lead.post("/protocols/leeds-community/text", &[("version", "1"), ("text", &text)]).await.expect(409);
    }

    /// The database itself refuses to change what was in force.
    async fn a_version_in_force_is_never_changed(app: TestApp) {
        use diesel::prelude::*;
        let lead = app.as_role(Role::Lead);
        let code = copied(&lead, "bristol-yearly").await;
        forced(&lead, &code, "today").await.expect(303);
        let changed = diesel::sql_query("UPDATE protocol_versions SET number = 7").execute(&mut app.outside());
        assert!(changed.unwrap_err().to_string().contains("never changed"));
    }

    async fn the_page_of_a_protocol_shows_picture_and_table(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let page = nurse.get("/protocols/dartford-gravesham").await.expect(200);
        assert_eq!(page.select_text("svg.chart-picture").len(), 2);
        assert!(page.has("#steps table") && page.words().contains("12 months after surgery, then every 12 months"));
        nurse.get("/protocols/no-such-protocol").await.expect(404);
    }
}
