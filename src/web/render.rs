//! Turning a page struct into an answer, once, at the end.

use actix_web::HttpResponse;
use actix_web::http::{StatusCode, header};
use askama::Template;

use super::error::AppError;

/// Renders a page.
pub fn page(status: StatusCode, template: &impl Template) -> Result<HttpResponse, AppError> {
    let body = template.render().map_err(|error| {
        tracing::error!(%error, "a page could not be rendered");
        AppError::Unknown
    })?;
    Ok(HttpResponse::build(status).content_type("text/html; charset=utf-8").body(body))
}

/// After something was done: go and look at `address`.
pub fn see_other(address: impl AsRef<str>) -> HttpResponse {
    HttpResponse::SeeOther().insert_header((header::LOCATION, address.as_ref())).finish()
}
