//! A browser without a screen: keeps the session cookie and the form token, follows no redirect, hides nothing.

use std::sync::Mutex;

use reqwest::header::{COOKIE, HeaderMap, SET_COOKIE};
use reqwest::{Method, RequestBuilder};
use roundel::access::sign_in;
use roundel::db::ids::StaffId;
use scraper::{Html, Selector};

/// Somebody who uses the service.
pub struct Client {
    http: reqwest::Client,
    base: String,
    kept: Mutex<Kept>,
    /// Who is signed in, when [`super::TestApp`] signed them in.
    pub staff: Option<StaffId>,
}

#[derive(Default)]
struct Kept {
    cookie: Option<String>,
    token: Option<String>,
    /// Own id of the form on the page seen last, until it was sent.
    once: Option<String>,
}

impl Client {
    /// Nobody yet.
    pub fn new(http: reqwest::Client, base: &str) -> Self {
        Self { http, base: base.to_owned(), kept: Mutex::default(), staff: None }
    }

    /// Somebody with a session: its reference and its form token.
    pub fn with_session(mut self, staff: StaffId, reference: &str, token: &str) -> Self {
        self.staff = Some(staff);
        self.kept = Mutex::new(Kept { cookie: Some(reference.to_owned()), token: Some(token.to_owned()), once: None });
        self
    }

    /// The session's reference, as the cookie holds it.
    pub fn cookie(&self) -> Option<String> {
        self.kept.lock().unwrap().cookie.clone()
    }

    /// Another browser that was handed this one's cookie.
    pub fn again(&self) -> Self {
        let kept = self.kept.lock().unwrap();
        let kept = Mutex::new(Kept { cookie: kept.cookie.clone(), token: kept.token.clone(), once: None });
        Self { http: self.http.clone(), base: self.base.clone(), kept, staff: self.staff }
    }

    /// The token of the page seen last, which forms send back as `csrf`.
    pub fn token(&self) -> Option<String> {
        self.kept.lock().unwrap().token.clone()
    }

    /// A request without anything a browser adds: no cookie, no token, no origin.
    pub fn bare(&self, method: Method, path: &str) -> RequestBuilder {
        self.http.request(method, format!("{}{path}", self.base))
    }

    /// A request with the cookie but nothing that says where it comes from.
    pub fn without_origin(&self, method: Method, path: &str) -> RequestBuilder {
        let request = self.bare(method, path);
        match self.cookie() {
            Some(cookie) => request.header(COOKIE, format!("{}={cookie}", sign_in::COOKIE)),
            None => request,
        }
    }

    /// A request as a browser makes it from a page of ours.
    pub fn request(&self, method: Method, path: &str) -> RequestBuilder {
        self.without_origin(method, path).header("sec-fetch-site", "same-origin")
    }

    /// Sends a request and reads the answer; keeps cookie and token from it.
    pub async fn send(&self, request: RequestBuilder) -> Page {
        let answer = request.send().await.expect("an answer");
        let (status, headers) = (answer.status().as_u16(), answer.headers().clone());
        let path = answer.url().path().to_owned();
        let bytes = answer.bytes().await.expect("the whole answer").to_vec();
        let page = Page { path, status, headers, text: String::from_utf8_lossy(&bytes).into_owned(), bytes };
        let mut kept = self.kept.lock().unwrap();
        let name = format!("{}=", sign_in::COOKIE);
        if let Some(value) = page.set_cookies().iter().find_map(|c| c.strip_prefix(&name)) {
            let value = value.split(';').next().unwrap_or("");
            kept.cookie = (!value.is_empty()).then(|| value.to_owned());
        }
        if let Some(token) = page.csrf() {
            kept.token = Some(token);
        }
        // Sent: the page is left. Another page has another form on it.
        if page.status == 303 || page.status == 200 {
            kept.once = None;
        }
        if page.text.contains("name=\"once\"") {
            kept.once = page.attributes("input[name='once']", "value").into_iter().next();
        }
        drop(kept);
        page
    }

    /// Opens a page.
    pub async fn get(&self, path: &str) -> Page {
        self.send(self.request(Method::GET, path)).await
    }

    /// Sends a form with the token of the page seen last, and with the form's own id if that page has one.
    pub async fn post(&self, path: &str, fields: &[(&str, &str)]) -> Page {
        let mut fields = fields.to_vec();
        let token = self.token();
        if let Some(token) = token.as_deref().filter(|_| !fields.iter().any(|(name, _)| *name == "csrf")) {
            fields.push(("csrf", token));
        }
        let once = self.kept.lock().unwrap().once.clone();
        if let Some(once) = once.as_deref().filter(|_| !fields.iter().any(|(name, _)| *name == "once")) {
            fields.push(("once", once));
        }
        self.post_only(path, &fields).await
    }

    /// Sends a form whose effect on reviews is shown first, and confirms what was shown.
    pub async fn post_confirmed(&self, path: &str, fields: &[(&str, &str)]) -> Page {
        let shown = self.post(path, fields).await.expect(200);
        assert!(shown.value("seal").is_some(), "no page that asks first: {}", shown.heading());
        let kept = shown.fields("main form");
        let kept: Vec<(&str, &str)> = kept.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
        self.post_only(path, &kept).await
    }

    /// Sends a form with these fields and no token.
    pub async fn post_only(&self, path: &str, fields: &[(&str, &str)]) -> Page {
        self.send(form(self.request(Method::POST, path), fields)).await
    }

    /// Opens a page, follows redirects as a browser does.
    pub async fn follow(&self, path: &str) -> Page {
        let mut page = self.get(path).await;
        for _ in 0..5 {
            let Some(location) = page.location() else { return page };
            page = self.get(&location).await;
        }
        panic!("{path} leads in a circle");
    }
}

/// Puts a form into a request.
pub fn form(request: RequestBuilder, fields: &[(&str, &str)]) -> RequestBuilder {
    let body = serde_html_form::to_string(fields).expect("a form");
    request.header("content-type", "application/x-www-form-urlencoded").body(body)
}

/// An answer.
#[derive(Debug)]
pub struct Page {
    /// What was asked for.
    pub path: String,
    /// Status.
    pub status: u16,
    /// Headers.
    pub headers: HeaderMap,
    /// Body as text.
    pub text: String,
    /// Body as it came.
    pub bytes: Vec<u8>,
}

impl Page {
    /// Fails unless the status is this one; hands the page back.
    #[track_caller]
    pub fn expect(self, status: u16) -> Self {
        assert_eq!(self.status, status, "{} answered:\n{}", self.path, self.words());
        self
    }

    /// Where a redirect leads.
    pub fn location(&self) -> Option<String> {
        self.header("location").map(str::to_owned)
    }

    /// A header's value.
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.get(name).and_then(|value| value.to_str().ok())
    }

    /// Cookies that the answer sets, whole.
    pub fn set_cookies(&self) -> Vec<String> {
        self.headers.get_all(SET_COOKIE).iter().filter_map(|v| v.to_str().ok()).map(str::to_owned).collect()
    }

    /// The parsed page.
    pub fn html(&self) -> Html {
        Html::parse_document(&self.text)
    }

    /// The words of every element that the CSS selector finds, blanks run together.
    pub fn select_text(&self, css: &str) -> Vec<String> {
        self.html().select(&selector(css)).map(|e| one_line(&e.text().collect::<String>())).collect()
    }

    /// The words of the first element that the selector finds.
    #[track_caller]
    pub fn first(&self, css: &str) -> String {
        let found = self.select_text(css);
        found.into_iter().next().unwrap_or_else(|| panic!("{}: no {css} in:\n{}", self.path, self.text))
    }

    /// True when there is such an element.
    pub fn has(&self, css: &str) -> bool {
        self.html().select(&selector(css)).next().is_some()
    }

    /// What a browser would send of the first form of a selector, in the order of the page.
    pub fn fields(&self, css: &str) -> Vec<(String, String)> {
        let html = self.html();
        let of = |css: &str| scraper::Selector::parse(css).expect("a selector");
        let Some(form) = html.select(&of(css)).next() else { return Vec::new() };
        let mut fields = Vec::new();
        for field in form.select(&of("input, select, textarea")) {
            let (kind, Some(name)) = (field.attr("type").unwrap_or(""), field.attr("name")) else { continue };
            let value = match field.value().name() {
                "select" => {
                    let chosen = field.select(&of("option[selected]")).next();
                    let chosen = chosen.or_else(|| field.select(&of("option")).next());
                    chosen.and_then(|o| o.attr("value")).unwrap_or("").to_owned()
                }
                "textarea" => field.text().collect(),
                _ if matches!(kind, "checkbox" | "radio") && field.attr("checked").is_none() => continue,
                _ => field.attr("value").unwrap_or("").to_owned(),
            };
            fields.push((name.to_owned(), value));
        }
        fields
    }

    /// An attribute of every element that the selector finds.
    pub fn attributes(&self, css: &str, attribute: &str) -> Vec<String> {
        let html = self.html();
        html.select(&selector(css)).filter_map(|e| e.attr(attribute)).map(str::to_owned).collect()
    }

    /// The value of the first field of this name.
    pub fn value(&self, name: &str) -> Option<String> {
        self.attributes(&format!("input[name='{name}']"), "value").into_iter().next().or_else(|| {
            let chosen = format!("select[name='{name}'] option[selected]");
            let value = self.attributes(&chosen, "value").into_iter().next();
            value.or_else(|| self.select_text(&format!("textarea[name='{name}']")).into_iter().next())
        })
    }

    /// The form token.
    pub fn csrf(&self) -> Option<String> {
        if !self.text.contains("name=\"csrf\"") {
            return None;
        }
        self.attributes("input[name='csrf']", "value").into_iter().next()
    }

    /// The main heading.
    pub fn heading(&self) -> String {
        self.select_text("h1").into_iter().next().unwrap_or_default()
    }

    /// All words of the page's body, or the text itself when it is no page.
    pub fn words(&self) -> String {
        if self.header("content-type").is_some_and(|kind| kind.starts_with("text/html")) {
            self.select_text("body").join(" ")
        } else {
            self.text.clone()
        }
    }
}

fn selector(css: &str) -> Selector {
    Selector::parse(css).unwrap_or_else(|error| panic!("{css}: {error}"))
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
