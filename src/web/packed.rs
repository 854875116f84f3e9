//! Assets as they are sent: the style sheet without its comments, and text compressed once as small as gzip makes it.
//!
//! Pages are compressed as they come and quickly; what every page needs is worth more effort, and only once.

use std::borrow::Cow;
use std::collections::HashMap;
use std::io::Write;
use std::sync::{LazyLock, Mutex, PoisonError};

use actix_web::http::header::{ACCEPT_ENCODING, CONTENT_ENCODING, CONTENT_TYPE, VARY};
use actix_web::{HttpRequest, HttpResponse, HttpResponseBuilder};
use flate2::Compression;
use flate2::write::GzEncoder;

static PACKED: LazyLock<Mutex<HashMap<String, Vec<u8>>>> = LazyLock::new(Mutex::default);

/// A style sheet without comments and indentation. Ours holds no comment within a string.
pub fn slim(css: &str) -> String {
    let mut rest = css;
    let mut plain = String::with_capacity(css.len());
    while let Some((before, after)) = rest.split_once("/*") {
        plain.push_str(before);
        rest = after.split_once("*/").map_or("", |(_, after)| after);
    }
    plain.push_str(rest);
    let lines = plain.lines().map(str::trim).filter(|line| !line.is_empty());
    lines.collect::<Vec<_>>().join("\n")
}

fn gzip(data: &[u8]) -> Option<Vec<u8>> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
    encoder.write_all(data).ok()?;
    encoder.finish().ok()
}

/// Whether the reader takes gzip: named, and not with a weight of 0.
fn takes_gzip(request: &HttpRequest) -> bool {
    let accepted = request.headers().get(ACCEPT_ENCODING).and_then(|value| value.to_str().ok()).unwrap_or("");
    accepted.split(',').any(|one| {
        let mut parts = one.split(';').map(str::trim);
        let named = parts.next().is_some_and(|name| name.eq_ignore_ascii_case("gzip"));
        named && !parts.any(|part| matches!(part.replace(' ', "").as_str(), "q=0" | "q=0.0" | "q=0.00" | "q=0.000"))
    })
}

/// The answer with an asset of this kind; `name` tells the assets apart.
pub fn answer(
    request: &HttpRequest,
    mut answer: HttpResponseBuilder,
    name: &str,
    kind: &str,
    data: Cow<'static, [u8]>,
) -> HttpResponse {
    answer.insert_header((CONTENT_TYPE, kind));
    if !kind.starts_with("text/") && !kind.starts_with("image/svg") {
        return answer.body(data.into_owned());
    }
    let data = match std::str::from_utf8(&data) {
        Ok(text) if kind.starts_with("text/css") => slim(text).into_bytes(),
        _ => data.into_owned(),
    };
    answer.insert_header((VARY, "accept-encoding"));
    if !takes_gzip(request) {
        return answer.body(data);
    }
    let mut packed = PACKED.lock().unwrap_or_else(PoisonError::into_inner);
    let known = packed.get(name).cloned().or_else(|| {
        let small = gzip(&data)?;
        packed.insert(name.to_owned(), small.clone());
        Some(small)
    });
    match known {
        Some(small) => answer.insert_header((CONTENT_ENCODING, "gzip")).body(small),
        None => answer.body(data),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slim_sheet_says_the_same() {
        let css = "/* head */\na { color: red; /* why */ }\n\n  @media print {\n    b { c: d; }\n  }\n/* never closed";
        assert_eq!(slim(css), "a { color: red;  }\n@media print {\nb { c: d; }\n}");
    }

    #[test]
    fn our_sheet_has_no_comment_within_a_string() {
        let css = include_str!("../../static/roundel.css");
        let inside = css.split('"').skip(1).step_by(2);
        for string in inside.filter(|s| s.len() < 200) {
            assert!(!string.contains("/*"), "{string}");
        }
        assert_eq!(css.matches('{').count(), css.matches('}').count());
        assert_eq!(slim(css).matches('{').count(), slim(css).matches('}').count());
    }
}
