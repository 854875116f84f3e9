//! What comes in: path, query and posted form, each refused with a page of ours when it cannot be read.

use std::future::{Future, Ready, ready};
use std::pin::Pin;

use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::{FromRequest, HttpMessage, HttpRequest, web};
use futures_util::StreamExt;
use serde::de::DeserializeOwned;
use subtle::ConstantTimeEq;

use super::error::AppError;
use super::signed::Signed;

/// Largest form that is read, in bytes: the longest page of ours sends a few kilobytes.
const LARGEST_FORM: usize = 256 * 1024;

/// A typed part of the path. A part that cannot be read means there is no such page.
pub struct PathOf<T>(T);

impl<T> PathOf<T> {
    /// The value.
    pub fn into_inner(self) -> T {
        self.0
    }
}

impl<T: DeserializeOwned + 'static> FromRequest for PathOf<T> {
    type Error = AppError;
    type Future = Ready<Result<Self, AppError>>;

    fn from_request(req: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let path = web::Path::<T>::from_request(req, payload).into_inner();
        ready(path.map(|path| Self(path.into_inner())).map_err(|_| AppError::NotFound))
    }
}

/// A typed query.
pub struct QueryOf<T>(pub T);

impl<T: DeserializeOwned + 'static> FromRequest for QueryOf<T> {
    type Error = AppError;
    type Future = Ready<Result<Self, AppError>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(serde_html_form::from_str(req.query_string()).map(Self).map_err(|_| {
            AppError::Unreadable("The address has a part that this page does not know. Start from the menu.".into())
        }))
    }
}

#[derive(serde::Deserialize)]
struct Token {
    #[serde(default)]
    csrf: String,
}

/// A posted form of somebody signed in, known to come from a page of their session.
pub struct Posted<T>(pub T);

impl<T: DeserializeOwned + 'static> FromRequest for Posted<T> {
    type Error = AppError;
    type Future = Pin<Box<dyn Future<Output = Result<Self, AppError>>>>;

    fn from_request(req: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let body = checked_form(req, payload);
        Box::pin(async move { parse(&body.await?).map(Self) })
    }
}

/// Puts readings that were chosen (`pick-NAME`, "as it would be typed|as it was typed") into their boxes, as long as the
/// box still holds what they are readings of.
fn picked(body: Vec<u8>) -> Vec<u8> {
    if !body.windows(5).any(|part| part == b"pick-") {
        return body;
    }
    let Ok(pairs) = serde_html_form::from_bytes::<Vec<(String, String)>>(&body) else { return body };
    let (picks, mut rest): (Vec<_>, Vec<_>) = pairs.into_iter().partition(|(name, _)| name.starts_with("pick-"));
    for (name, value) in &picks {
        let Some((chosen, typed)) = value.split_once('|') else { continue };
        if let Some((_, value)) = rest.iter_mut().find(|(n, v)| n == &name["pick-".len()..] && v == typed) {
            chosen.clone_into(value);
        }
    }
    serde_html_form::to_string(&rest).map_or(body, String::into_bytes)
}

/// A form that was refused because its token is not the session's, as it came.
pub struct RefusedForm(pub Vec<u8>);

/// The body of a form, once its token was found to be the session's.
fn checked_form(req: &HttpRequest, payload: &mut Payload) -> impl Future<Output = Result<Vec<u8>, AppError>> + 'static {
    let expected = req.extensions().get::<Signed>().map(|s| s.form_token.clone());
    let body = read_form(req, payload);
    let req = req.clone();
    async move {
        let body = body.await?;
        let expected = expected.ok_or(AppError::SignInNeeded)?;
        let token: Token = serde_html_form::from_bytes(&body).map_err(|_| AppError::ForeignForm)?;
        if same_token(&token.csrf, &expected) {
            return Ok(picked(body));
        }
        // The gate may know it as a page that the same person opened before signing in anew.
        req.extensions_mut().insert(RefusedForm(body));
        Err(AppError::ForeignForm)
    }
}

/// One posted form that is two: a patient and a stoma on one page. Each takes the fields it knows.
pub struct PostedBoth<A, B>(pub A, pub B);

impl<A: DeserializeOwned + 'static, B: DeserializeOwned + 'static> FromRequest for PostedBoth<A, B> {
    type Error = AppError;
    type Future = Pin<Box<dyn Future<Output = Result<Self, AppError>>>>;

    fn from_request(req: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let body = checked_form(req, payload);
        Box::pin(async move {
            let body = body.await?;
            Ok(Self(parse(&body)?, parse(&body)?))
        })
    }
}

/// A posted form of somebody not signed in: the sign-in page and the one-time link.
pub struct PostedBeforeSignIn<T>(pub T);

impl<T: DeserializeOwned + 'static> FromRequest for PostedBeforeSignIn<T> {
    type Error = AppError;
    type Future = Pin<Box<dyn Future<Output = Result<Self, AppError>>>>;

    fn from_request(req: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let body = read_form(req, payload);
        Box::pin(async move { parse(&body.await?).map(Self) })
    }
}

/// Compares two tokens without telling by time how much agrees.
pub fn same_token(given: &str, expected: &str) -> bool {
    given.as_bytes().ct_eq(expected.as_bytes()).into()
}

fn parse<T: DeserializeOwned>(body: &[u8]) -> Result<T, AppError> {
    serde_html_form::from_bytes(body).map_err(|error| {
        tracing::info!(%error, "a form could not be read");
        AppError::Unreadable(
            "The form did not arrive whole. Nothing was saved. Open the page again and repeat it.".into(),
        )
    })
}

/// Reads a posted form whole; what came in is not looked at.
pub fn read_form(
    req: &HttpRequest,
    payload: &mut Payload,
) -> impl Future<Output = Result<Vec<u8>, AppError>> + 'static {
    let kind = req.headers().get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or("");
    let is_form = kind.starts_with("application/x-www-form-urlencoded");
    let mut payload = payload.take();
    async move {
        if !is_form {
            return Err(AppError::Unreadable("This page takes a form. Open it from the menu and fill it in.".into()));
        }
        let mut body = Vec::new();
        while let Some(part) = payload.next().await {
            let part = part.map_err(|_| AppError::Unreadable("The form did not arrive whole.".into()))?;
            if body.len() + part.len() > LARGEST_FORM {
                return Err(AppError::Unreadable("The form is too large. Shorten the longest text.".into()));
            }
            body.extend_from_slice(&part);
        }
        Ok(body)
    }
}

/// The request's id and address, put there by the gate.
#[derive(Clone, Debug)]
pub struct RequestFacts {
    /// Id, shown on an error page and written into the log.
    pub id: String,
    /// Address of the other end.
    pub address: String,
}

impl FromRequest for RequestFacts {
    type Error = AppError;
    type Future = Ready<Result<Self, AppError>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(req.extensions().get::<Self>().cloned().ok_or(AppError::Unknown))
    }
}
