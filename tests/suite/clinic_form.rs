//! The skin assessment in clinic: scored by the engine, checked, signed, amended, never overwritten. Both databases.

use roundel::access::roles::Role;
use roundel::skin::rules::RULE_VERSION;
use roundel::skin::store::{self as skin, AssessmentRow};

use crate::both_backends;
use crate::support::{Client, Page, Someone, TestApp};

const NHS: &str = "999 000 0042";

fn assessments(app: &TestApp, of: &Someone) -> Vec<AssessmentRow> {
    let (service, id) = (app.service_id, of.id);
    app.read(move |conn| skin::of_patient(conn, service, id, true))
}

/// The hidden fields of the form, as a browser sends them.
fn hidden(page: &Page) -> Vec<(String, String)> {
    ["patient", "once", "assessment", "amends", "base", "checked"]
        .into_iter()
        .map(|name| (name.to_owned(), page.value(name).unwrap_or_default()))
        .collect()
}

async fn send(client: &Client, of: &Someone, hidden: &[(String, String)], fields: &[(&str, &str)]) -> Page {
    let mut all: Vec<(&str, &str)> = hidden.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    all.extend(fields);
    client.post(&format!("/patients/{}/contacts/new", of.id), &all).await
}

const CLEAR: [(&str, &str); 6] = [
    ("mode", "clinic"),
    ("review", "no"),
    ("on", "today"),
    ("colour", "red"),
    ("skin_clear", "yes"),
    ("next", "planned"),
];

const SORE: [(&str, &str); 16] = [
    ("mode", "clinic"),
    ("review", "no"),
    ("on", "today"),
    ("leaks", "5"),
    ("pain", "6"),
    ("colour", "red"),
    ("skin_clear", "no"),
    // The reference vector of discolouration 2+2 and erosion 1+2: score 7 (areas and severities by the published sheet).
    ("discolouration_area", "2"),
    ("discolouration_severity", "2"),
    ("erosion_area", "1"),
    ("erosion_severity", "2"),
    ("overgrowth_area", "0"),
    ("itch", "4"),
    ("cause", "output-on-skin"),
    ("plan", "Opening cut anew."),
    ("next", "proposed"),
];

both_backends! {
    async fn clear_skin_is_signed_at_once(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 100);
        let page = nurse.get(&format!("/patients/{}/contacts/new", held.id)).await.expect(200);
        assert!(!page.has("input[name=skin_clear][checked]"), "nothing clinical is chosen beforehand");
        assert!(!page.has("input[name=colour][checked]"));
        send(&nurse, &held, &hidden(&page), &CLEAR).await.expect(303);
        let kept = assessments(&app, &held);
        assert_eq!(kept.len(), 1);
        assert_eq!((kept[0].score, kept[0].status.as_str()), (0, "signed"));
        assert_eq!(kept[0].rule_version, RULE_VERSION);
        assert_eq!(kept[0].signed_by, nurse.staff.unwrap());
        // The same form again makes no second one.
        send(&nurse, &held, &hidden(&page), &CLEAR).await.expect(303);
        assert_eq!(assessments(&app, &held).len(), 1);
    }

    async fn sore_skin_is_scored_shown_and_then_signed(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 100);
        let page = nurse.get(&format!("/patients/{}/contacts/new", held.id)).await;
        let check = send(&nurse, &held, &hidden(&page), &SORE).await.expect(200);
        assert!(check.words().contains("Check before you sign") && check.words().contains("Score 7 of 15"));
        // The two sets disagree at 7 and both are shown with their standing.
        assert!(check.words().contains("Set a: severe") && check.words().contains("Set b: moderate"), "{}", check.words());
        assert!(check.words().contains("from memory, to be confirmed"));
        assert!(check.words().contains("Proposed:"));
        assert!(assessments(&app, &held).is_empty(), "checking writes nothing");
        // Signing something else than was shown asks for the check again.
        let mut other = SORE;
        other[4] = ("pain", "2");
        let again = send(&nurse, &held, &hidden(&check), &other).await.expect(200);
        assert!(again.words().contains("Check before you sign"));
        send(&nurse, &held, &hidden(&check), &SORE).await.expect(303);
        let kept = assessments(&app, &held);
        assert_eq!((kept[0].score, kept[0].discolouration, kept[0].erosion, kept[0].overgrowth), (7, 4, 3, 0));
        assert_eq!(kept[0].band, "severe");
        let next = app.next_review(held.id);
        assert_eq!(next.title, "Review after assessment");
        let row = app.week_row(held.id).unwrap();
        assert_eq!((row.last_score, row.urgent), (Some(7), true));
        let week = nurse.get("/week").await;
        assert!(week.words().contains("THISTLEWOOD") && week.words().contains("7 of 15"));
    }

    async fn a_red_flag_says_what_to_do(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 10);
        let page = nurse.get(&format!("/patients/{}/contacts/new", held.id)).await;
        let mut dusky = CLEAR;
        dusky[3] = ("colour", "dusky");
        let check = send(&nurse, &held, &hidden(&page), &dusky).await.expect(200);
        assert!(check.words().contains("Asks for attention"));
        assert!(check.words().contains("follow your local escalation policy"));
        // It interrupts once: without an answer nothing is signed, and an override needs a reason.
        assert!(check.words().contains("Red flag: stop and decide"));
        assert!(!check.has("input[name=red_flag][checked]"), "no answer is chosen beforehand");
        let back = send(&nurse, &held, &hidden(&check), &dusky).await.expect(422);
        assert!(back.words().contains("Say what happens with the red flag"));
        let mut answered: Vec<(&str, &str)> = dusky.to_vec();
        answered.push(("red_flag", "overruled"));
        let back = send(&nurse, &held, &hidden(&back), &answered).await.expect(422);
        assert!(back.words().contains("Write why the red flag is not acted on"));
        assert!(assessments(&app, &held).is_empty());
        answered.push(("red_flag_reason", "Known to the surgeon since the morning"));
        send(&nurse, &held, &hidden(&back), &answered).await.expect(303);
        let (service, id) = (app.service_id, held.id);
        let flags = app.read(move |conn| skin::red_flags_of(conn, service, id));
        assert_eq!(flags.len(), 1);
        assert_eq!((flags[0].rule.as_str(), flags[0].answer.as_str()), ("colour-dusky", "overruled"));
        assert_eq!(flags[0].reason.as_deref(), Some("Known to the surgeon since the morning"));
        assert_eq!(app.read(move |conn| skin::red_flags_counted(conn, service)), (0, 1));
        let week = nurse.get("/week").await;
        assert!(week.first(".week-band.same-day").contains("THISTLEWOOD"), "{}", week.words());
    }

    async fn a_wrong_form_comes_back_whole(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 100);
        let page = nurse.get(&format!("/patients/{}/contacts/new", held.id)).await;
        let fields = [
            ("on", "+3d"),
            ("review", ""),
            ("leaks", "11"),
            ("told", "Leaks at night"),
            ("skin_clear", "no"),
            // Erosion wider than the discolouration that includes it (published sheet): refused, never repaired.
            ("discolouration_area", "1"),
            ("discolouration_severity", "1"),
            ("erosion_area", "3"),
            ("erosion_severity", "1"),
            ("overgrowth_area", "0"),
        ];
        let back = send(&nurse, &held, &hidden(&page), &fields).await.expect(422);
        let wrong = back.select_text("#error-summary li").join(" | ");
        for words in ["how the contact", "today or in the past", "leaks", "colour", "next review"] {
            assert!(wrong.contains(words), "{words}: {wrong}");
        }
        assert!(back.words().contains("Leaks at night"));
        assert!(back.has("input[name=erosion_area][value='3'][checked]"));
        for target in back.attributes("#error-summary a", "href") {
            assert!(back.has(&format!("[id=\"{}\"]", target.trim_start_matches('#'))), "{target} leads nowhere");
        }
        let more = [("erosion_area", "3"), ("discolouration_area", "1"), ("discolouration_severity", "1"), ("erosion_severity", "1"), ("overgrowth_area", "0")];
        let mut whole: Vec<(&str, &str)> = CLEAR.to_vec();
        whole[4] = ("skin_clear", "no");
        whole.extend(more);
        let back = send(&nurse, &held, &hidden(&page), &whole).await.expect(422);
        let wrong = back.select_text("#error-summary li").join(" | ");
        assert!(wrong.to_lowercase().contains("discolour"), "{wrong}");
        assert!(assessments(&app, &held).is_empty());
    }

    async fn an_amendment_replaces_and_keeps(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 100);
        let page = nurse.get(&format!("/patients/{}/contacts/new", held.id)).await;
        let check = send(&nurse, &held, &hidden(&page), &SORE).await;
        send(&nurse, &held, &hidden(&check), &SORE).await.expect(303);
        let first = assessments(&app, &held)[0].clone();
        let form = nurse.get(&format!("/patients/{}/contacts/new?amend={}", held.id, first.id)).await.expect(200);
        assert!(form.has("input[name=discolouration_area][value='2'][checked]"), "it opens as it was signed");
        let mut fields: Vec<(&str, &str)> = SORE.to_vec();
        fields.retain(|(n, _)| !matches!(*n, "overgrowth_area"));
        fields.extend([("overgrowth_area", "1"), ("overgrowth_severity", "1")]);
        let back = send(&nurse, &held, &hidden(&form), &fields).await.expect(422);
        assert!(back.words().contains("Write why the assessment is amended"));
        fields.push(("amend_reason", "Overgrowth was overlooked"));
        let check = send(&nurse, &held, &hidden(&form), &fields).await.expect(200);
        send(&nurse, &held, &hidden(&check), &fields).await.expect(303);
        let kept = assessments(&app, &held);
        assert_eq!(kept.len(), 2);
        let old = kept.iter().find(|a| a.id == first.id).unwrap();
        assert_eq!((old.status.as_str(), old.score, &old.inputs), ("amended", first.score, &first.inputs));
        let new = kept.iter().find(|a| a.id != first.id).unwrap();
        assert_eq!((new.amends_id, new.score), (Some(first.id), 9));
        let page = nurse.get(&format!("/patients/{}/skin", held.id)).await;
        assert!(page.words().contains("amended since") && page.words().contains("Overgrowth was overlooked"));
        // Amending the same one twice is refused: it was replaced meanwhile.
        let late = nurse.get(&format!("/patients/{}/contacts/new?amend={}", held.id, first.id)).await;
        assert_eq!(late.status, 404);
    }

    async fn the_planned_review_is_closed_by_the_contact(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient_with("Thistlewood", "Marion", NHS, 88, |_, s| s.discharge_on = None);
        let due = app.next_review(held.id);
        let page = nurse.get(&format!("/patients/{}/contacts/new", held.id)).await;
        assert!(page.has(&format!("input[name=review][value='{}'][checked]", due.id)));
        let id = due.id.to_string();
        let mut fields: Vec<(&str, &str)> = CLEAR.to_vec();
        fields[1] = ("review", &id);
        // Twelve weeks after surgery the rules propose an earlier review than the plan: that is shown before signing.
        let check = send(&nurse, &held, &hidden(&page), &fields).await.expect(200);
        assert!(check.words().contains("still changing size"));
        send(&nurse, &held, &hidden(&check), &fields).await.expect(303);
        let closed = app.reviews_of(held.id).into_iter().find(|r| r.id == due.id).unwrap();
        assert_eq!((closed.status.as_str(), closed.closed_on), ("fulfilled", Some(app.today())));
        assert!(app.next_review(held.id).due_on() > app.today());
    }

    async fn the_form_of_another_patient_is_refused(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let one = app.db_patient("Thistlewood", "Marion", NHS, 100);
        let other = app.db_patient("Penhallow", "Gwen", "999 000 0050", 100);
        let page = nurse.get(&format!("/patients/{}/contacts/new", one.id)).await;
        send(&nurse, &other, &hidden(&page), &CLEAR).await.expect(409);
        assert!(assessments(&app, &other).is_empty());
    }
}
