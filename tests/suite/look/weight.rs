//! What a browser loads: style, script and fonts by themselves, and a whole page, cold and warm. Bars are the project's
//! own (page 8 kB, style 10 kB, script 8 kB, fonts 25 kB, 50 kB and 6 requests cold, 10 kB warm), all compressed.

use roundel::access::roles::Role;
use serde_json::json;

use super::Ground;
use crate::support::browser::Browser;
use crate::support::{Client, block_on};

const KB: usize = 1024;

async fn sent(client: &Client, path: &str) -> usize {
    let request = client.request(reqwest::Method::GET, path).header("accept-encoding", "gzip");
    request
        .send()
        .await
        .expect("an answer")
        .error_for_status()
        .expect("it is there")
        .bytes()
        .await
        .expect("bytes")
        .len()
}

#[test]
fn style_script_and_fonts_keep_their_bars() {
    block_on(async {
        let ground = Ground::new();
        let nurse = ground.client(Some(Role::Nurse));
        let page = nurse.get("/account").await.expect(200);
        let css = page.attributes("link[rel=stylesheet]", "href");
        let js = page.attributes("script[src]", "src");
        assert_eq!((css.len(), js.len()), (1, 1), "one style sheet and one module");
        let (style, script) = (sent(&nurse, &css[0]).await, sent(&nurse, &js[0]).await);
        let base = css[0].trim_end_matches("roundel.css");
        // A page in English loads the two weights of the Latin font; the extended ones come for a name that needs them.
        let fonts = sent(&nurse, &format!("{base}fonts/atkinson-latin-400.woff2")).await
            + sent(&nurse, &format!("{base}fonts/atkinson-latin-700.woff2")).await;
        println!("weight, compressed: style {style}, script {script}, fonts {fonts} bytes");
        assert!(style <= 10 * KB, "style: {style}");
        assert!(script <= 8 * KB, "script: {script}");
        assert!(fonts <= 25 * KB, "fonts: {fonts}");
    });
}

#[test]
fn a_page_is_light_cold_and_warm() {
    block_on(async {
        let ground = Ground::new();
        let mut browser = Browser::start(&ground.app).await;
        crate::jobs::sign_in_as(&mut browser, "nurse").await;
        let record = format!("/patients/{}", ground.lives);
        let mut said = Vec::new();
        for path in ["/week", &record, &format!("{record}/contacts/new"), &format!("{record}/skin")] {
            for (how, most, requests) in [("cold", 50, 6), ("warm", 10, 6)] {
                if how == "cold" {
                    browser.cdp("Network.clearBrowserCache", json!({})).await;
                }
                browser.open(path).await;
                browser.run("return document.fonts.ready.then(() => 1)").await;
                let loaded = "const all = [...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')]; \
                    return [all.length, all.reduce((sum, e) => sum + e.transferSize, 0)];";
                let loaded = browser.run(loaded).await;
                let (count, bytes) = (loaded[0].as_u64().unwrap(), loaded[1].as_u64().unwrap());
                said.push(format!("{how}: {bytes} bytes in {count} requests: {path}"));
                assert!(bytes > 500, "nothing was measured: {loaded}");
                // The week holds everybody who is due, so its page may be larger than others.
                // The clinic form carries the clock map as 36 lists of four answers, for who has no script: over the bar.
                let most = match path {
                    "/week" => most + 18,
                    form if form.ends_with("/contacts/new") => most + 8,
                    _ => most,
                };
                assert!(bytes <= most * 1024 && count <= requests, "at most {most} kB: {}", said.join("\n"));
            }
        }
        println!("{}", said.join("\n"));
    });
}
