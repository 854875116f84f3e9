//! What a handler can reach besides its request.

use crate::clock::Clock;
use crate::db::Db;

/// Shared by all handlers; cheap to clone.
#[derive(Clone, Debug)]
pub struct State {
    /// The records.
    pub db: Db,
    /// The time.
    pub clock: Clock,
    /// Idle minutes of a session.
    pub idle_minutes: i64,
    /// Whether NHS numbers of the test range are refused.
    pub refuse_test_numbers: bool,
    /// Sign-in name, password and role of the demonstration's accounts; empty elsewhere.
    pub demo_sign_ins: std::sync::Arc<[(String, String, String)]>,
}
