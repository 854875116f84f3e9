//! A real browser: Chromium without a screen, driven by chromedriver; counts what a person would press.
//!
//! Each [`Browser`] has a driver and a profile of its own, so that browser tests run beside one another. Both end when it
//! is dropped, also when a test fails.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tempfile::TempDir;
use thirtyfour::common::capabilities::chromium::ChromiumLikeCapabilities;
use thirtyfour::common::command::ExtensionCommand;
use thirtyfour::prelude::*;

use super::app::{PASSWORD, Person, TestApp};

/// `--no-sandbox`: Chromium refuses to start as root with it, and machines that only test run as root.
const FLAGS: [&str; 11] = [
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--hide-scrollbars",
    "--window-size=1280,900",
];

/// How long an element is waited for: a machine with two cores runs other tests beside this one.
const PATIENCE: Duration = Duration::from_secs(10);

/// A browser window.
pub struct Browser {
    driver: Option<WebDriver>,
    process: Child,
    port: u16,
    presses: u32,
    base: String,
    _profile: TempDir,
}

/// What axe found wrong on a page.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Violation {
    /// Id of axe's rule, as `label`.
    pub rule: String,
    /// What the rule asks for.
    pub help: String,
    /// The elements, as CSS selectors with axe's summary.
    pub places: Vec<String>,
}

/// Which rules of axe-core.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rules {
    /// WCAG 2.2 A and AA.
    All,
    /// Those that depend on colours.
    Colours,
}

impl Browser {
    /// Opens a browser on this service.
    pub async fn start(app: &TestApp) -> Self {
        Self::with_script(app, true).await
    }

    /// Opens a browser in which pages run no script.
    pub async fn without_script(app: &TestApp) -> Self {
        Self::with_script(app, false).await
    }

    /// Opens a browser whose pages run their script, or none.
    pub async fn with_script(app: &TestApp, script: bool) -> Self {
        let profile = tempfile::tempdir().expect("a folder for the profile");
        let (process, port) = start_driver(profile.path());
        let mut wanted = DesiredCapabilities::chrome();
        for flag in FLAGS {
            wanted.add_arg(flag).expect("a flag");
        }
        wanted.add_arg(&format!("--user-data-dir={}", profile.path().display())).expect("a flag");
        wanted.set("goog:loggingPrefs", json!({"browser": "ALL"})).expect("a preference");
        if !script {
            // 2 = blocked, as somebody would choose in the settings.
            let blocked = json!({"profile.managed_default_content_settings.javascript": 2});
            wanted.add_experimental_option("prefs", blocked).expect("a preference");
        }
        let mut browser = Self { driver: None, process, port, presses: 0, base: app.base.clone(), _profile: profile };
        let driver = WebDriver::new(format!("http://127.0.0.1:{port}"), wanted).await;
        browser.driver = Some(driver.expect("a browser session"));
        browser
    }

    /// The driver itself, for what has no helper here.
    pub fn driver(&self) -> &WebDriver {
        self.driver.as_ref().expect("an open browser")
    }

    /// Opens a page.
    pub async fn open(&self, path: &str) {
        self.driver().goto(format!("{}{path}", self.base)).await.expect("the page opens");
    }

    /// Signs in through the page; presses so far are forgotten.
    pub async fn sign_in(&mut self, person: &Person) {
        self.open("/sign-in").await;
        self.find("[name=user]").await.send_keys(&person.sign_in_name).await.expect("typing");
        self.find("[name=password]").await.send_keys(PASSWORD).await.expect("typing");
        self.click("main form button[type=submit]").await;
        assert!(!self.path().await.starts_with("/sign-in"), "signed in as {}", person.sign_in_name);
        self.presses = 0;
    }

    /// Path and query of the page that is open.
    pub async fn path(&self) -> String {
        let url = self.driver().current_url().await.expect("an address").to_string();
        url.strip_prefix(&self.base).map(str::to_owned).unwrap_or(url)
    }

    /// The first element that the CSS selector finds; waited for, because the answer to a form may still be on its way.
    pub async fn find(&self, css: &str) -> WebElement {
        let wanted = self.driver().query(By::Css(css)).wait(PATIENCE, Duration::from_millis(50));
        match wanted.first().await {
            Ok(element) => element,
            Err(error) => panic!("{css} on {}: {error}", self.path().await),
        }
    }

    /// True when there is such an element and it can be seen.
    pub async fn sees(&self, css: &str) -> bool {
        match self.driver().find(By::Css(css)).await {
            Ok(element) => element.is_displayed().await.unwrap_or(false),
            Err(_) => false,
        }
    }

    /// Waits until there is such an element.
    ///
    /// # Panics
    /// When none has come after [`PATIENCE`].
    pub async fn comes(&self, css: &str) {
        self.find(css).await;
    }

    /// The words that can be seen in the first such element.
    pub async fn words(&self, css: &str) -> String {
        self.find(css).await.text().await.expect("words")
    }

    /// Clicks: one press. What leads to another page is waited for: the driver itself does not always do so.
    pub async fn click(&mut self, css: &str) {
        let element = self.find(css).await;
        let leads = "arguments[0].scrollIntoView({block: 'center', behavior: 'instant'}); \
            const to = arguments[0].closest('button[type=submit], a[href]'); \
            const stays = !to || /^#|^tel:|[.]pdf$/.test(to.getAttribute('href') ?? ''); return stays ? 0 : performance.timeOrigin;";
        let leads = self.driver().execute(leads, vec![element.to_json().expect("an element")]).await;
        let before = leads.expect("the script runs").json().as_f64().unwrap_or_default();
        element.click().await.expect("a click");
        self.presses += 1;
        if before != 0.0 {
            self.leaves(before).await;
        }
    }

    /// Waits until another page than the one that began at this time is whole. Gives up silently after [`PATIENCE`]:
    /// a press may be refused on purpose, and what the test then looks for says so.
    async fn leaves(&self, before: f64) {
        let began = Instant::now();
        while began.elapsed() < PATIENCE {
            let now = self
                .driver()
                .execute("return document.readyState == 'complete' ? performance.timeOrigin : 0", [])
                .await;
            let now = now.ok().and_then(|n| n.json().as_f64()).unwrap_or_default();
            if now != 0.0 && now > before {
                return;
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    }

    /// Types into a field that need not be clicked first: one press for each letter or digit.
    pub async fn type_into(&mut self, css: &str, text: &str) {
        self.find(css).await.send_keys(text).await.expect("typing");
        self.presses += u32::try_from(text.chars().count()).expect("a short text");
    }

    /// Presses one key, or one key with others held, where the focus is: one press.
    pub async fn press(&mut self, keys: &str) {
        self.driver().active_element().await.expect("a focus").send_keys(keys).await.expect("a key");
        self.presses += 1;
    }

    /// Clicks and typed letters since the sign-in or since [`Self::count_anew`].
    pub fn presses(&self) -> u32 {
        self.presses
    }

    /// Begins to count at 0.
    pub fn count_anew(&mut self) {
        self.presses = 0;
    }

    /// Runs a script in the page and answers what it returns. Works in a page whose own scripts are blocked.
    pub async fn run(&self, script: &str) -> Value {
        self.driver().execute(script, Vec::new()).await.expect("the script runs").json().clone()
    }

    /// Gives the browser an order of the DevTools protocol, which chromedriver passes on, and answers what it says.
    pub async fn cdp(&self, order: &str, params: Value) -> Value {
        let command = Order(json!({"cmd": order, "params": params}));
        let command = thirtyfour::common::command::Command::ExtensionCommand(Box::new(command));
        let answer = self.driver().handle().cmd(command).await.unwrap_or_else(|error| panic!("{order}: {error}"));
        answer.value_json().unwrap_or_default()
    }

    /// Another device: width and height in CSS pixels, how many dots a pixel has, a mouse or a finger. Emulated: a real
    /// window of Chromium is never narrower than some 500 pixels.
    pub async fn device(&self, width: u32, height: u32, dots: u32, touch: bool) {
        let size = json!({"width": width, "height": height, "deviceScaleFactor": dots, "mobile": touch});
        self.cdp("Emulation.setDeviceMetricsOverride", size).await;
        self.cdp("Emulation.setTouchEmulationEnabled", json!({"enabled": touch})).await;
    }

    /// What the reader prefers, as media features: `[("prefers-color-scheme", "dark")]`. Motion is always reduced, so that
    /// nothing is looked at halfway.
    pub async fn prefers(&self, features: &[(&str, &str)]) {
        let mut all = vec![json!({"name": "prefers-reduced-motion", "value": "reduce"})];
        all.extend(features.iter().map(|(name, value)| json!({"name": name, "value": value})));
        self.cdp("Emulation.setEmulatedMedia", json!({"features": all})).await;
    }

    /// Puts axe-core into every page that is opened from now on; [`Self::axe`] then need not.
    pub async fn carry_axe(&self) {
        self.cdp("Page.enable", json!({})).await;
        self.cdp("Page.addScriptToEvaluateOnNewDocument", json!({"source": axe_source()})).await;
    }

    /// Checks the page with axe-core against WCAG 2.2 A and AA.
    pub async fn axe(&self) -> Vec<Violation> {
        self.axe_by(Rules::All).await
    }

    /// Checks the page with these rules of axe-core.
    pub async fn axe_by(&self, rules: Rules) -> Vec<Violation> {
        if self.run("return typeof axe").await != json!("object") {
            self.driver().execute(axe_source(), Vec::new()).await.expect("axe is put into the page");
        }
        let only = match rules {
            Rules::All => "['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']",
            Rules::Colours => "{type: 'rule', values: ['color-contrast', 'link-in-text-block']}",
        };
        let call = format!(
            "const done = arguments[arguments.length - 1]; \
             axe.run(document, {{runOnly: {only}, resultTypes: ['violations']}}) \
                .then(found => done(found.violations), error => done(String(error)));"
        );
        let found = self.driver().execute_async(call, Vec::new()).await.expect("axe runs").json().clone();
        let found = found.as_array().unwrap_or_else(|| panic!("axe: {found}")).clone();
        let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
        let place = |node: &Value| format!("{}: {}", node["target"], text(&node["failureSummary"]));
        found
            .iter()
            .map(|v| Violation {
                rule: text(&v["id"]),
                help: text(&v["help"]),
                places: v["nodes"].as_array().into_iter().flatten().map(place).collect(),
            })
            .collect()
    }

    /// What the browser complained of since this was asked last: blocked scripts and styles, missing files.
    pub async fn complaints(&self) -> Vec<String> {
        let answer = self.ask_driver("se/log", &json!({"type": "browser"})).await;
        let entries = answer["value"].as_array().unwrap_or_else(|| panic!("the driver's log: {answer}"));
        entries.iter().filter_map(|entry| entry["message"].as_str()).map(str::to_owned).collect()
    }

    /// Puts the browser's network off or on, as its developer tools do.
    pub async fn offline(&self, offline: bool) {
        let params = json!({"offline": offline, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1});
        for (cmd, params) in [("Network.enable", json!({})), ("Network.emulateNetworkConditions", params)] {
            let answer = self.ask_driver("goog/cdp/execute", &json!({"cmd": cmd, "params": params})).await;
            assert!(answer["value"]["error"].is_null(), "{cmd}: {answer}");
        }
    }

    /// What the driver's library has no call for.
    async fn ask_driver(&self, what: &str, body: &Value) -> Value {
        let session = self.driver().session_id().to_string();
        let url = format!("http://127.0.0.1:{}/session/{session}/{what}", self.port);
        let http = reqwest::Client::builder().no_proxy().build().expect("a client");
        let asked = http.post(url).header("content-type", "application/json").body(body.to_string());
        let answer = asked.send().await.expect("the driver answers").text().await.expect("text");
        serde_json::from_str(&answer).expect("JSON")
    }

    /// Makes the window this large.
    pub async fn resize(&self, width: u32, height: u32) {
        self.driver().set_window_rect(0, 0, width, height).await.expect("another size");
    }

    /// Keeps a picture of the window as `target/pictures/NAME.png`, for people to look at.
    pub async fn picture(&self, name: &str) -> PathBuf {
        let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("../pictures");
        std::fs::create_dir_all(&folder).expect("a folder for pictures");
        let file = folder.join(format!("{name}.png"));
        std::fs::write(&file, self.driver().screenshot_as_png().await.expect("a picture")).expect("the file");
        file
    }
}

/// An order of the DevTools protocol.
#[derive(Debug)]
struct Order(Value);

impl ExtensionCommand for Order {
    fn parameters_json(&self) -> Option<Value> {
        Some(self.0.clone())
    }

    fn method(&self) -> reqwest::Method {
        reqwest::Method::POST
    }

    fn endpoint(&self) -> Arc<str> {
        Arc::from("/goog/cdp/execute")
    }
}

fn axe_source() -> String {
    let file = std::env::var("ROUNDEL_TEST_AXE").expect("run tests/run, it names axe.min.js");
    std::fs::read_to_string(file).expect("axe.min.js")
}

impl Drop for Browser {
    fn drop(&mut self) {
        // Chromium ends with its session. The driver's own client cannot be asked here: it waits for the very runtime
        // that is busy dropping this. So the session is ended over a connection of its own.
        if let Some(driver) = self.driver.take() {
            let ended = end_session(self.port, &driver.session_id().to_string());
            let _ = driver.leak();
            if let Err(error) = ended {
                eprintln!("a browser session was not ended: {error}");
            }
        }
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

fn end_session(port: u16, session: &str) -> std::io::Result<()> {
    let mut driver = TcpStream::connect(("127.0.0.1", port))?;
    driver.set_read_timeout(Some(Duration::from_secs(10)))?;
    write!(driver, "DELETE /session/{session} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n")?;
    driver.read(&mut [0; 1]).map(drop) // the first byte comes when the session has ended
}

/// Starts chromedriver on a port that it chooses itself.
fn start_driver(folder: &Path) -> (Child, u16) {
    let mut driver = Command::new("chromedriver");
    // Chromium leaves folders behind wherever temporary files go: there they are removed with the profile.
    driver.arg("--port=0").env("TMPDIR", folder).stdout(Stdio::piped()).stderr(Stdio::null());
    let mut process = driver.spawn().expect("chromedriver; tests/run installs it");
    let mut said = String::new();
    let mut lines = BufReader::new(process.stdout.take().expect("its output"));
    loop {
        let mut line = String::new();
        if lines.read_line(&mut line).expect("its output") == 0 {
            let _ = process.kill();
            let _ = process.wait();
            panic!("chromedriver did not start:\n{said}");
        }
        said.push_str(&line);
        if let Some((_, port)) = line.split_once("successfully on port ") {
            let port = port.trim_end_matches(['.', '\n']).parse().expect("a port");
            // Somebody must go on reading, or the driver stops when the pipe is full.
            std::thread::spawn(move || std::io::copy(&mut lines, &mut std::io::sink()));
            return (process, port);
        }
    }
}
