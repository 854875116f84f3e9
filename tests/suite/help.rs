//! Help: a topic for every page, the link to it in the same place, and a guide of one page for each role.

use std::process::Command;

use roundel::access::roles::{self, Role};
use roundel::help::words;
use roundel::routes::{Need, ROUTES};

use crate::both_backends;
use crate::support::{Backend, TestApp};

#[test]
fn the_words_can_be_read_and_nothing_is_empty() {
    assert_eq!(words::faults(), Vec::<String>::new());
    assert!(words::topics().len() > 10);
    for topic in words::topics() {
        assert!(!topic.what.is_empty() && topic.what.ends_with(['.', ':']), "{}", topic.id);
        assert!(topic.jobs.iter().all(|job| !job.steps.is_empty()), "{}", topic.id);
    }
    let first = words::topics().iter().flat_map(|t| &t.jobs).filter(|job| job.first).count();
    assert_eq!(first, 3, "the three jobs");
    let of: Vec<&str> = words::guides().iter().map(|guide| guide.role.as_str()).collect();
    let mut wanted: Vec<&str> = roles::ALL.iter().map(|role| role.code()).collect();
    wanted.sort_unstable();
    let mut sorted = of.clone();
    sorted.sort_unstable();
    assert_eq!(sorted, wanted, "a guide for each role and for nothing else");
}

/// Ids of topics are unique, and every listed route begins a real one.
#[test]
fn topics_and_routes_fit() {
    let mut ids: Vec<&str> = words::topics().iter().map(|t| t.id.as_str()).collect();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), words::topics().len());
    for topic in words::topics() {
        for listed in &topic.routes {
            let known = ROUTES.iter().any(|r| r.path == listed || r.path.starts_with(&format!("{listed}/")));
            assert!(known, "{} lists {listed}, which is no page", topic.id);
        }
    }
    assert_eq!(words::address_for("/patients"), "/help/finding");
    assert_eq!(words::address_for("/patients/new"), "/help/registering");
    assert_eq!(words::address_for("/patients/{id}/contacts/new"), "/help/clinic-form");
    assert_eq!(words::address_for("/nowhere"), "/help");
    assert_eq!(words::address_for("/weekly"), "/help", "a word that only begins alike");
}

/// Pages without a topic of their own: the first page, the help itself, what is for machines and for scripts.
const WITHOUT: [&str; 10] = [
    "/",
    "/help",
    "/help/{topic}",
    "/help/guides/{role}",
    "/static/{stamp}/{file:.*}",
    "/livez",
    "/readyz",
    "/drafts",
    "/drafts/discard",
    "/session",
];

#[test]
fn every_page_has_a_topic() {
    let missing: Vec<&str> = ROUTES
        .iter()
        .map(|route| route.path)
        .filter(|path| !WITHOUT.contains(path) && words::topic_for(path).is_none())
        .collect();
    assert_eq!(missing, Vec::<&str>::new(), "add a topic, or list the route in one, in src/help/topics.toml");
}

both_backends! {
    async fn the_help_link_stands_in_the_same_place_on_every_page(app: TestApp) {
        let everything = app.as_roles(app.service_id, &roles::ALL);
        let mut seen = 0;
        for route in ROUTES.iter().filter(|r| r.method == "GET" && !r.path.contains('{') && !r.path.ends_with('z')) {
            let page = everything.get(route.path).await;
            if page.status == 303 || route.path == "/account/components" {
                continue; // leads elsewhere; or is there in the demonstration only
            }
            let links = page.attributes("footer .help a:first-child", "href");
            let wanted = match route.need {
                Need::Public => "/help/signing-in".to_owned(),
                _ => words::address_for(route.path),
            };
            assert_eq!(links, std::slice::from_ref(&wanted), "{}", route.path);
            everything.get(&wanted).await.expect(200);
            seen += 1;
        }
        assert!(seen > 12, "{seen}");
    }

    async fn help_is_there_for_who_cannot_sign_in_and_keeps_the_frame_of_who_did(app: TestApp) {
        let nobody = app.anonymous();
        for path in ["/help", "/help/signing-in", "/help/guides/nurse"] {
            let page = nobody.get(path).await.expect(200);
            assert!(!page.has("nav.words") && !page.text.contains("Example Community Health"), "{path}");
        }
        let clerk = app.as_role(Role::Clerk);
        let page = clerk.get("/help").await.expect(200);
        assert!(page.has("nav.words") && page.words().contains("The three jobs"));
        for topic in words::topics() {
            let page = clerk.get(&format!("/help/{}", topic.id)).await.expect(200);
            assert!(page.words().contains(&topic.title));
        }
        clerk.get("/help/nothing").await.expect(404);
        clerk.get("/help/guides/king").await.expect(404);
    }
}

/// Pages of paper that a browser prints of an address.
fn printed(app: &TestApp, path: &str) -> u32 {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("page.pdf");
    let mut browser = Command::new("chromium");
    browser.args(["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-pdf-header-footer"]);
    browser.arg(format!("--user-data-dir={}", folder.path().display())).env("TMPDIR", folder.path());
    browser.arg(format!("--print-to-pdf={}", file.display())).arg(format!("{}{path}", app.base));
    let ran = browser.output().unwrap();
    assert!(file.exists(), "{path}: {}", String::from_utf8_lossy(&ran.stderr));
    let said = Command::new("qpdf").arg("--show-npages").arg(&file).output().unwrap();
    String::from_utf8_lossy(&said.stdout).trim().parse().unwrap()
}

/// Printed by Chromium on A4 (the size that the style sheet asks for), each guide is one page; the control is a page that
/// is more.
#[test]
fn each_guide_is_one_page_of_paper() {
    let app = TestApp::start(Backend::Sqlite);
    let guides: Vec<(&str, u32)> =
        words::guides().iter().map(|g| (g.role.as_str(), printed(&app, &format!("/help/guides/{}", g.role)))).collect();
    assert_eq!(guides.len(), 7);
    assert!(guides.iter().all(|(_, pages)| *pages == 1), "{guides:?}");
    assert!(printed(&app, "/help") > 1, "the whole help fits no single page");
}
