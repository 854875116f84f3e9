//! What the script adds, in a real browser: each piece once with it and once with scripts blocked. Nothing depends on it.

use chrono::Duration;
use roundel::access::roles::Role;
use roundel::config::IDLE_MINUTES;

use crate::support::app::{PASSWORD, Person};
use crate::support::browser::Browser;
use crate::support::{Backend, Someone, TestApp, block_on, raw};

const NHS: &str = "999 000 0042";

struct Ward {
    app: TestApp,
    nurse: Person,
    held: Someone,
}

impl Ward {
    fn new() -> Self {
        let app = TestApp::start(Backend::Sqlite);
        let nurse = app.db_person(app.service_id, &[Role::Nurse]);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 100);
        Self { app, nurse, held }
    }

    fn clinic(&self) -> String {
        format!("/patients/{}/contacts/new", self.held.id)
    }

    fn drafts(&self) -> i64 {
        raw::count(&mut self.app.outside(), "drafts")
    }
}

/// Waits until the element's words hold these; at most 20 s.
async fn says(browser: &Browser, css: &str, words: &str) {
    let mut last = String::new();
    for _ in 0..100 {
        last = browser.words(css).await;
        if last.contains(words) {
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(200)).await;
    }
    panic!("{css} says {last:?} and not {words:?}");
}

// --- the script itself ------------------------------------------------------------------------------------------------

#[test]
fn all_script_together_stays_under_eight_kilobytes() {
    block_on(async {
        let app = TestApp::start(Backend::Sqlite);
        let client = app.anonymous();
        let page = client.get("/sign-in").await.expect(200);
        let scripts = page.attributes("script", "src");
        assert_eq!(scripts.len(), 1, "one request for all of it");
        let request = client.request(reqwest::Method::GET, &scripts[0]).header("accept-encoding", "gzip");
        let packed = client.send(request).await.expect(200);
        assert_eq!(packed.header("content-encoding"), Some("gzip"));
        println!("script, compressed: {} bytes", packed.bytes.len());
        assert!(packed.bytes.len() < 8 * 1024 && packed.bytes.len() > 1000, "{} bytes", packed.bytes.len());
        // Its parts are not served one by one, and nothing in it parses HTML or keeps anything in the browser.
        client.get("/static/x/js/1-focus.js").await.expect(404);
        let script = client.get(&scripts[0]).await.expect(200).text;
        for word in
            ["innerHTML", "insertAdjacent", "eval(", "localStorage", "sessionStorage", "document.write", "indexedDB"]
        {
            assert!(!script.contains(word), "{word}");
        }
    });
}

// --- focus of the summary, second press, live score -------------------------------------------------------------------

async fn sent_empty(browser: &mut Browser, ward: &Ward) {
    browser.sign_in(&ward.nurse).await;
    browser.open(&ward.clinic()).await;
    browser.click(".finish button[type=submit]").await;
    browser.comes("#error-summary").await;
}

#[test]
fn a_page_with_errors_begins_at_its_summary() {
    block_on(async {
        let ward = Ward::new();
        let mut browser = Browser::start(&ward.app).await;
        sent_empty(&mut browser, &ward).await;
        assert_eq!(browser.run("return document.activeElement.id").await, "error-summary");
        let mut plain = Browser::without_script(&ward.app).await;
        sent_empty(&mut plain, &ward).await;
        assert!(plain.sees("#error-summary a").await, "it is there and leads to the fields all the same");
        assert!(plain.driver().title().await.expect("a title").starts_with("Error: "));
    });
}

#[test]
fn a_second_press_is_held_back_and_harmless_without_the_script() {
    block_on(async {
        for script in [true, false] {
            let ward = Ward::new();
            let mut browser = Browser::with_script(&ward.app, script).await;
            browser.sign_in(&ward.nurse).await;
            browser.open(&ward.clinic()).await;
            for field in ["[name=mode][value=phone]", "[name=colour][value=red]", "[name=skin_clear][value=yes]"] {
                browser.click(field).await;
            }
            browser.click("[name=next][value=planned]").await;
            let twice = "const b = document.querySelector('.finish button[type=submit]'); b.click(); b.click(); \
                         return b.getAttribute('aria-disabled')";
            let held = browser.run(twice).await;
            assert_eq!(held, if script { serde_json::json!("true") } else { serde_json::Value::Null });
            browser.comes(".big-score").await;
            assert_eq!(raw::count(&mut ward.app.outside(), "assessments"), 1);
        }
    });
}

#[test]
fn the_score_is_counted_while_it_is_chosen_and_by_the_server_always() {
    block_on(async {
        for script in [true, false] {
            let ward = Ward::new();
            let mut browser = Browser::with_script(&ward.app, script).await;
            browser.sign_in(&ward.nurse).await;
            browser.open(&ward.clinic()).await;
            // The reference vector of discolouration 2+2 and erosion 1+2: score 7 (the published sheet).
            for field in [
                "[name=mode][value=clinic]",
                "[name=colour][value=red]",
                "[name=skin_clear][value=no]",
                "[name=discolouration_area][value='2']",
                "[name=discolouration_severity][value='2']",
                "[name=erosion_area][value='1']",
                "[name=erosion_severity][value='2']",
                "[name=overgrowth_area][value='0']",
                "[name=next][value=proposed]",
            ] {
                // Where the answer is a picture over its radio, a person presses the picture.
                browser.run(&format!("document.querySelector(`{field}`).click()")).await;
            }
            let shown = browser.words("[data-total]").await;
            assert_eq!(shown, if script { "7 of 15" } else { "–" });
            browser.click(".finish button[type=submit]").await;
            browser.comes("#check").await;
            assert!(browser.words("#check").await.contains("Score 7 of 15"));
            assert!(browser.words("#check").await.contains("Contact on Wed 25-Nov-2026"), "the date is echoed");
        }
    });
}

// --- dates ------------------------------------------------------------------------------------------------------------

#[test]
fn a_typed_date_is_echoed_with_its_weekday() {
    block_on(async {
        let ward = Ward::new();
        let mut browser = Browser::start(&ward.app).await;
        browser.sign_in(&ward.nurse).await;
        browser.open(&ward.clinic()).await;
        browser.find("[name=on]").await.clear().await.expect("an empty box");
        browser.type_into("[name=on]", "-2d").await;
        browser.comes(".echo").await;
        says(&browser, ".echo", "Mon 23-Nov-2026").await;
        browser.find("[name=on]").await.clear().await.expect("an empty box");
        browser.type_into("[name=on]", "05/11/26").await;
        says(&browser, ".echo", "two readings: Thu 05-Nov-2026 or Mon 11-May-2026").await;
        assert!(browser.complaints().await.is_empty());
    });
}

#[test]
fn with_scripts_blocked_two_readings_are_offered_to_choose_from() {
    block_on(async {
        let ward = Ward::new();
        let mut browser = Browser::without_script(&ward.app).await;
        browser.sign_in(&ward.nurse).await;
        let stoma = format!("/patients/{}/stomas/{}", ward.held.id, ward.held.stoma);
        browser.open(&stoma).await;
        browser.find("[name=surgery_on]").await.clear().await.expect("an empty box");
        browser.type_into("[name=surgery_on]", "05/03/26").await;
        browser.find("[name=discharge_on]").await.clear().await.expect("an empty box");
        browser.click(".finish button[type=submit]").await;
        browser.comes("[name=pick-surgery_on]").await;
        let offered = browser.words(".offers").await;
        assert!(offered.contains("Thu 05-Mar-2026") && offered.contains("Sun 03-May-2026"), "{offered}");
        browser.picture("date-two-readings").await;
        browser.click("#surgery_on-offer-2").await;
        browser.click(".finish button[type=submit]").await;
        // Reviews would change, so it is asked first; the reading that was chosen stands.
        if browser.sees("main form button.primary").await {
            browser.click("main form button.primary").await;
        }
        browser.comes("main .message").await;
        let said = browser.words("main .message").await;
        assert!(said.contains("surgery Sun 03-May-2026"), "{said}");
    });
}

// --- drafts -----------------------------------------------------------------------------------------------------------

#[test]
fn wifi_killed_in_the_middle_of_an_assessment_loses_no_field() {
    block_on(async {
        let ward = Ward::new();
        let mut browser = Browser::start(&ward.app).await;
        browser.sign_in(&ward.nurse).await;
        browser.open(&ward.clinic()).await;
        browser.click("[name=colour][value=pink]").await;
        browser.type_into("[name=told]", "Leaks at night").await;
        says(&browser, "[data-draft-said]", "Draft saved 10:42").await;
        assert_eq!(ward.drafts(), 1);
        browser.offline(true).await;
        browser.type_into("[name=plan]", "Smaller opening").await;
        browser.click("[name=also][value=fever]").await;
        says(&browser, "[data-draft-said]", "Not saved: no connection, trying again").await;
        // Sent all the same: nothing leaves the page, nothing is lost.
        browser.find(".finish button[type=submit]").await.click().await.expect("a click");
        says(&browser, "[data-draft-said]", "Not sent: no connection").await;
        browser.picture("draft-offline").await;
        let here = browser.run("return document.querySelector('[name=plan]').value").await;
        assert_eq!(here, "Smaller opening");
        browser.offline(false).await;
        says(&browser, "[data-draft-said]", "Draft saved").await;
        // The browser goes; later, in another one, no field is missing.
        drop(browser);
        ward.app.wait(Duration::hours(2));
        let mut later = Browser::start(&ward.app).await;
        later.sign_in(&ward.nurse).await;
        later.open(&ward.clinic()).await;
        assert!(
            later.words(".restored").await.contains("Wed 25-Nov-2026 at 10:42"),
            "{}",
            later.words(".restored").await
        );
        let fields = later
            .run(
                "const v = n => document.querySelector(n).value, c = n => document.querySelector(n).checked; \
                 return [v('[name=told]'), v('[name=plan]'), c('[name=colour][value=pink]'), c('[name=also][value=fever]')]",
            )
            .await;
        assert_eq!(fields, serde_json::json!(["Leaks at night", "Smaller opening", true, true]));
        later.picture("draft-restored").await;
        assert!(later.complaints().await.is_empty());
        assert_eq!(raw::count(&mut ward.app.outside(), "assessments"), 0);
        let stored = later.run("return localStorage.length + sessionStorage.length").await;
        assert_eq!(stored, 0, "nothing of a patient stays in the browser");
    });
}

#[test]
fn with_scripts_blocked_a_button_keeps_the_draft() {
    block_on(async {
        let ward = Ward::new();
        let mut browser = Browser::without_script(&ward.app).await;
        browser.sign_in(&ward.nurse).await;
        browser.open(&ward.clinic()).await;
        browser.type_into("[name=told]", "Leaks at night").await;
        assert!(!browser.sees("[data-draft-said]").await, "no claim is made");
        browser.click("button[name=later]").await;
        assert!(browser.words("main .message").await.contains("is kept for 7 days"));
        browser.open(&ward.clinic()).await;
        assert!(browser.sees(".restored").await);
        browser.click(".restored button").await;
        assert!(!browser.sees(".restored").await);
        assert_eq!(ward.drafts(), 0);
    });
}

// --- the lock ---------------------------------------------------------------------------------------------------------

#[test]
fn two_minutes_before_the_lock_one_is_asked_and_may_stay() {
    block_on(async {
        let ward = Ward::new();
        let mut browser = Browser::start(&ward.app).await;
        browser.sign_in(&ward.nurse).await;
        browser.open(&ward.clinic()).await;
        assert!(!browser.sees("[data-lock]").await);
        ward.app.wait(Duration::minutes(IDLE_MINUTES) - Duration::seconds(100));
        // Somebody comes back to the window: the server is asked how long is left.
        browser.run("document.dispatchEvent(new Event('visibilitychange'))").await;
        says(&browser, "[data-lock]", "The screen locks in 2 minutes").await;
        assert!(browser.axe().await.is_empty());
        browser.picture("lock-countdown").await;
        browser.click("[data-lock] button").await;
        for _ in 0..50 {
            if !browser.sees("[data-lock]").await {
                break;
            }
            tokio::time::sleep(std::time::Duration::from_millis(100)).await;
        }
        assert!(!browser.sees("[data-lock]").await);
        ward.app.wait(Duration::minutes(IDLE_MINUTES - 1));
        browser.open("/account").await;
        assert_eq!(browser.path().await, "/account", "the session was lengthened");
    });
}

#[test]
fn a_locked_screen_shows_nothing_and_leads_back_to_the_form() {
    block_on(async {
        let ward = Ward::new();
        let mut browser = Browser::start(&ward.app).await;
        browser.sign_in(&ward.nurse).await;
        browser.open(&ward.clinic()).await;
        browser.type_into("[name=told]", "Leaks at night").await;
        says(&browser, "[data-draft-said]", "Draft saved").await;
        ward.app.wait(Duration::minutes(IDLE_MINUTES + 1));
        browser.run("document.dispatchEvent(new Event('visibilitychange'))").await;
        browser.comes(".porch").await;
        assert!(browser.path().await.starts_with("/sign-in?ended=true&kept=true"), "{}", browser.path().await);
        let words = browser.words("main").await;
        assert!(words.contains(&ward.nurse.name) && !words.contains("THISTLEWOOD"), "{words}");
        browser.picture("lock-sign-in").await;
        browser.type_into("[name=password]", PASSWORD).await;
        browser.click("main form button[type=submit]").await;
        assert_eq!(browser.path().await, ward.clinic());
        assert!(browser.sees(".restored").await);
    });
}

#[test]
fn with_scripts_blocked_the_header_says_when_the_screen_locks_and_the_form_is_kept() {
    block_on(async {
        let ward = Ward::new();
        let mut browser = Browser::without_script(&ward.app).await;
        browser.sign_in(&ward.nurse).await;
        browser.open(&ward.clinic()).await;
        assert!(browser.words(".lock").await.contains("screen locks at 10:57"));
        assert!(!browser.sees("[data-lock]").await);
        browser.type_into("[name=told]", "Leaks at night").await;
        ward.app.wait(Duration::minutes(IDLE_MINUTES + 1));
        browser.click(".finish button[type=submit]").await;
        assert!(browser.words("main").await.contains("What was typed is kept"), "{}", browser.words("main").await);
        browser.type_into("[name=password]", PASSWORD).await;
        browser.click("main form button[type=submit]").await;
        assert_eq!(browser.path().await, ward.clinic());
        let told = browser.run("return document.querySelector('[name=told]').value").await;
        assert_eq!(told, "Leaks at night");
        assert_eq!(raw::count(&mut ward.app.outside(), "assessments"), 0);
    });
}
