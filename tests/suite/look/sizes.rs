//! Every size: a phone of 320 pixels, a tablet on its side under a finger, a page at 200 %, a wide screen, forced colours;
//! and the keyboard's focus, which the banner never hides.

use std::fmt::Write as _;

use roundel::access::roles::Role;
use serde_json::json;

use super::in_browser::{SIDEWAYS, small_targets};
use super::{Ground, Place};
use crate::jobs::sign_in_as;
use crate::support::block_on;
use crate::support::browser::Browser;

/// Name, width, height, dots a pixel, a finger.
const DEVICES: [(&str, u32, u32, u32, bool); 5] = [
    ("phone", 320, 568, 2, true),
    ("tablet on its side", 1180, 820, 2, true),
    ("1280 wide at 200 %", 640, 450, 2, false),
    ("desk", 1366, 768, 1, false),
    ("wide screen", 1920, 1080, 1, false),
];

async fn nurse(ground: &Ground) -> (Browser, Vec<Place>) {
    let mut browser = Browser::start(&ground.app).await;
    sign_in_as(&mut browser, "nurse").await;
    let mut places = ground.places();
    places.retain(|p| p.role == Some(Role::Nurse));
    (browser, places)
}

#[test]
#[ignore = "issue 3 is open: finds small targets, sheets without a roundel and pages above 8 kB after the last merges"]
fn every_page_fits_every_size_and_a_finger() {
    block_on(async {
        let ground = Ground::new();
        let (browser, places) = nurse(&ground).await;
        let mut found = String::new();
        for place in &places {
            browser.open(&place.path).await;
            for (name, width, height, dots, touch) in DEVICES {
                browser.device(width, height, dots, touch).await;
                let coarse = browser.run("return matchMedia('(pointer: coarse)').matches").await;
                assert_eq!(coarse, json!(touch), "{name}: a finger");
                let beyond = browser.run(SIDEWAYS).await;
                if beyond != json!("") {
                    let _ = writeln!(found, "{}, {name}: scrolls sideways: {beyond}", place.path);
                }
                let small = browser.run(&small_targets(if touch { 44 } else { 24 })).await;
                if small != json!("") {
                    let _ = writeln!(
                        found,
                        "{}, {name}: targets too small:\n      {}",
                        place.path,
                        small.as_str().unwrap()
                    );
                }
            }
        }
        println!("sizes: {} pages on {} devices", places.len(), DEVICES.len());
        assert!(found.is_empty(), "\n{found}");
    });
}

/// With forced colours the system's colours replace ours. What we draw ourselves must follow: the current word of the
/// navigation, boxes that are ticked, the ring, the charts.
#[test]
fn forced_colours_keep_every_state() {
    block_on(async {
        let ground = Ground::new();
        let (browser, _) = nurse(&ground).await;
        browser.prefers(&[("forced-colors", "active")]).await;
        browser.open("/account/components").await;
        let seen = "const of = (css, pseudo) => getComputedStyle(document.querySelector(css), pseudo); \
            return [matchMedia('(forced-colors: active)').matches, \
              of('.words a[aria-current]').borderBottomWidth != of('.words a:not([aria-current])').borderBottomWidth, \
              of('input[type=checkbox]:checked', '::before').backgroundColor != of('input[type=checkbox]:not(:checked)', '::before').backgroundColor, \
              of('.series-1').color == of('.series-2').color, \
              of('.button').borderTopStyle == 'solid']";
        assert_eq!(browser.run(seen).await, json!([true, true, true, true, true]));
    });
}

#[test]
fn nothing_moves_for_who_asked_for_less_motion() {
    block_on(async {
        let ground = Ground::new();
        let (browser, _) = nurse(&ground).await;
        let moving = "return [...document.querySelectorAll('*')].filter(e => { const s = getComputedStyle(e); \
            return s.transitionDuration.split(',').some(t => parseFloat(t) > 0) || parseFloat(s.animationDuration) > 0; }).length";
        browser.open("/week").await;
        assert!(browser.run(moving).await.as_u64().unwrap() > 0, "the control: links and buttons change over a moment");
        browser.prefers(&[]).await;
        assert_eq!(browser.run(moving).await, json!(0));
    });
}

/// Goes through a page by Tab, there and back; what was focused and hidden, in words.
async fn hidden_on_the_way(browser: &Browser) -> (usize, Vec<String>) {
    // WCAG 2.2, 2.4.11: no focused control is wholly hidden. Here: not hidden at all by the banner, and in the window.
    let look = "const e = document.activeElement; if (e == document.body || e.id == 'main') return ['', '']; \
        const name = e.tagName + ' ' + (e.name ?? '') + ' ' + e.textContent.trim().slice(0, 30); \
        const box = e.getBoundingClientRect(), bar = document.querySelector('.patient'); \
        const over = bar.getBoundingClientRect(), sticks = !bar.contains(e) && getComputedStyle(bar).position == 'sticky'; \
        const large = box.height > innerHeight - over.height; \
        const covered = sticks && (large ? box.bottom <= over.bottom + 1 : box.top < over.bottom - 1) && box.bottom > over.top + 1; \
        const hidden = covered || box.bottom <= 1 || box.top >= innerHeight - 1; \
        return [name, hidden ? name + ' from ' + Math.round(box.top) + ' to ' + Math.round(box.bottom) + ', the banner ends at ' + Math.round(over.bottom) : ''];";
    let (mut steps, mut hidden) = (0, Vec::new());
    for modifiers in [0, 8] {
        for _ in 0..400 {
            for kind in ["rawKeyDown", "keyUp"] {
                let key = json!({"type": kind, "key": "Tab", "code": "Tab", "windowsVirtualKeyCode": 9, "modifiers": modifiers});
                browser.cdp("Input.dispatchKeyEvent", key).await;
            }
            let seen = browser.run(look).await;
            if seen[0] == json!("") {
                if steps > 3 {
                    break; // out of the page
                }
                continue;
            }
            steps += 1;
            if seen[1] != json!("") {
                hidden.push(seen[1].as_str().unwrap_or_default().to_owned());
            }
        }
    }
    (steps, hidden)
}

#[test]
fn the_banner_never_hides_the_focus() {
    block_on(async {
        let ground = Ground::new();
        let (browser, places) = nurse(&ground).await;
        let (mut all, mut found) = (0, String::new());
        for (width, height) in [(1280, 720), (320, 568)] {
            browser.device(width, height, 1, false).await;
            for place in places.iter().filter(|p| p.about_one()) {
                browser.open(&place.path).await;
                let (steps, hidden) = hidden_on_the_way(&browser).await;
                assert!(steps > 5, "{}: {steps} steps by Tab", place.path);
                all += steps;
                for words in hidden {
                    let _ = writeln!(found, "{}, {width}: {words}", place.path);
                }
            }
        }
        println!("focus: {all} steps by Tab through pages about a patient, at 1280 and 320");
        assert!(found.is_empty(), "\n{found}");
    });
}
