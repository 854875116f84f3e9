//! The three jobs of a working day, done in a real browser on the demonstration: presses are counted. Each is done once
//! more with scripts blocked, and takes the same presses.

use diesel::prelude::*;
use reqwest::Method;
use reqwest::header::COOKIE;
use roundel::access::sign_in;
use roundel::db::ids::PatientId;
use roundel::demo;

use crate::support::browser::Browser;
use crate::support::{Backend, TestApp, block_on, raw};

/// Patients of the demonstration.
const PATIENTS: usize = 60;

/// Presses that each job takes, and the most that it may take (the project's own bars).
const BOOK_A_SLOT: (u32, u32) = (1, 3);
const NOTHING_CHANGED: (u32, u32) = (7, 10);
const SUMMARY_ON_PAPER: (u32, u32) = (3, 3);

/// The service with the demonstration in it.
pub fn demonstration() -> TestApp {
    let app = TestApp::start(Backend::Sqlite);
    assert!(demo::make(&app.db, PATIENTS, 7, |_, _| ()).expect("the demonstration is made"));
    app
}

/// Signs in through the page as somebody of the demonstration.
pub async fn sign_in_as(browser: &mut Browser, user: &str) {
    browser.open("/sign-in").await;
    browser.find("[name=user]").await.send_keys(user).await.expect("typing");
    browser.find("[name=password]").await.send_keys(demo::PASSWORD).await.expect("typing");
    browser.click("main form button[type=submit]").await;
    assert!(!browser.path().await.starts_with("/sign-in"), "signed in as {user}");
    browser.count_anew();
}

/// The only patient of this family name.
pub fn patient(app: &TestApp, family: &str) -> PatientId {
    use roundel::db::schema::patients;
    let query = patients::table.filter(patients::family_name.eq(family.to_owned())).select(patients::id);
    let ids: Vec<PatientId> = app.read(|conn| Ok(query.load(conn)?));
    assert_eq!(ids.len(), 1, "patients called {family}");
    ids[0]
}

/// The element's `id` of the week's row of somebody, found by the name as it is read.
async fn row_of(browser: &Browser, name: &str) -> String {
    let all = browser.driver().find_all(thirtyfour::By::Css("table.entries tbody tr")).await.expect("rows");
    for row in all {
        if row.text().await.expect("words").contains(name) {
            return row.id().await.expect("an attribute").expect("an id");
        }
    }
    panic!("{name} is not on {}", browser.path().await);
}

fn counted(job: &str, presses: u32, (measured, most): (u32, u32)) {
    println!("work counted: {job}: {presses} presses (at most {most})");
    assert_eq!(presses, measured, "{job}: the count has changed");
    assert!(presses <= most, "{job}");
}

async fn book_a_slot(app: &TestApp, mut browser: Browser, how: &str) {
    sign_in_as(&mut browser, "nurse").await;
    browser.open("/week").await;
    let first = "table.entries tbody tr:first-child";
    let row = browser.find(first).await.id().await.expect("an attribute").expect("an id");
    let band = browser.find("main .week-band").await.class_name().await.expect("an attribute").unwrap_or_default();
    assert!(band.contains("same-day"), "the most urgent come first: {band}");
    let booked = raw::count(&mut app.outside(), "reviews WHERE status = 'booked'");
    browser.click(&format!("{first} form.book button")).await;
    assert!(browser.path().await.starts_with("/week"), "{}", browser.path().await);
    assert!(browser.words("main .message").await.contains("booked for"), "{}", browser.words("main").await);
    let form = format!("[id=\"{row}\"] form.book");
    assert!(!browser.sees(&form).await, "who is booked is offered nothing");
    let now = raw::count(&mut app.outside(), "reviews WHERE status = 'booked'");
    assert_eq!(now, booked + 1);
    counted(&format!("book the suggested slot of the first row{how}"), browser.presses(), BOOK_A_SLOT);
}

async fn nothing_changed(app: &TestApp, mut browser: Browser, how: &str) {
    sign_in_as(&mut browser, "nurse").await;
    // Her three-month review is six weeks overdue; when she was seen last, her skin was clear.
    let family = "NETHERTON";
    let before = raw::count(&mut app.outside(), "assessments");
    browser.open("/week").await;
    let row = row_of(&browser, family).await;
    browser.click(&format!("[id=\"{row}\"] .acts details:last-of-type summary")).await;
    browser.click(&format!("[id=\"{row}\"] .acts details:last-of-type a")).await;
    assert!(browser.path().await.ends_with("/contacts/new"), "{}", browser.path().await);
    assert!(browser.words("section.patient").await.contains(family));
    browser.click("[name=stoma_same][value=yes]").await;
    browser.click("[name=colour][value=red]").await;
    browser.click("[name=skin_clear][value=yes]").await;
    browser.click("[name=next][value=planned]").await;
    browser.click(".finish button[type=submit]").await;
    if browser.sees("#check").await {
        browser.click("#check button[type=submit]").await;
    }
    let path = browser.path().await;
    assert!(path.starts_with("/patients/") && !path.ends_with("/new"), "{path}: {}", browser.words("main").await);
    assert!(browser.words(".big-score").await.contains("0 of 15"), "{}", browser.words(".big-score").await);
    assert_eq!(raw::count(&mut app.outside(), "assessments"), before + 1);
    let today = format!("reviews WHERE status = 'fulfilled' AND closed_on = '{}'", app.today());
    assert_eq!(raw::count(&mut app.outside(), &today), 1, "the review is closed");
    counted(&format!("record a review in which nothing changed{how}"), browser.presses(), NOTHING_CHANGED);
}

async fn summary_on_paper(app: &TestApp, mut browser: Browser, how: &str) {
    sign_in_as(&mut browser, "nurse").await;
    browser.open("/week").await;
    let row = row_of(&browser, "HEATHERBY").await;
    browser.click(&format!("[id=\"{row}\"] a.row-name")).await;
    browser.click("section[aria-labelledby=h-supplies] a[href$='/summary']").await;
    assert!(browser.words("section.patient").await.contains("HEATHERBY"));
    let link = "a[href$='/summary.pdf']";
    let href = browser.find(link).await.attr("href").await.expect("an attribute").expect("an address");
    browser.click(link).await;
    // The same address with the same session, for what the browser keeps to itself: the kind of the answer.
    let cookie = browser.driver().get_named_cookie(sign_in::COOKIE).await.expect("the session's cookie").value;
    let nobody = app.anonymous();
    let page =
        nobody.send(nobody.bare(Method::GET, &href).header(COOKIE, format!("{}={cookie}", sign_in::COOKIE))).await;
    let page = page.expect(200);
    assert_eq!(page.header("content-type"), Some("application/pdf"));
    assert!(page.bytes.starts_with(b"%PDF-"));
    counted(&format!("from the week to a patient's summary on paper{how}"), browser.presses(), SUMMARY_ON_PAPER);
}

macro_rules! jobs {
    ($($job:ident)*) => {$(
        mod $job {
            use super::*;

            #[test]
            fn in_a_browser() {
                block_on(async {
                    let app = demonstration();
                    let browser = Browser::start(&app).await;
                    super::$job(&app, browser, "").await;
                });
            }

            #[test]
            fn with_scripts_blocked() {
                block_on(async {
                    let app = demonstration();
                    let browser = Browser::without_script(&app).await;
                    let page = "data:text/html,<title>still</title><script>document.title = 'ran'</script>";
                    browser.driver().goto(page).await.expect("the page opens");
                    assert_eq!(browser.driver().title().await.expect("a title"), "still", "scripts are blocked");
                    super::$job(&app, browser, ", scripts blocked").await;
                });
            }
        }
    )*};
}

jobs! { book_a_slot nothing_changed summary_on_paper }
