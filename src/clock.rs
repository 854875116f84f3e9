//! The only place that reads the time. Everything else is handed a [`Clock`] or a date.

use std::sync::Arc;

use chrono::{DateTime, NaiveDate, Utc};

/// Tells the time: the system's, or a fixed one for tests and replays.
#[derive(Clone)]
pub struct Clock(Arc<dyn Fn() -> DateTime<Utc> + Send + Sync>);

impl Clock {
    /// The machine's own clock.
    pub fn system() -> Self {
        #[expect(clippy::disallowed_methods, reason = "this is the one place")]
        Self(Arc::new(Utc::now))
    }

    /// A clock that stands still.
    pub fn fixed(at: DateTime<Utc>) -> Self {
        Self(Arc::new(move || at))
    }

    /// A clock read from `tell`, so that a test can move it.
    pub fn told_by(tell: impl Fn() -> DateTime<Utc> + Send + Sync + 'static) -> Self {
        Self(Arc::new(tell))
    }

    /// Now, in UTC.
    pub fn now(&self) -> DateTime<Utc> {
        (self.0)()
    }

    /// Today's civil date where the service is: the machine's time zone.
    pub fn today(&self) -> NaiveDate {
        self.now().with_timezone(&chrono::Local).date_naive()
    }
}

impl std::fmt::Debug for Clock {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Clock({})", self.now())
    }
}
