//! The follow-up engine: from a stoma's dates, a protocol and a nation's calendar to planned reviews, each with its
//! reasons.
//!
//! Pure. It must not know the database, the web, the clock or any setting: "today", closures and limits come as
//! arguments. Interval and calendar are data (`../protocols/*.toml`, `bank_holidays.toml`), each with its source and
//! standing.
//!
//! The rule in one paragraph: every offset is counted from its anchor, never from the review before it; months clamp to
//! the month's end; a deadline falls back to the working day before it, a point moves on to the next working day, a
//! window takes its first working day. The nominal and the planned date are both kept. A step whose anchor is unknown
//! waits, visibly.

pub mod bank_holidays;
pub mod calendar;
pub mod difference;
pub mod facts;
pub mod offset;
mod place;
pub mod plan;
pub mod protocol;
mod protocol_read;
pub mod protocol_toml;
mod protocol_write;
pub mod record;
pub mod request;
pub mod shipped;
pub mod step_words;
pub mod together;
pub mod words;

pub use calendar::{Day, Nation, WorkingDays};
pub use difference::{Difference, DifferenceRequest, NotAdded, difference};
pub use facts::{Anchor, Anchors, Construction, EndReason, Ended, Permanence, StomaFacts, StomaKind, SurgeryType};
pub use offset::{Offset, Unit};
pub use plan::{LeftOut, Plan, PlanRequest, PlannedReview, Waiting, plan};
pub use protocol::{Mode, Protocol, Shape, Step, When};
pub use protocol_toml::TomlFaults;
pub use record::{Existing, Status};
pub use request::{SCHEMA, decide};
pub use shipped::{shipped, shipped_by_id};
pub use words::LongDate;

/// Version of the rules in this folder, kept with what they decided. Raise it when any of them changes an answer.
pub const RULE_VERSION: &str = "follow-up 1";
