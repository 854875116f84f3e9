//! What can go wrong at the records, in the few kinds that callers treat differently.

use diesel::result::{DatabaseErrorKind, Error};

/// A failure at the records. Never shown as it is: `web::error` turns it into a page.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// What was asked for is not there, or not this service's.
    #[error("not found")]
    NotFound,
    /// A rule of uniqueness was broken; holds the name of the constraint or its columns.
    #[error("conflict on {0}")]
    Conflict(String),
    /// The record was changed by somebody else since it was shown.
    #[error("changed by somebody else since it was shown")]
    Stale,
    /// The database is busy or cannot be reached: worth another try.
    #[error("busy: {0}")]
    Busy(String),
    /// A write that appended no audit event: a fault of ours, nothing was written.
    #[error("a write without an audit event was refused")]
    Unaudited,
    /// Anything else.
    #[error("database: {0}")]
    Backend(String),
}

impl From<Error> for StoreError {
    fn from(error: Error) -> Self {
        match error {
            Error::NotFound => Self::NotFound,
            Error::DatabaseError(DatabaseErrorKind::UniqueViolation, info) => {
                // PostgreSQL names the constraint; SQLite writes "UNIQUE constraint failed: table.column, …".
                let name = info.constraint_name().map(str::to_owned);
                Self::Conflict(name.unwrap_or_else(|| info.message().replace("UNIQUE constraint failed: ", "")))
            }
            Error::DatabaseError(
                DatabaseErrorKind::SerializationFailure | DatabaseErrorKind::ClosedConnection,
                info,
            ) => Self::Busy(info.message().to_owned()),
            Error::DatabaseError(_, info)
                if info.message().contains("database is locked") || info.message().contains("lock timeout") =>
            {
                Self::Busy(info.message().to_owned())
            }
            other => Self::Backend(other.to_string()),
        }
    }
}
