//! How soon the largest part of a page is painted, printed beside its bar (0.5 s on the same machine, the project's own), and
//! that nothing moves after it. Time is printed, not asserted: it is the machine's too. Layout shift is asserted.

use serde_json::json;

use super::Ground;
use super::in_browser::SHIFTED;
use crate::jobs::sign_in_as;
use crate::support::block_on;
use crate::support::browser::Browser;

const LARGEST: &str = "return new Promise(done => { \
    const watch = new PerformanceObserver(list => done(Math.round(list.getEntries().at(-1).startTime))); \
    watch.observe({type: 'largest-contentful-paint', buffered: true}); setTimeout(done, 2000, -1); });";

#[test]
fn the_largest_part_is_painted_soon_and_nothing_moves() {
    block_on(async {
        let ground = Ground::new();
        let mut browser = Browser::start(&ground.app).await;
        sign_in_as(&mut browser, "nurse").await;
        let record = format!("/patients/{}", ground.lives);
        let summary = format!("/prescriptions/{}/summary", ground.prescription());
        for (name, path) in [
            ("week", "/week"),
            ("record", &record),
            ("clinic form", &format!("{record}/contacts/new")),
            ("summary", &summary),
        ] {
            let mut times = Vec::new();
            for _ in 0..3 {
                browser.cdp("Network.clearBrowserCache", json!({})).await;
                browser.open(path).await;
                let largest = browser.run(LARGEST).await.as_i64().unwrap();
                assert!(largest > 0, "{name}: no paint was seen");
                times.push(largest);
                assert_eq!(browser.run(SHIFTED).await, json!(0), "{name} moves after it is painted");
            }
            times.sort_unstable();
            println!("largest contentful paint, cold, {name}: {} ms, median of 3 (bar: 500 ms)", times[1]);
        }
    });
}
