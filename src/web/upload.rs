//! A posted form with a file in it (RFC 7578), read whole within a limit, its token checked like any other form's.

use std::collections::HashMap;

use actix_multipart::Multipart;
use actix_web::{HttpMessage, HttpRequest, web};
use futures_util::StreamExt;

use super::error::AppError;
use super::extract::same_token;
use super::signed::Signed;

/// Largest field besides the file, in bytes.
const LARGEST_FIELD: usize = 16 * 1024;
/// Most parts that are read: no form of ours has so many.
const MOST_PARTS: usize = 40;

/// What came.
#[derive(Debug, Default)]
pub struct Upload {
    /// Fields by name; the last of a name counts.
    pub fields: HashMap<String, String>,
    /// Content of the field `file`; empty when none was chosen. Its name is not kept.
    pub file: Vec<u8>,
}

impl Upload {
    /// A field as typed, empty if it did not come.
    pub fn field(&self, name: &str) -> &str {
        self.fields.get(name).map_or("", |value| value.trim())
    }
}

/// Reads the form. The file may have `largest` bytes; `too_large` says so in words.
///
/// # Errors
/// Not whole, too large, or not from a page of this session.
pub async fn receive(
    req: &HttpRequest,
    payload: web::Payload,
    largest: usize,
    too_large: &str,
) -> Result<Upload, AppError> {
    let unreadable = || AppError::Unreadable("The file did not arrive whole. Choose it again.".to_owned());
    let expected = req.extensions().get::<Signed>().map(|s| s.form_token.clone()).ok_or(AppError::SignInNeeded)?;
    let mut parts = Multipart::new(req.headers(), payload);
    let mut upload = Upload::default();
    let mut count = 0;
    while let Some(part) = parts.next().await {
        let mut part = part.map_err(|_| unreadable())?;
        count += 1;
        if count > MOST_PARTS {
            return Err(unreadable());
        }
        let name = part.name().unwrap_or_default().to_owned();
        let most = if name == "file" { largest } else { LARGEST_FIELD };
        let mut bytes = Vec::new();
        while let Some(chunk) = part.next().await {
            let chunk = chunk.map_err(|_| unreadable())?;
            if bytes.len() + chunk.len() > most {
                return Err(AppError::Unreadable(too_large.to_owned()));
            }
            bytes.extend_from_slice(&chunk);
        }
        if name == "file" {
            upload.file = bytes;
        } else {
            let text = String::from_utf8(bytes).map_err(|_| unreadable())?;
            upload.fields.insert(name, text);
        }
    }
    if same_token(upload.field("csrf"), &expected) { Ok(upload) } else { Err(AppError::ForeignForm) }
}
