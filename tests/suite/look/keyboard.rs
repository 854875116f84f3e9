//! Everyday tasks by keyboard alone, in Chromium, from the page on which one is: every key is counted, Tab too. The counts
//! are printed beside the bars, which are the project's own; 0.28 s a key is the keystroke-level model of Card, Moran and
//! Newell, Commun ACM 1980;23:396 (an average typist, from memory).

use roundel::access::roles::Role;
use serde_json::json;

use super::Ground;
use crate::jobs::sign_in_as;
use crate::support::block_on;
use crate::support::browser::Browser;

const SECONDS_A_KEY: f64 = 0.28;

/// A person at the keyboard.
struct Keys {
    browser: Browser,
    keys: u32,
}

impl Keys {
    async fn sit_down(ground: &Ground, role: Role, path: &str) -> Self {
        let mut browser = Browser::start(&ground.app).await;
        sign_in_as(&mut browser, Ground::account(role)).await;
        browser.open(path).await;
        Self { browser, keys: 0 }
    }

    /// One key, where the focus is; `shift` held or not.
    async fn key(&mut self, key: &str, code: u32, shift: bool) {
        let text = if key == "Enter" {
            "\r"
        } else if key == "Space" {
            " "
        } else {
            ""
        };
        let key = if key == "Space" { " " } else { key };
        for kind in ["keyDown", "keyUp"] {
            let mut order = json!({"type": kind, "key": key, "windowsVirtualKeyCode": code, "modifiers": if shift { 8 } else { 0 }});
            if !text.is_empty() && kind == "keyDown" {
                order["text"] = json!(text);
            }
            self.browser.cdp("Input.dispatchKeyEvent", order).await;
        }
        self.keys += 1;
    }

    /// Tab until the focus is on this.
    async fn tab_to(&mut self, css: &str) {
        let there = format!("return document.activeElement.matches({})", json!(css));
        for _ in 0..150 {
            self.key("Tab", 9, false).await;
            if self.browser.run(&there).await == json!(true) {
                return;
            }
        }
        panic!("{css} is not reached by Tab on {}", self.browser.path().await);
    }

    /// Tab to the group of radios of this name, then the arrow keys to the one of this value.
    async fn choose(&mut self, name: &str, value: &str) {
        self.tab_to(&format!("[name='{name}']")).await;
        if self
            .browser
            .run(&format!("return document.querySelector('[name=\"{name}\"][value=\"{value}\"]').checked"))
            .await
            == json!(true)
        {
            return;
        }
        self.key("Space", 32, false).await;
        for _ in 0..12 {
            let chosen = format!("return document.activeElement.value == {}", json!(value));
            if self.browser.run(&chosen).await == json!(true) {
                return;
            }
            self.key("ArrowDown", 40, false).await;
        }
        panic!("{name} has no {value}");
    }

    /// Types letters: one key each.
    async fn letters(&mut self, text: &str) {
        self.browser.press(text).await;
        self.keys += u32::try_from(text.chars().count()).unwrap();
    }

    /// Enter, and the page that follows.
    async fn enter(&mut self, comes: &str) {
        let before = self.browser.run("return performance.timeOrigin").await;
        self.key("Enter", 13, false).await;
        for _ in 0..200 {
            let whole = "return document.readyState == 'complete' ? performance.timeOrigin : 0";
            let now = self.browser.run(whole).await;
            if now != before && now != json!(0) {
                break;
            }
            tokio::time::sleep(std::time::Duration::from_millis(20)).await;
        }
        self.browser.comes(comes).await;
    }

    fn counted(&self, task: &str, bar: &str) -> u32 {
        println!(
            "by keyboard: {task}: {} keys, {:.0} s by the model ({bar})",
            self.keys,
            f64::from(self.keys) * SECONDS_A_KEY
        );
        self.keys
    }
}

#[test]
fn find_a_patient() {
    block_on(async {
        let ground = Ground::new();
        let mut keys = Keys::sit_down(&ground, Role::Nurse, "/week").await;
        keys.tab_to("#find").await;
        keys.letters("hea").await;
        keys.enter("table.found").await;
        keys.tab_to("a.row-name").await;
        keys.enter("section.patient").await;
        assert!(keys.browser.words("section.patient").await.contains("HEATHERBY"));
        let seconds = f64::from(keys.counted("find a patient by three letters", "2 pages, 8 s")) * SECONDS_A_KEY;
        assert!(seconds <= 8.0);
    });
}

#[test]
fn triage_a_row_of_the_week() {
    block_on(async {
        let ground = Ground::new();
        let mut keys = Keys::sit_down(&ground, Role::Nurse, "/week").await;
        // On the row: the focus is on the name, as after the row before.
        keys.browser.run("document.querySelector('tr:has(form.book) a.row-name').focus()").await;
        let row = keys.browser.run("return document.activeElement.closest('tr').id").await;
        keys.tab_to("form.book button").await;
        keys.enter("main .message").await;
        assert!(keys.browser.words("main .message").await.contains("booked for"));
        let here = format!("#{} .c-act", row.as_str().unwrap());
        assert!(keys.browser.words(&here).await.contains("back"), "the row is booked");
        assert!(keys.counted("book the slot that the row offers, from the row's name", "at most 3") <= 3);
    });
}

#[test]
fn an_assessment_in_which_nothing_changed() {
    block_on(async {
        let ground = Ground::new();
        let of = crate::jobs::patient(&ground.app, "Netherton");
        let mut keys = Keys::sit_down(&ground, Role::Nurse, &format!("/patients/{of}/contacts/new")).await;
        for (name, value) in [("stoma_same", "yes"), ("colour", "red"), ("skin_clear", "yes"), ("next", "planned")] {
            keys.choose(name, value).await;
        }
        keys.tab_to(".finish button[type=submit]").await;
        keys.enter("section.patient").await;
        if keys.browser.sees("#check").await {
            keys.tab_to("#check button[type=submit]").await;
            keys.enter(".big-score").await;
        }
        assert!(keys.browser.words(".big-score").await.contains("0 of 15"));
        let seconds = f64::from(keys.counted("sign an assessment in which nothing changed", "60 s")) * SECONDS_A_KEY;
        assert!(seconds <= 60.0);
    });
}

#[test]
fn the_supplies_again() {
    block_on(async {
        let ground = Ground::new();
        let of = crate::jobs::patient(&ground.app, "Heatherby");
        let mut keys = Keys::sit_down(&ground, Role::Prescriber, &format!("/patients/{of}")).await;
        keys.tab_to("section[aria-labelledby=h-supplies] a[href$='/summary']").await;
        keys.enter("a[href$='.pdf']").await;
        keys.tab_to("a[href$='.pdf']").await;
        keys.counted("from the record to the printed list of supplies", "4 interactions, Tab aside");
        assert!(keys.keys < 60);
    });
}
