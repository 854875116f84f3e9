//! The bars of the project, measured against the real binary in one run: `cargo bench`. Nothing here fails a build; it
//! prints what it measured beside the bar. Numbers kept: `docs/measured.md`.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a bench that cannot run should say so loudly"
)]
#![allow(missing_docs, reason = "a bench has no readers of its items")]

mod follow_up;

use std::fmt::Write;
use std::io::{BufRead, BufReader, Read};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use roundel::demo::PASSWORD;
use roundel::patients::identifiers::check_digit;
use roundel::skin::rules::{Finding, Plate, SkinMap, Stoma, calibration, shares};

const PROGRAM: &str = env!("CARGO_BIN_EXE_roundel");

struct Served {
    child: Child,
    base: String,
}

impl Drop for Served {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

/// Starts the demonstration; answers how long it took until a page was answered.
fn demo(folder: &std::path::Path, patients: usize) -> (Served, Duration) {
    let began = Instant::now();
    let mut child = Command::new(PROGRAM)
        .args(["demo", "--port", "0", "--patients", &patients.to_string(), "--data"])
        .arg(folder)
        .env("ROUNDEL_LOG", "error")
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let line = lines.map_while(Result::ok).find(|l| l.contains("http://")).expect("an address");
    let base = line.split_whitespace().find(|w| w.starts_with("http://")).unwrap().trim_end_matches('/').to_owned();
    let served = Served { child, base };
    runtime().block_on(async {
        reqwest::get(format!("{}/sign-in", served.base)).await.unwrap().error_for_status().unwrap();
    });
    (served, began.elapsed())
}

fn runtime() -> tokio::runtime::Runtime {
    tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap()
}

/// Resident memory in MB.
fn resident(child: &Child) -> f64 {
    let status = std::fs::read_to_string(format!("/proc/{}/status", child.id())).unwrap();
    let line = status.lines().find(|l| l.starts_with("VmRSS")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<f64>().unwrap() / 1024.0
}

fn median(mut times: Vec<Duration>) -> (Duration, Duration) {
    times.sort();
    (times[times.len() / 2], times[times.len() * 95 / 100])
}

fn say(what: &str, measured: &str, bar: &str) {
    println!("{what:<58} {measured:>26}   bar: {bar}");
}

struct Browser {
    http: reqwest::Client,
    base: String,
    cookie: String,
}

impl Browser {
    async fn sign_in(base: &str) -> Self {
        let http = reqwest::Client::builder().redirect(reqwest::redirect::Policy::none()).build().unwrap();
        let body = serde_html_form::to_string([("user", "prescriber"), ("password", PASSWORD)]).unwrap();
        let answer = http
            .post(format!("{base}/sign-in"))
            .header("sec-fetch-site", "same-origin")
            .header("content-type", "application/x-www-form-urlencoded")
            .body(body)
            .send()
            .await
            .unwrap();
        let cookie = answer.headers()["set-cookie"].to_str().unwrap().split(';').next().unwrap().to_owned();
        Self { http, base: base.to_owned(), cookie }
    }

    async fn get(&self, path: &str) -> Vec<u8> {
        let answer = self.http.get(format!("{}{path}", self.base)).header("cookie", &self.cookie).send().await.unwrap();
        answer.error_for_status().unwrap().bytes().await.unwrap().to_vec()
    }

    /// Searches; answers how many rows the result shows.
    async fn find(&self, typed: &str) -> usize {
        let page = String::from_utf8(self.get("/patients").await).unwrap();
        let token = page.split("name=\"csrf\" value=\"").nth(1).and_then(|rest| rest.split('"').next()).unwrap();
        let body = serde_html_form::to_string([("csrf", token), ("q", typed)]).unwrap();
        let sent = self.http.post(format!("{}/patients/search", self.base)).header("cookie", &self.cookie);
        let sent =
            sent.header("sec-fetch-site", "same-origin").header("content-type", "application/x-www-form-urlencoded");
        assert_eq!(sent.body(body).send().await.unwrap().status().as_u16(), 303);
        String::from_utf8(self.get("/patients").await).unwrap().matches("class=\"row-name\"").count()
    }

    async fn timed(&self, path: &str, times: usize) -> (Duration, Duration) {
        self.get(path).await;
        let mut took = Vec::with_capacity(times);
        for _ in 0..times {
            let began = Instant::now();
            self.get(path).await;
            took.push(began.elapsed());
        }
        median(took)
    }
}

/// The address of the first summary that a record of the week leads to.
async fn a_summary(browser: &Browser) -> String {
    let week = String::from_utf8(browser.get("/week").await).unwrap();
    let records = week.split("class=\"row-name\" href=\"").skip(1).filter_map(|part| part.split('"').next());
    for record in records {
        let page = String::from_utf8(browser.get(record).await).unwrap();
        if let Some(after) = page.split("href=\"/prescriptions/").nth(1) {
            return format!("/prescriptions/{}", after.split('"').next().unwrap());
        }
    }
    panic!("no patient of the week has a list in force");
}

/// The address of the clinic form of the first patient of the week who has been assessed.
async fn a_form(browser: &Browser) -> String {
    let week = String::from_utf8(browser.get("/week").await).unwrap();
    let records = week.split("class=\"row-name\" href=\"").skip(1).filter_map(|part| part.split('"').next());
    for record in records {
        let form = format!("{record}/contacts/new");
        if String::from_utf8(browser.get(&form).await).unwrap().contains("Last time, ") {
            return form;
        }
    }
    panic!("nobody of the week has a map");
}

/// The shares of a map with many marked cells, an offset and an oval stoma: what a full form asks for.
fn map_shares() {
    let mut cells = calibration::range(1, 12, &[1, 2], Finding::Discoloured);
    cells.extend(calibration::range(3, 9, &[1], Finding::Eroded));
    let map = SkinMap {
        stoma: Stoma { width_mm: 34.0, height_mm: 27.0 },
        plate: Plate { diameter_mm: 100.0, offset_x_mm: 8.0, offset_y_mm: -5.0 },
        rings: 3,
        cells,
    };
    let mut took = Vec::new();
    for _ in 0..2_000 {
        let began = Instant::now();
        std::hint::black_box(shares(std::hint::black_box(&map)).unwrap());
        took.push(began.elapsed());
    }
    let (half, most) = median(took);
    say("a map's shares, median (p95)", &format!("{half:.2?} ({most:.2?})"), "50 µs");
}

fn pages() {
    let folder = tempfile::tempdir().unwrap();
    let (first, took) = demo(folder.path(), 1_500);
    say("demo of 1,500 patients made and answering, first run", &format!("{took:.2?}"), "none");
    drop(first);
    let (served, took) = demo(folder.path(), 1_500);
    say("demo answers after a start, later runs", &format!("{took:.0?}"), "1 s");
    say("resident memory after the start", &format!("{:.0} MB", resident(&served.child)), "64 MB");
    runtime().block_on(async {
        let browser = Browser::sign_in(&served.base).await;
        let (half, most) = browser.timed("/week", 200).await;
        let size = browser.get("/week").await.len() / 1024;
        say("the week of 1,500 patients, median (p95)", &format!("{half:.2?} ({most:.2?}), {size} kB"), "10 ms");
        let summary = a_summary(&browser).await;
        let (half, most) = browser.timed(&summary, 100).await;
        say("summary as a page, median (p95)", &format!("{half:.2?} ({most:.2?})"), "none");
        let form = a_form(&browser).await;
        let (half, most) = browser.timed(&form, 200).await;
        let size = browser.get(&form).await.len() / 1024;
        say("the clinic form, median (p95)", &format!("{half:.2?} ({most:.2?}), {size} kB"), "5 ms");
        let pdf = format!("{summary}.pdf");
        let (half, most) = browser.timed(&pdf, 100).await;
        let size = browser.get(&pdf).await.len() / 1024;
        say("summary as PDF, warm, median (p95)", &format!("{half:.2?} ({most:.2?}), {size} kB"), "20 ms");
        say("resident memory after all that", &format!("{:.0} MB", resident(&served.child)), "64 MB");
    });
}

/// What a clerk on the telephone waits for: a look-up in a large caseload, with who may be the same person marked.
fn look_up() {
    let folder = tempfile::tempdir().unwrap();
    let (served, _) = demo(folder.path(), 20_000);
    runtime().block_on(async {
        let browser = Browser::sign_in(&served.base).await;
        for (what, typed) in [("a family name of many", "th"), ("a year and day of birth", "12 Mar 1948")] {
            let found = browser.find(typed).await;
            let (half, most) = browser.timed("/patients", 100).await;
            let what = format!("20,000 patients: {what}, {found} shown, median (p95)");
            say(&what, &format!("{half:.2?} ({most:.2?})"), "50 ms");
        }
    });
}

/// An invented caseload of many rows, as a spreadsheet program writes it.
fn sheet(rows: usize) -> String {
    let mut text = String::from("Surname;Forename;DOB;NHS number;Stoma;Op date;Discharged;Last seen\r\n");
    let numbers = (999_000_001_u32..).filter_map(|stem| check_digit(&stem.to_string()).map(|d| format!("{stem}{d}")));
    for (i, number) in numbers.take(rows).enumerate() {
        let kind = ["colostomy", "loop ileostomy", "urostomy"][i % 3];
        let (day, month, year) = (i % 28 + 1, i / 28 % 12 + 1, 2015 + i / 336 % 11);
        let _ = write!(
            text,
            "Family{i};Given{i};{day:02}/{month:02}/{};{number};{kind};{day:02}/{month:02}/{year};;\r\n",
            1930 + i % 70
        );
    }
    text
}

fn import() {
    let folder = tempfile::tempdir().unwrap();
    let url = format!("sqlite:{}/clinic.db", folder.path().display());
    let run = |arguments: &[&str]| {
        let began = Instant::now();
        let mut child = Command::new(PROGRAM)
            .args(arguments)
            .env("ROUNDEL_DATABASE_URL", &url)
            .env("ROUNDEL_REFUSE_TEST_NUMBERS", "false")
            .env("ROUNDEL_LOG", "error")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut said = String::new();
        child.stdout.take().unwrap().read_to_string(&mut said).unwrap();
        child.wait().unwrap();
        (began.elapsed(), said.lines().last().unwrap_or_default().to_owned())
    };
    run(&["staff", "add", "Bench", "bench@clinic.example", "--role", "lead", "--service", "Bench"]);
    let file = folder.path().join("caseload.csv");
    std::fs::write(&file, sheet(20_000)).unwrap();
    let file = file.to_str().unwrap();
    let (took, said) = run(&["import", "caseload", file]);
    say("20,000 rows brought in", &format!("{took:.2?}"), "10 s");
    println!("  {said}");
    let (took, said) = run(&["import", "caseload", file]);
    say("the same 20,000 rows again", &format!("{took:.2?}"), "none");
    println!("  {said}");
}

fn main() {
    // `cargo test --benches` asks every bench to list its tests; there are none.
    if std::env::args().any(|a| a == "--list" || a == "--test") {
        return;
    }
    // `cargo bench -- follow-up` runs the parts named, else all.
    let parts: [(&str, fn()); 5] = [
        ("map", map_shares),
        ("pages", pages),
        ("look-up", look_up),
        ("import", import),
        ("follow-up", follow_up::run),
    ];
    let named: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with('-')).collect();
    for (name, run) in parts {
        if named.is_empty() || named.iter().any(|n| n == name) {
            run();
        }
    }
}
