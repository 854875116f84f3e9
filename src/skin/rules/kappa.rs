//! Weighted kappa: how far two people agree on the same cases beyond what chance would give.
//!
//! Cohen's weighted kappa (Psychol Bull 1968;70:213–20). It compares answers and must not say who is right.

/// How far apart answers are counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weights {
    /// By the distance.
    Linear,
    /// By its square: large distances count more.
    Quadratic,
}

impl Weights {
    fn of(self, one: u8, other: u8) -> f64 {
        let apart = f64::from(one.abs_diff(other));
        match self {
            Self::Linear => apart,
            Self::Quadratic => apart * apart,
        }
    }
}

/// The weighted kappa of pairs of answers. 1 is full agreement, 0 what chance gives, below 0 less than that.
///
/// `None` without a pair, and where both always gave one and the same answer: chance explains everything then, and
/// kappa is not defined.
pub fn weighted_kappa(pairs: &[(u8, u8)], weights: Weights) -> Option<f64> {
    let total = pairs.len() as f64;
    let seen: f64 = pairs.iter().map(|(one, other)| weights.of(*one, *other)).sum::<f64>() / total;
    let mut chance = 0.0;
    for (one, _) in pairs {
        for (_, other) in pairs {
            chance += weights.of(*one, *other);
        }
    }
    chance /= total * total;
    (chance > 0.0).then(|| 1.0 - seen / chance)
}

/// Kappa in a word, for a reader who does not know the figure: the bands of Landis and Koch, Biometrics 1977;33:159–74
/// (recalled, to be confirmed; they are a convention, not a finding).
pub fn in_words(kappa: f64) -> &'static str {
    match kappa {
        k if k < 0.0 => "less than chance",
        k if k <= 0.2 => "slight",
        k if k <= 0.4 => "fair",
        k if k <= 0.6 => "moderate",
        k if k <= 0.8 => "substantial",
        _ => "almost perfect",
    }
}
