//! Calibration through HTTP on both databases: an answer once, nobody's shown to another, agreement for the lead.

use roundel::access::roles::Role;
use roundel::skin::rules::calibration::{self, Case, SixValues};

use crate::both_backends;
use crate::support::{Client, Page, raw};

async fn answer(who: &Client, case: &Case, values: SixValues) -> Page {
    let text = values.map(|(area, severity)| (area.to_string(), severity.to_string()));
    let names = ["discolouration", "erosion", "overgrowth"].map(|d| (format!("{d}_area"), format!("{d}_severity")));
    let mut fields: Vec<(&str, &str)> = Vec::new();
    for ((area, severity), (area_name, severity_name)) in text.iter().zip(&names) {
        fields.push((area_name, area));
        fields.push((severity_name, severity));
    }
    who.get(&format!("/calibration/{}", case.id)).await;
    who.post(&format!("/calibration/{}", case.id), &fields).await
}

both_backends! {
    async fn staff_score_alone_and_the_lead_sees_how_they_agree(app: TestApp) {
        let cases = calibration::shipped().expect("the cases");
        let (one, other) = (app.as_role(Role::Nurse), app.as_role(Role::Nurse));
        let page = one.get("/calibration").await.expect(200);
        assert_eq!(page.select_text("tbody tr").len(), cases.cases.len());
        assert!(page.words().contains("shown at the end"), "no reference beforehand");
        let first = one.get(&format!("/calibration/{}", cases.cases[0].id)).await.expect(200);
        assert!(!first.has("input[checked]") && first.has("svg.map"), "nothing is chosen, the case is drawn");
        // What breaks a rule of the score is refused and comes back.
        let back = answer(&one, &cases.cases[0], [(1, 1), (2, 1), (0, 0)]).await.expect(422);
        assert!(back.words().contains("There is a problem"));
        for case in &cases.cases {
            answer(&one, case, case.reference).await.expect(303);
        }
        // Answered once: another answer changes nothing.
        answer(&one, &cases.cases[1], [(3, 2), (3, 2), (3, 2)]).await.expect(303);
        assert_eq!(raw::count(&mut app.outside(), "calibration_answers"), i64::try_from(cases.cases.len()).unwrap());
        let done = one.get("/calibration").await;
        assert!(done.words().contains("weighted kappa 1.00 (almost perfect)"), "{}", done.words());
        assert!(!done.words().contains("shown at the end"));
        // The second scores everything as clear and sees nothing of the first.
        for case in &cases.cases {
            answer(&other, case, [(0, 0); 3]).await.expect(303);
        }
        one.get("/calibration/results").await.expect(403);
        let results = app.as_role(Role::Lead).get("/calibration/results").await.expect(200);
        let against = results.select_text("section, h2 + .scroll tbody tr").join(" | ");
        assert!(results.words().contains("1.00 (almost perfect)"), "{against}");
        // Always the same answer: what chance gives, so kappa is 0.
        assert!(results.words().contains("0.00 (slight)"), "{}", results.words());
        // Another service has none of it.
        let elsewhere = app.add_service("Another service");
        let theirs = app.as_roles(elsewhere, &[Role::Lead]).get("/calibration/results").await.expect(200);
        assert!(theirs.words().contains("Nobody has scored a case yet"));
    }
}
