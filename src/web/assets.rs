//! Style sheet, script, fonts: embedded, served under a name that changes with their content.

use std::sync::LazyLock;

use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse};
use rust_embed::RustEmbed;
use sha2::{Digest, Sha256};

use super::error::AppError;
use super::extract::PathOf;
use super::packed;
use super::shell::Shell;

#[derive(RustEmbed)]
#[folder = "static/"]
#[exclude = "fonts/pdf/*"]
struct Static;

/// A short hash over all assets: part of their address, so that they may be cached for ever.
static STAMP: LazyLock<String> = LazyLock::new(|| {
    let mut sha = Sha256::new();
    let mut names: Vec<_> = Static::iter().collect();
    names.sort();
    for file in names.iter().filter_map(|name| Static::get(name)) {
        sha.update(file.metadata.sha256_hash());
    }
    hex::encode(&sha.finalize()[..6])
});

/// The script: the parts of `static/js/` one after another, each in a block of its own, so that a page asks once.
static SCRIPT: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let mut names: Vec<_> = Static::iter().filter(|name| name.starts_with("js/")).collect();
    names.sort();
    let head = "// Small conveniences. Every page works without this file; the server decides and counts everything itself.\n\
                // Text only: nothing here parses HTML, so that Trusted Types has nothing to refuse.\n";
    let mut script = head.as_bytes().to_vec();
    for file in names.iter().filter_map(|name| Static::get(name)) {
        script.extend_from_slice(b"{\n");
        script.extend_from_slice(&file.data);
        script.extend_from_slice(b"}\n");
    }
    script
});

/// The address of an asset.
pub fn href(file: &str) -> String {
    format!("/static/{}/{file}", *STAMP)
}

/// A shell with only the assets' addresses in it.
pub fn shell() -> Shell {
    let fonts = ["fonts/atkinson-latin-400.woff2", "fonts/atkinson-latin-700.woff2"].map(href).into();
    Shell { css: href("roundel.css"), js: href("roundel.js"), icon: href("mark.svg"), fonts, ..Shell::default() }
}

/// A shell for somebody not signed in.
pub fn anonymous_shell(title: &str, demo: bool) -> Shell {
    Shell {
        demo,
        title: title.to_owned(),
        service: "stoma care caseload".to_owned(),
        help_href: "/help/signing-in".to_owned(),
        help: "or ask your administrator".to_owned(),
        ..shell()
    }
}

/// `GET /static/{stamp}/{file}`
pub async fn file(request: HttpRequest, path: PathOf<(String, String)>) -> Result<HttpResponse, AppError> {
    let (_, name) = path.into_inner();
    let data = match name.as_str() {
        "roundel.js" => std::borrow::Cow::Borrowed(SCRIPT.as_slice()),
        name if name.starts_with("js/") => return Err(AppError::NotFound),
        name => Static::get(name).ok_or(AppError::NotFound)?.data,
    };
    let kind = match name.rsplit('.').next() {
        Some("css") => "text/css; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("svg") => "image/svg+xml",
        Some("woff2") => "font/woff2",
        _ => "text/plain; charset=utf-8",
    };
    let mut answer = HttpResponse::Ok();
    answer.insert_header((header::CACHE_CONTROL, "public, max-age=31536000, immutable"));
    Ok(packed::answer(&request, answer, &name, kind, data))
}
