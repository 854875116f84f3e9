//! `tests/pictures` runs this: a picture of every page, for people to look at. It checks nothing and is ignored otherwise.

use std::path::PathBuf;

use serde_json::json;

use super::{Ground, roles_of};
use crate::jobs::sign_in_as;
use crate::support::block_on;
use crate::support::browser::Browser;

/// Name, width, features, greys.
type Way = (&'static str, u32, &'static [(&'static str, &'static str)], bool);

/// How a page is pictured.
const WAYS: [Way; 5] = [
    ("wide", 1280, &[("prefers-color-scheme", "light")], false),
    ("narrow", 320, &[("prefers-color-scheme", "light")], false),
    ("dark", 1280, &[("prefers-color-scheme", "dark")], false),
    ("forced", 1280, &[("forced-colors", "active")], false),
    ("grey", 1280, &[("prefers-color-scheme", "light")], true),
];

/// Writes the whole page, as high as it is (4,000 pixels at most).
async fn picture(browser: &Browser, file: PathBuf, width: u32) {
    let tall = browser.run("return Math.min(4000, document.documentElement.scrollHeight)").await;
    let clip = json!({"x": 0, "y": 0, "width": width, "height": tall, "scale": 1});
    let shot = browser.cdp("Page.captureScreenshot", json!({"captureBeyondViewport": true, "clip": clip})).await;
    let data = shot["data"].as_str().expect("a picture");
    std::fs::write(file, thirtyfour::support::base64_decode(data).expect("base64")).expect("the file");
}

#[test]
#[ignore = "writes pictures for people: run tests/pictures"]
fn of_every_page() {
    block_on(async {
        let folder = PathBuf::from(std::env::var("ROUNDEL_PICTURES").expect("run tests/pictures"));
        let ground = Ground::new();
        let places = ground.places();
        let mut browser = Browser::start(&ground.app).await;
        let mut taken = std::collections::BTreeSet::new();
        for role in roles_of(&places) {
            if let Some(role) = role {
                browser.driver().delete_all_cookies().await.expect("no session");
                sign_in_as(&mut browser, Ground::account(role)).await;
            }
            for place in places.iter().filter(|p| p.role == role) {
                // A page looks the same for each role but for the navigation: the first role's picture is kept.
                let nth = taken.iter().filter(|(route, _)| *route == place.route).count();
                let again =
                    places.iter().any(|p| p.route == place.route && p.path == place.path && p.role < place.role);
                if again || !taken.insert((place.route, place.path.clone())) {
                    continue;
                }
                let name = place.route.trim_matches('/').replace("{id}", "one").replace(['/', '{', '}'], "-");
                let name = if nth == 0 { name } else { format!("{name}-{}", nth + 1) };
                for (way, width, features, grey) in WAYS {
                    browser.device(width, 900, 1, false).await;
                    browser.prefers(features).await;
                    let sight = if grey { "achromatopsia" } else { "none" };
                    browser.cdp("Emulation.setEmulatedVisionDeficiency", json!({"type": sight})).await;
                    browser.open(&place.path).await;
                    picture(&browser, folder.join(format!("{name}.{way}.png")), width).await;
                }
                browser.prefers(&[]).await;
                let print = browser.cdp("Page.printToPDF", json!({"preferCSSPageSize": true})).await;
                let data = thirtyfour::support::base64_decode(print["data"].as_str().expect("a PDF")).expect("base64");
                std::fs::write(folder.join(format!("{name}.print.pdf")), data).expect("the file");
            }
        }
        println!("{} pages pictured in {}", taken.len(), folder.display());
    });
}
