//! Two stomas, one visit: open reviews of different stomas that lie near one another are offered as one. Pure; it moves
//! nothing, a person takes the offer or leaves it.

use chrono::NaiveDate;
use uuid::Uuid;

/// How many days two reviews may lie apart to be offered as one. Standing: local; no published limit is known.
pub const WITHIN_DAYS: i64 = 14;

/// An open review.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Open {
    /// Which.
    pub id: Uuid,
    /// Of which stoma.
    pub stoma: Uuid,
    /// The day it is planned or booked for.
    pub on: NaiveDate,
    /// A time was given to the patient.
    pub booked: bool,
}

/// Two reviews that may be held together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Offer {
    /// The one whose day stays: the booked one, else the earlier one.
    pub keep: Uuid,
    /// The one that would be brought to that day; never a booked one.
    pub bring: Uuid,
    /// The day.
    pub on: NaiveDate,
}

/// Every offer, nearest pairs first; each review stands in one at most. Two on the same day are together already.
pub fn offers(open: &[Open], within_days: i64) -> Vec<Offer> {
    let mut pairs = Vec::new();
    for (at, a) in open.iter().enumerate() {
        for b in &open[at + 1..] {
            let apart = (a.on - b.on).num_days().abs();
            if a.stoma != b.stoma && (1..=within_days).contains(&apart) && !(a.booked && b.booked) {
                let (keep, bring) = match (a.booked, b.booked) {
                    (true, _) => (a, b),
                    (_, true) => (b, a),
                    _ if a.on <= b.on => (a, b),
                    _ => (b, a),
                };
                pairs.push((apart, keep.on, Offer { keep: keep.id, bring: bring.id, on: keep.on }));
            }
        }
    }
    pairs.sort_by_key(|(apart, on, offer)| (*apart, *on, offer.keep, offer.bring));
    let mut used = Vec::new();
    let mut found = Vec::new();
    for (.., offer) in pairs {
        if !used.contains(&offer.keep) && !used.contains(&offer.bring) {
            used.extend([offer.keep, offer.bring]);
            found.push(offer);
        }
    }
    found
}
