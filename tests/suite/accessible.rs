//! Every page in a real browser: axe-core finds nothing against WCAG 2.2 A and AA, nothing is to be scrolled sideways on
//! a narrow screen, and the browser complains of nothing (blocked scripts or styles, missing files).

use std::fmt::Write as _;
use std::sync::Arc;

use reqwest::Method;
use roundel::db::ids::{PatientId, PrescriptionId, StomaId};
use serde_json::{Value, json};
use thirtyfour::common::command::{Command, ExtensionCommand};

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

/// The DevTools order for another size of the page, which chromedriver passes on.
#[derive(Debug)]
struct Wide(u32);

impl ExtensionCommand for Wide {
    fn parameters_json(&self) -> Option<Value> {
        let size = json!({"width": self.0, "height": 900, "deviceScaleFactor": 1, "mobile": false});
        Some(json!({"cmd": "Emulation.setDeviceMetricsOverride", "params": size}))
    }

    fn method(&self) -> Method {
        Method::POST
    }

    fn endpoint(&self) -> Arc<str> {
        Arc::from("/goog/cdp/execute")
    }
}

impl Look {
    async fn start(app: &TestApp) -> Self {
        Self { browser: Browser::start(app).await, found: String::new() }
    }

    /// Emulated: a real window of Chromium is never narrower than some 500 pixels.
    async fn wide(&self, width: u32) {
        let command = Command::ExtensionCommand(Box::new(Wide(width)));
        self.browser.driver().handle().cmd(command).await.expect("another size");
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

fn stoma_of(app: &TestApp, id: PatientId) -> StomaId {
    use diesel::prelude::*;
    use roundel::db::schema::stomas;
    app.read(|conn| Ok(stomas::table.filter(stomas::patient_id.eq(id)).select(stomas::id).first(conn)?))
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
fn before_sign_in_and_lists() {
    block_on(async {
        let app = demonstration();
        let mut look = Look::start(&app).await;
        look.open("sign-in", "/sign-in").await;
        look.press("main form button[type=submit]").await;
        look.here("sign-in, refused").await;
        sign_in_as(&mut look.browser, "nurse").await;
        look.open("week", "/week").await;
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
        look.open("account", "/account").await;
        look.open("protocols", "/protocols").await;
        look.done();
    });
}

#[test]
fn forms_of_the_record() {
    block_on(async {
        let app = demonstration();
        let mut look = Look::start(&app).await;
        sign_in_as(&mut look.browser, "nurse").await;
        look.open("register", "/patients/new").await;
        look.press(".finish button[type=submit]").await;
        look.browser.comes("#error-summary").await;
        look.here("register, with errors").await;
        let (lives, died) = (patient(&app, "Heatherby"), patient(&app, "Cranleigh"));
        look.open("record", &format!("/patients/{lives}")).await;
        look.open("record, died", &format!("/patients/{died}")).await;
        look.browser.comes("section.patient.died").await;
        look.open("record, two stomas", &format!("/patients/{}", patient(&app, "Żukowicz"))).await;
        look.open("edit", &format!("/patients/{lives}/edit")).await;
        look.open("end", &format!("/patients/{lives}/end")).await;
        look.open("end, died", &format!("/patients/{died}/end")).await;
        look.open("stoma", &format!("/patients/{lives}/stomas/{}", stoma_of(&app, lives))).await;
        look.open("stoma, new", &format!("/patients/{lives}/stomas/new")).await;
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
        look.open("clinic form", &format!("/patients/{of}/contacts/new")).await;
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
fn parts_of_the_record() {
    block_on(async {
        let app = demonstration();
        let mut look = Look::start(&app).await;
        sign_in_as(&mut look.browser, "prescriber").await;
        let of = patient(&app, "Heatherby");
        for part in ["skin", "follow-up", "supplies"] {
            look.open(part, &format!("/patients/{of}/{part}")).await;
        }
        look.open("summary", &summary_of(&app, of)).await;
        let routine = summary_of(&app, of).replace("/summary", "/routine");
        look.open("change routine", &routine).await;
        look.open("change routine, larger", &format!("{routine}?size=large")).await;
        look.open("catalogue", "/catalogue").await;
        look.open("quantities", "/quantities").await;
        look.done();
    });
}

#[test]
fn people_and_the_log() {
    block_on(async {
        let app = demonstration();
        let of = patient(&app, "Heatherby");
        let mut look = Look::start(&app).await;
        sign_in_as(&mut look.browser, "lead").await;
        look.open("catalogue, lead", "/catalogue").await;
        look.open("quantities, lead", "/quantities").await;
        look.open("import", "/import").await;
        look.browser.comes("input[type=file]").await;
        look.press("main form button[type=submit]").await;
        look.browser.comes("#file-error").await;
        look.here("import, without a file").await;
        for (user, name, path) in [
            ("auditor", "audit", "/audit".to_owned()),
            ("auditor", "access", format!("/patients/{of}/access")),
            ("administrator", "staff", "/staff".to_owned()),
        ] {
            look.browser.driver().delete_all_cookies().await.expect("no session");
            sign_in_as(&mut look.browser, user).await;
            look.open(name, &path).await;
            assert!(!look.browser.words("h1").await.contains("may not"), "{user}: {path}");
        }
        look.done();
    });
}

#[test]
fn service_help_and_duplicates() {
    block_on(async {
        let app = demonstration();
        let mut look = Look::start(&app).await;
        look.open("help, nobody signed in", "/help/signing-in").await;
        sign_in_as(&mut look.browser, "lead").await;
        for (name, path) in [
            ("welcome", "/welcome"),
            ("service", "/service"),
            ("service, protocols", "/service/protocols"),
            ("service, bands", "/service/bands"),
            ("help", "/help"),
            ("help, a topic", "/help/week"),
            ("help, a guide", "/help/guides/lead"),
        ] {
            look.open(name, path).await;
        }
        look.open("service", "/service").await;
        look.press("form[action='/service/sites'] button").await;
        assert!(look.browser.sees("#error-summary").await);
        look.here("service, with an error").await;
        look.open("register", "/patients/new").await;
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
        assert!(look.browser.sees("table.beside").await, "{}", look.browser.words("main").await);
        look.here("register, likely duplicates").await;
        look.browser.type_into("#find", "thornb").await;
        look.press(".find button").await;
        assert!(look.browser.words("table.found").await.contains("May be the same person as"));
        look.here("patients, marked").await;
        look.browser.driver().delete_all_cookies().await.expect("no session");
        sign_in_as(&mut look.browser, "administrator").await;
        look.open("staff", "/staff").await;
        let member = look.browser.find("td a.button").await.attr("href").await.expect("a link").expect("an address");
        look.open("staff, roles", &member).await;
        look.press("main form button[type=submit]").await;
        look.open("welcome, administrator", "/welcome").await;
        look.done();
    });
}
