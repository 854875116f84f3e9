//! Errors as pages: one enum of what the reader sees, one table to status, title and way back.
//!
//! Nothing of a cause reaches a page. What is unknown is logged here once, under the request's id.

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, ResponseError};

use crate::db::StoreError;

/// What went wrong, as the reader will see it.
#[derive(Debug, thiserror::Error)]
pub enum AppError {
    /// No such page or record, or not this service's.
    #[error("not found")]
    NotFound,
    /// The role does not include this.
    #[error("not allowed")]
    NotAllowed,
    /// Nobody is signed in.
    #[error("sign-in needed")]
    SignInNeeded,
    /// The form did not come from a page of this session.
    #[error("the form did not come from this session")]
    ForeignForm,
    /// The request cannot be read; the text says what to do.
    #[error("{0}")]
    Unreadable(String),
    /// The record was changed since it was shown, or the act does not fit its state; the text says what to do.
    #[error("{0}")]
    Conflict(String),
    /// Busy or unreachable: try again.
    #[error("busy")]
    Busy,
    /// Unknown.
    #[error("unknown")]
    Unknown,
}

impl From<StoreError> for AppError {
    fn from(error: StoreError) -> Self {
        match error {
            StoreError::NotFound => Self::NotFound,
            StoreError::Stale => {
                Self::Conflict("Somebody else changed this record since the page was shown. Nothing was saved.".into())
            }
            StoreError::Conflict(name) => {
                tracing::info!(constraint = %name, "refused by a rule of the database");
                Self::Conflict("This was entered already, or somebody else was quicker. Nothing was saved.".into())
            }
            StoreError::Busy(cause) => {
                tracing::warn!(%cause, "busy");
                Self::Busy
            }
            StoreError::Unaudited | StoreError::Backend(_) => {
                tracing::error!(%error, "a request failed");
                Self::Unknown
            }
        }
    }
}

/// What the error page says.
#[derive(Clone, Debug)]
pub struct Failure {
    /// Status.
    pub status: StatusCode,
    /// Heading.
    pub title: String,
    /// What happened and what to do.
    pub text: String,
    /// Address and words of the way back.
    pub back: (String, String),
}

impl AppError {
    /// The one table.
    pub fn failure(&self) -> Failure {
        let home = || ("/".to_owned(), "Go to the first page".to_owned());
        let (status, title, text, back) = match self {
            Self::NotFound => (
                StatusCode::NOT_FOUND,
                "Not here",
                "There is no such page, or no such record in your service. Check the address, or search for the patient.".into(),
                home(),
            ),
            Self::NotAllowed => (
                StatusCode::FORBIDDEN,
                "Not part of your role",
                "Your role does not include this. If it should, ask your administrator. The attempt is in the log.".into(),
                home(),
            ),
            Self::SignInNeeded => (
                StatusCode::UNAUTHORIZED,
                "Sign in first",
                "You are not signed in, or your session has ended. Nothing was saved.".into(),
                ("/sign-in".to_owned(), "Sign in".to_owned()),
            ),
            Self::ForeignForm => (
                StatusCode::FORBIDDEN,
                "The form is out of date",
                "This form was not opened in your present session. Nothing was saved. Open the page again and repeat it.".into(),
                home(),
            ),
            Self::Unreadable(text) => (StatusCode::BAD_REQUEST, "This could not be read", text.clone(), home()),
            Self::Conflict(text) => (StatusCode::CONFLICT, "Not saved", text.clone(), home()),
            Self::Busy => (
                StatusCode::SERVICE_UNAVAILABLE,
                "Busy",
                "The records cannot be reached just now. Nothing was saved. Try again in a moment.".into(),
                home(),
            ),
            Self::Unknown => (
                StatusCode::INTERNAL_SERVER_ERROR,
                "Something went wrong",
                "Nothing was saved. Tell whoever runs this service the number below.".into(),
                home(),
            ),
        };
        Failure { status, title: title.to_owned(), text, back }
    }
}

impl ResponseError for AppError {
    fn status_code(&self) -> StatusCode {
        self.failure().status
    }

    /// Only carries what to say; the gate renders it, for it knows who is signed in.
    fn error_response(&self) -> HttpResponse {
        let failure = self.failure();
        let mut response = HttpResponse::new(failure.status);
        response.extensions_mut().insert(failure);
        response
    }
}
