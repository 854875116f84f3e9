//! The patient banner in every state, by the numbers of the guides "Patient Banner" and "Micro Patient Banner" (NHS common
//! user interface, 2009 to 2013: read in a transcription).

use roundel::access::roles::Role;
use serde_json::json;

use super::Ground;
use crate::support::browser::Browser;
use crate::support::{Page, block_on};

/// The words of a banner, with a blank between its parts.
fn banner(page: &Page, nth: usize) -> String {
    let html = page.html();
    let css = scraper::Selector::parse(".stage section.patient").unwrap();
    let words = html.select(&css).nth(nth).expect("a banner").text().collect::<Vec<_>>().join(" ");
    words.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn its_facts_stand_in_the_order_of_the_guide() {
    block_on(async {
        let ground = Ground::new();
        let page = ground.client(Some(Role::Nurse)).get("/account/components").await.expect(200);
        let known = banner(&page, 0);
        // PAB-0016: name, date of birth, gender, identifier; PAB-0034: the age in brackets after the date of birth;
        // PAB-0042 and 0046: labels without a colon; PAB-0049 to 0053: FAMILY, Given (Title).
        let order = "EXAMPLE, Ada (Mrs) Preferred name Adie Born 12-Mar-1951 (75y) Gender Female NHS No. 999 000 0042 \
                     Local No. DEMO-0001 Sensitivities and materials to avoid Latex; adhesive remover with alcohol";
        assert_eq!(known, order);
        assert!(!known.contains(':'), "PAB-0046");
        // PAB-0019: what is not known is said in words.
        let unknown = banner(&page, 5);
        for words in ["Born Not known (age not known)", "Gender Not known", "NHS No. Not known", "avoid Not recorded"] {
            assert!(unknown.contains(words), "PAB-0019: {words} is not in {unknown}");
        }
        assert!(!unknown.contains('?'), "PAB-0019");
    });
}

#[test]
fn four_states_of_what_to_avoid_differ_in_words_and_in_class() {
    block_on(async {
        let ground = Ground::new();
        let page = ground.client(Some(Role::Nurse)).get("/account/components").await.expect(200);
        let states = page.attributes(".stage section.patient .avoid", "class");
        assert_eq!(states[..4], ["avoid known", "avoid none", "avoid not-recorded", "avoid unavailable"], "PAB-0064");
        let mut words = page.select_text(".stage section.patient .avoid b");
        words.truncate(4);
        let expected =
            ["Latex; adhesive remover with alcohol", "None known", "Not recorded", "Not available at the moment"];
        assert_eq!(words, expected, "PAB-0064");
    });
}

#[test]
fn death_changes_ground_and_pattern_and_stands_first() {
    block_on(async {
        let ground = Ground::new();
        let page = ground.client(Some(Role::Nurse)).get("/account/components").await.expect(200);
        let died = banner(&page, 4);
        let first = "EXAMPLE, Ada (Mrs) Preferred name Adie Died 04-Nov-2026 (aged 75) Born 12-Mar-1951 Gender";
        assert!(died.starts_with(first), "PAB-0055 to 0059: {died}");
        assert!(
            page.has(".stage section.patient.died .died-strip rect[fill='url(#p-died)']"),
            "PAB-0057: a pattern too"
        );
        let mut browser = Browser::start(&ground.app).await;
        crate::jobs::sign_in_as(&mut browser, "nurse").await;
        browser.open("/account/components").await;
        let ground_of = "const of = css => getComputedStyle(document.querySelector(css)).backgroundColor; \
                         return of('.stage .patient:not(.died)') != of('.stage .patient.died');";
        assert_eq!(browser.run(ground_of).await, json!(true), "PAB-0055: another ground");
    });
}

#[test]
fn it_spans_the_page_stays_in_sight_and_is_read_in_its_order() {
    block_on(async {
        let ground = Ground::new();
        let mut browser = Browser::start(&ground.app).await;
        crate::jobs::sign_in_as(&mut browser, "nurse").await;
        browser.open(&format!("/patients/{}", ground.lives)).await;
        let span = "const box = document.querySelector('.patient').getBoundingClientRect(); \
                    return [box.left, Math.round(box.width) - innerWidth];";
        assert_eq!(browser.run(span).await, json!([0, 0]), "PAB-0009: full width");
        // PAB-0010 to 0014: at the top, fixed, covered by nothing, set apart.
        let stays = "scrollTo(0, document.body.scrollHeight); const box = document.querySelector('.patient').getBoundingClientRect(); \
                     const at = document.elementFromPoint(box.width / 2, box.top + box.height / 2); \
                     return [Math.round(box.top), at.closest('.patient') != null, getComputedStyle(document.querySelector('.patient')).borderBottomStyle];";
        assert_eq!(browser.run(stays).await, json!([0, true, "solid"]), "PAB-0010 to 0014");
        // PAB-0042: labels are lighter than their values.
        let lighter = "const of = css => getComputedStyle(document.querySelector(css)); \
                       return Number(of('.patient-ids dt').fontWeight) < Number(of('.patient-ids dd').fontWeight);";
        assert_eq!(browser.run(lighter).await, json!(true), "PAB-0042");
        // PAB-0076: what can be reached by Tab in the banner comes in the order in which it is read.
        let order = "const all = [...document.querySelectorAll('.patient a[href], .patient button')]; \
                     return all.every((e, i) => i == 0 || all[i - 1].compareDocumentPosition(e) & 4) \
                         && all.every(e => e.tabIndex == 0) && all[0].closest('.patient-name') != null;";
        assert_eq!(browser.run(order).await, json!(true), "PAB-0076");
    });
}
