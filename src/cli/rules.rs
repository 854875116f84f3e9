//! `roundel rules <engine>`: one decision replayed.

use std::io::Read;

use clap::{Args, ValueEnum};
use serde_json::Value;

use super::Ended;
use crate::json_input::{self, FieldErrors};
use crate::{follow_up, skin, supplies, urgency};

/// The engines.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum Engine {
    /// Score of the skin, 0 to 15, with bands
    Skin,
    /// Shares of the skin under the plate, from a clock map
    SkinMap,
    /// Planned reviews from the dates of a stoma
    FollowUp,
    /// Units, packs, days' supply, checks of an order
    Supply,
    /// How soon somebody should be seen
    Urgency,
}

/// Which decision.
#[derive(Debug, Args)]
pub struct Rules {
    engine: Engine,
    /// Print the JSON Schema of what the engine takes
    #[arg(long)]
    schema: bool,
}

type Decide = fn(&Value) -> Result<Value, FieldErrors>;

impl Engine {
    fn parts(self) -> (Decide, &'static str) {
        match self {
            Self::Skin => (skin::rules::decide_score, skin::rules::SCHEMA),
            Self::SkinMap => (skin::rules::decide_map, skin::rules::SCHEMA_MAP),
            Self::FollowUp => (follow_up::rules::decide, follow_up::rules::SCHEMA),
            Self::Supply => (supplies::rules::decide, supplies::rules::SCHEMA),
            Self::Urgency => (urgency::rules::decide, urgency::rules::SCHEMA),
        }
    }
}

impl Rules {
    /// Reads, decides, prints.
    pub fn run(self) -> Result<(), Ended> {
        let (decide, schema) = self.engine.parts();
        if self.schema {
            print!("{schema}");
            return Ok(());
        }
        let mut text = String::new();
        std::io::stdin().read_to_string(&mut text).map_err(|e| wrong(&one(format!("standard input: {e}"))))?;
        let input = json_input::parse(&text).map_err(|errors| wrong(&errors))?;
        let answer = decide(&input).map_err(|errors| wrong(&errors))?;
        println!("{answer}");
        Ok(())
    }
}

fn one(message: String) -> FieldErrors {
    let mut errors = FieldErrors::default();
    errors.add("", message);
    errors
}

fn wrong(errors: &FieldErrors) -> Ended {
    Ended::Wrong(serde_json::to_string(errors).unwrap_or_default())
}
