//! The skin under the appliance: score, bands, clock map, change over time and the proposed next review.
//!
//! Pure: no database, no HTTP, no clock, no configuration; "today" comes as an argument and every limit carries its
//! source. It scores what a nurse has seen and lists likely causes with the signs for and against; it must not
//! diagnose or pick a value for the nurse.
//!
//! The score is the three-domain scale of the journal literature (discolouration, erosion, tissue overgrowth; Martins
//! et al., WCET J 2008;28:S8–13; validated by Jemec et al., Br J Dermatol 2011;164:330–5). Its arithmetic is a fact;
//! every descriptor here is in our own words.

pub mod bands;
pub mod calibration;
pub mod causes;
pub mod change;
pub mod codes;
pub mod fit;
pub mod geometry;
pub mod kappa;
pub mod map;
pub mod map_words;
pub mod next_review;
pub mod request;
pub mod score;
pub mod signs;
pub mod wording;

pub use bands::{Band, BandSet, BandVerdict};
pub use change::{Change, Scorers, describe_change};
pub use geometry::{Plate, Skin, Stoma};
pub use map::{Finding, MapCell, Shares, SkinMap, shares};
pub use next_review::{Findings, Proposal, ReviewReason, propose};
pub use request::{decide_map, decide_score};
pub use score::{Area, Assessment, Domain, DomainInput, DomainScore, Domains, Score, score};

/// The version of these rules; kept with every assessment so that a score can be replayed.
pub const RULE_VERSION: &str = "skin-1";

/// JSON Schema of what [`decide_score`] takes.
pub const SCHEMA: &str = include_str!("schema.json");

/// JSON Schema of what [`decide_map`] takes.
pub const SCHEMA_MAP: &str = include_str!("schema_map.json");
