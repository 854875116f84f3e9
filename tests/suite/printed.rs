//! Pages as Chromium prints them, read back with programs that did not write them: identity, page number, who printed
//! and when on every sheet; every entry of a list whole; greys only; 14 point for the patient.

use std::path::Path;
use std::process::Command;
use std::sync::Arc;

use reqwest::Method;
use serde_json::{Value, json};
use tempfile::TempDir;
use thirtyfour::common::command::{Command as Order, ExtensionCommand};
use thirtyfour::support::base64_decode;

use crate::accessible::summary_of;
use crate::jobs::{demonstration, patient, sign_in_as};
use crate::support::block_on;
use crate::support::browser::Browser;

/// The DevTools order that prints the page that is open as its style sheet wants it.
#[derive(Debug)]
struct Print;

impl ExtensionCommand for Print {
    fn parameters_json(&self) -> Option<Value> {
        // With grounds, as somebody may choose in the dialogue: colour would then show.
        let how = json!({"preferCSSPageSize": true, "printBackground": true});
        Some(json!({"cmd": "Page.printToPDF", "params": how}))
    }

    fn method(&self) -> Method {
        Method::POST
    }

    fn endpoint(&self) -> Arc<str> {
        Arc::from("/goog/cdp/execute")
    }
}

/// A print: the file in its folder, and the words of each page without blanks.
struct Printed {
    dir: TempDir,
    pages: Vec<String>,
}

fn squeezed(text: &str) -> String {
    // Chromium and poppler write some hyphens and blanks in other ways than the page does.
    text.chars().filter(|c| c.is_alphanumeric() || ".,:+()/%".contains(*c)).collect()
}

fn tool(name: &str, args: &[&str], dir: &Path) -> Vec<u8> {
    let out = Command::new(name).args(args).current_dir(dir).output();
    let out = out.unwrap_or_else(|error| panic!("cannot run {name}: {error}"));
    assert!(out.status.success(), "{name}: {}", String::from_utf8_lossy(&out.stderr));
    out.stdout
}

async fn print(browser: &Browser) -> Printed {
    let made = browser.driver().handle().cmd(Order::ExtensionCommand(Box::new(Print))).await.expect("a print");
    let made: Value = made.value().expect("an answer");
    let dir = tempfile::tempdir().unwrap();
    let bytes = base64_decode(made["data"].as_str().expect("the file")).expect("base64");
    std::fs::write(dir.path().join("x.pdf"), bytes).unwrap();
    let text = String::from_utf8(tool("pdftotext", &["x.pdf", "-"], dir.path())).unwrap();
    let pages = text.trim_end_matches('\u{c}').split('\u{c}').map(squeezed).collect();
    Printed { dir, pages }
}

impl Printed {
    /// These words are on every page, and the number of each page.
    fn has_on_every_page(&self, name: &str, words: &[&str]) {
        let count = self.pages.len();
        for (at, page) in self.pages.iter().enumerate() {
            for words in words.iter().map(ToString::to_string).chain([format!("Page {} of {count}", at + 1)]) {
                assert!(page.contains(&squeezed(&words)), "{name}, page {}: “{words}” is not in {page}", at + 1);
            }
        }
    }

    /// All of these texts are on one page.
    fn has_together(&self, name: &str, texts: &[String]) {
        let texts: Vec<String> = texts.iter().map(|text| squeezed(text)).filter(|text| !text.is_empty()).collect();
        let together = self.pages.iter().any(|page| texts.iter().all(|text| page.contains(text)));
        assert!(together, "{name}: cut, or not printed: {texts:?}\n{:#?}", self.pages);
    }

    /// A4, and no dot of the paper has a colour.
    fn is_grey(&self, name: &str) {
        let info = String::from_utf8(tool("pdfinfo", &["x.pdf"], self.dir.path())).unwrap();
        assert!(info.contains("(A4)"), "{name}: {info}");
        tool("pdftoppm", &["-r", "50", "x.pdf", "p"], self.dir.path());
        let mut seen = 0;
        for entry in std::fs::read_dir(self.dir.path()).unwrap() {
            let path = entry.unwrap().path();
            if path.extension().is_none_or(|e| e != "ppm") {
                continue;
            }
            let bytes = std::fs::read(&path).unwrap();
            // "P6\nWIDTH HEIGHT\n255\n", then three bytes for each dot.
            let head = bytes.iter().enumerate().filter(|(_, b)| **b == b'\n').nth(2).expect("a head").0 + 1;
            for dot in bytes[head..].chunks_exact(3) {
                seen += usize::from(dot[0] < 128);
                let spread = dot.iter().max().unwrap() - dot.iter().min().unwrap();
                assert!(spread <= 4, "{name}: {} has the colour {dot:?}", path.display());
            }
        }
        assert!(seen > 500, "{name}: hardly anything is printed");
    }

    /// Sizes of type, in points.
    fn sizes(&self) -> Vec<f64> {
        let xml = tool("pdftohtml", &["-xml", "-i", "-zoom", "1", "-stdout", "x.pdf"], self.dir.path());
        let xml = String::from_utf8(xml).unwrap();
        let sizes = xml.split("<fontspec ").skip(1).filter_map(|part| part.split("size=\"").nth(1));
        sizes.filter_map(|part| part.split('"').next()?.parse().ok()).collect()
    }
}

/// The texts of each entry of a list, as the page shows them on paper: one list for each.
async fn entries(browser: &Browser, row: &str, parts: &str) -> Vec<Vec<String>> {
    let script = format!(
        "return [...document.querySelectorAll({row:?})].map(row => [...row.querySelectorAll({parts:?})].map(part => part.textContent))"
    );
    let found = browser.run(&script).await;
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    found.as_array().unwrap().iter().map(|row| row.as_array().unwrap().iter().map(text).collect()).collect()
}

/// Who prints and when the page was made (the clock of the tests), and the mark of the demonstration.
const ON_EVERY_SHEET: [&str; 3] = ["Printed by Ruth Ellerby", "25-Nov-2026 10:42", "Demonstration: invented people"];

#[test]
fn lists_number_their_sheets_and_cut_no_entry() {
    block_on(async {
        let app = demonstration();
        let mut browser = Browser::start(&app).await;
        sign_in_as(&mut browser, "nurse").await;
        for (path, row, parts, least) in [
            ("/week", "table.entries tbody tr", ".row-name, .pair, .c-stoma .first, .c-why li", 3),
            ("/week/day", ".day-sheet tbody tr", "td:first-child, .row-name, .pair, .phone-small, td .second", 1),
            ("/week/downtime", ".slips > li", ".slip-time, .row-name, .pair, .band", 3),
        ] {
            browser.open(path).await;
            let all = entries(&browser, row, parts).await;
            assert!(all.len() >= 7, "{path}: {} entries", all.len());
            assert!(!browser.sees("section.patient").await, "{path}: no banner on a list");
            let printed = print(&browser).await;
            assert!(printed.pages.len() >= least, "{path}: {} pages", printed.pages.len());
            printed.has_on_every_page(path, &ON_EVERY_SHEET);
            for entry in &all {
                assert!(entry.iter().any(|text| text.contains("Born")), "two identifiers: {entry:?}");
                assert!(entry.iter().any(|text| text.contains("NHS No.")), "two identifiers: {entry:?}");
                printed.has_together(path, entry);
            }
            printed.is_grey(path);
        }
    });
}

#[test]
fn what_is_about_one_patient_says_so_on_every_sheet() {
    block_on(async {
        let app = demonstration();
        let mut browser = Browser::start(&app).await;
        sign_in_as(&mut browser, "nurse").await;
        let of = patient(&app, "Heatherby");
        let summary = summary_of(&app, of);
        let routine = summary.replace("/summary", "/routine");
        for (path, least) in [
            (format!("/patients/{of}"), 2),
            (summary.clone(), 2),
            (routine.clone(), 3),
            (format!("{routine}?size=large"), 4),
        ] {
            browser.open(&path).await;
            let banner = entries(&browser, "section.patient", ".patient-name a, .patient-ids dd").await.remove(0);
            // Name, born, gender, number: at least three.
            assert!(banner.len() >= 4 && banner[0].contains("HEATHERBY"), "{banner:?}");
            let printed = print(&browser).await;
            assert!(printed.pages.len() >= least, "{path}: {} pages", printed.pages.len());
            let words: Vec<&str> = banner.iter().map(String::as_str).chain(ON_EVERY_SHEET).collect();
            printed.has_on_every_page(&path, &words);
            printed.is_grey(&path);
        }
    });
}

/// 14 point recommended, nothing under 12 (UK Association for Accessible Formats, G003, 2019); large print from 16 (RNIB,
/// Clear Print guidelines).
#[test]
fn what_the_patient_reads_is_large() {
    block_on(async {
        let app = demonstration();
        let mut browser = Browser::start(&app).await;
        sign_in_as(&mut browser, "nurse").await;
        let routine = summary_of(&app, patient(&app, "Heatherby")).replace("/summary", "/routine");
        for (path, body, least) in [(routine.clone(), 14.0, 12.0), (format!("{routine}?size=large"), 18.0, 12.0)] {
            browser.open(&path).await;
            let steps = entries(&browser, "article.routine > ol > li", "h2, p, b, .how").await;
            assert!(steps.len() >= 10);
            let printed = print(&browser).await;
            for step in &steps {
                printed.has_together(&path, step);
            }
            let sizes = printed.sizes();
            // The program that reads sizes rounds them to whole points.
            assert!(sizes.contains(&body), "{path}: {sizes:?}");
            assert!(sizes.iter().all(|size| *size >= least), "{path}: {sizes:?}");
        }
    });
}
