//! Calibration: staff score the same invented cases without seeing one another's answers; the lead sees how they agree.
//!
//! The cases and the figures come from `rules::calibration`. It must not show anybody's answer to somebody who has not
//! answered all cases, and no answer at all to those who score.

pub mod handlers;
pub mod pages;
pub mod store;
