//! What a page becomes when it is used, in a real browser: with errors, with an act opened, after booking. axe-core finds
//! nothing against WCAG 2.2 A and AA, nothing is to be scrolled sideways on a narrow screen, and the browser complains of
//! nothing (blocked scripts or styles, missing files). Pages as they are opened: `look/in_browser.rs`.

use std::fmt::Write as _;

use roundel::db::ids::{PatientId, PrescriptionId};
use serde_json::json;

use crate::jobs::{demonstration, patient, sign_in_as};
use crate::support::browser::Browser;
use crate::support::{Backend, TestApp, block_on};

/// Widths in CSS pixels: a desk, and 320, at which WCAG 2.2 (1.4.10 Reflow) asks for no scrolling in two directions.
const WIDTHS: [u32; 2] = [1280, 320];

/// A browser and what was found so far, so that one run tells everything.
struct Look {
    browser: Browser,
    found: String,
}

impl Look {
    async fn start(app: &TestApp) -> Self {
        Self { browser: Browser::start(app).await, found: String::new() }
    }

    /// Emulated: a real window of Chromium is never narrower than some 500 pixels.
    async fn wide(&self, width: u32) {
        self.browser.device(width, 900, 1, false).await;
    }

    async fn open(&mut self, name: &str, path: &str) {
        self.browser.open(path).await;
        self.here(name).await;
    }

    /// Looks at the page that is open.
    async fn here(&mut self, name: &str) {
        for width in WIDTHS {
            self.wide(width).await;
            let inner = self.browser.run("return innerWidth").await;
            assert_eq!(inner, json!(width));
            for violation in self.browser.axe().await {
                let places = violation.places.join("\n      ");
                let _ = writeln!(self.found, "{name}, {width}: {}: {}\n      {places}", violation.rule, violation.help);
            }
            let beyond = "const wide = document.scrollingElement.scrollWidth; if (wide <= innerWidth) return ''; \
                const out = [...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().right > innerWidth + 0.5); \
                return wide + ': ' + out.slice(0, 8).map(e => e.tagName + '.' + e.className + '#' + e.id).join(' ');";
            let beyond = self.browser.run(beyond).await;
            if beyond != json!("") {
                let _ = writeln!(self.found, "{name}, {width}: scrolls sideways: {beyond}");
            }
        }
        self.wide(WIDTHS[0]).await;
        // A page that says 404 or 422 is logged as a failed load: that is what it is meant to say.
        let complaints = self.browser.complaints().await;
        for words in complaints.iter().filter(|w| !w.contains("the server responded with a status of 4")) {
            let _ = writeln!(self.found, "{name}: {words}");
        }
    }

    async fn press(&mut self, css: &str) {
        self.browser.click(css).await;
    }

    fn done(self) {
        assert!(self.found.is_empty(), "\n{}", self.found);
    }
}

pub fn summary_of(app: &TestApp, id: PatientId) -> String {
    use diesel::prelude::*;
    use roundel::db::schema::prescriptions;
    let query =
        prescriptions::table.filter(prescriptions::patient_id.eq(id)).filter(prescriptions::status.eq("signed"));
    let id: PrescriptionId =
        app.read(|conn| Ok(query.order(prescriptions::number.desc()).select(prescriptions::id).first(conn)?));
    format!("/prescriptions/{id}/summary")
}

/// The control: what is wrong on purpose is found, so that silence elsewhere means something.
#[test]
fn what_is_wrong_is_found() {
    block_on(async {
        let app = TestApp::start(Backend::Sqlite);
        let mut look = Look::start(&app).await;
        look.browser.open("/sign-in").await;
        let spoil = "const image = new Image(); const wide = document.createElement('p'); wide.textContent = 'wide'; wide.style.minWidth = '900px'; \
            document.querySelector('main').append(image, wide); image.src = '/nowhere.png'; \
            const style = document.createElement('style'); style.textContent = 'p {}'; document.head.append(style);";
        look.browser.run(spoil).await;
        look.here("spoilt").await;
        for words in ["image-alt", "spoilt, 320: scrolls sideways", "Content Security Policy"] {
            assert!(look.found.contains(words), "{words} is not in:\n{}", look.found);
        }
    });
}

#[test]
fn lists_in_use() {
    block_on(async {
        let app = demonstration();
        let mut look = Look::start(&app).await;
        look.browser.open("/sign-in").await;
        look.press("main form button[type=submit]").await;
        look.here("sign-in, refused").await;
        sign_in_as(&mut look.browser, "nurse").await;
        look.browser.open("/week").await;
        for nth in 1..=4 {
            look.press(&format!("table.entries tbody tr:first-child .acts details:nth-of-type({nth}) summary")).await;
            look.here(&format!("week, act {nth} open")).await;
        }
        look.press("table.entries tbody tr:first-child form.book button").await;
        look.here("week, after booking").await;
        look.open("day sheet", "/week/day").await;
        look.open("downtime sheet", "/week/downtime").await;
        look.browser.find("#find").await.send_keys("ro").await.expect("typing");
        look.press(".find button").await;
        look.browser.comes("table.found tbody tr").await;
        look.here("patients, found").await;
        look.open("error page", "/patients/00000000-0000-7000-8000-000000000000").await;
        look.done();
    });
}

#[test]
fn forms_with_errors() {
    block_on(async {
        let app = demonstration();
        let mut look = Look::start(&app).await;
        sign_in_as(&mut look.browser, "nurse").await;
        look.browser.open("/patients/new").await;
        look.press(".finish button[type=submit]").await;
        look.browser.comes("#error-summary").await;
        look.here("register, with errors").await;
        let died = patient(&app, "Cranleigh");
        look.open("end, died", &format!("/patients/{died}/end")).await;
        look.browser.driver().delete_all_cookies().await.expect("no session");
        sign_in_as(&mut look.browser, "lead").await;
        look.browser.open("/import").await;
        look.press("main form button[type=submit]").await;
        // A form that carries files is sent a moment after the click: the driver does not wait for that page.
        look.browser.comes("#file-error").await;
        look.here("import, without a file").await;
        look.done();
    });
}

#[test]
fn clinic_form() {
    block_on(async {
        let app = demonstration();
        let mut look = Look::start(&app).await;
        sign_in_as(&mut look.browser, "nurse").await;
        let of = patient(&app, "Heatherby");
        look.browser.open(&format!("/patients/{of}/contacts/new")).await;
        look.press(".finish button[type=submit]").await;
        look.browser.comes("#error-summary").await;
        look.here("clinic form, with errors").await;
        for css in [
            "[name=stoma_same][value=yes]",
            "[name=colour][value=dusky]",
            "[name=skin_clear][value=no]",
            "[name=discolouration_area][value='2'] + label",
            "[name=discolouration_severity][value='2'] + label",
            "[name=erosion_area][value='1'] + label",
            "[name=erosion_severity][value='2'] + label",
            "[name=overgrowth_area][value='0'] + label",
            "[name=next][value=proposed]",
        ] {
            look.press(css).await;
        }
        assert_eq!(look.browser.words("[data-total]").await, "7 of 15");
        look.press(".finish button[type=submit]").await;
        look.browser.comes("#check").await;
        look.here("clinic form, check before signing").await;
        look.done();
    });
}

#[test]
fn service_help_and_duplicates() {
    block_on(async {
        let app = demonstration();
        let mut look = Look::start(&app).await;
        sign_in_as(&mut look.browser, "lead").await;
        look.browser.open("/service").await;
        look.press("form[action='/service/sites'] button").await;
        look.browser.comes("#error-summary").await;
        look.here("service, with an error").await;
        look.browser.open("/patients/new").await;
        for (name, typed) in [
            ("family_name", "Thornbury"),
            ("given_name", "Rosalind"),
            ("born_day", "12"),
            ("born_month", "Mar"),
            ("born_year", "1948"),
            ("surgery_on", "today"),
        ] {
            look.browser.type_into(&format!("[name={name}]"), typed).await;
        }
        for css in [
            "[name=gender][value=female]",
            "[name=sensitivity][value=none-known]",
            "[name=kind][value=urostomy]",
            "[name=construction][value=end]",
            "[name=permanence][value=permanent]",
            "[name=surgery][value=planned]",
        ] {
            look.press(css).await;
        }
        look.press(".finish button[type=submit]").await;
        look.browser.comes("table.beside").await;
        look.here("register, likely duplicates").await;
        look.browser.type_into("#find", "thornb").await;
        look.press(".find button").await;
        assert!(look.browser.words("table.found").await.contains("May be the same person as"));
        look.here("patients, marked").await;
        look.browser.driver().delete_all_cookies().await.expect("no session");
        sign_in_as(&mut look.browser, "administrator").await;
        look.browser.open("/staff").await;
        let member = look.browser.find("td a.button").await.attr("href").await.expect("a link").expect("an address");
        look.open("staff, roles", &member).await;
        look.press("main form button[type=submit]").await;
        look.done();
    });
}
