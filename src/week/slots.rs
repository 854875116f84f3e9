//! Which slot is suggested: the first free one that fits how soon and how late. Pure: hours, days and bookings come in.

use std::collections::BTreeSet;

use chrono::{Duration, NaiveDate, NaiveTime};

use crate::follow_up::rules::WorkingDays;

/// A slot.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Slot {
    /// Day.
    pub on: NaiveDate,
    /// `HH:MM`.
    pub time: String,
}

impl Slot {
    /// As a form sends it: `2026-11-26T09:30`.
    pub fn code(&self) -> String {
        format!("{}T{}", self.on, self.time)
    }

    /// Reads what a form sent.
    pub fn read(code: &str) -> Option<Self> {
        let (on, time) = code.split_once('T')?;
        let on = NaiveDate::parse_from_str(on, "%Y-%m-%d").ok()?;
        let time = NaiveTime::parse_from_str(time, "%H:%M").ok()?;
        Some(Self { on, time: time.format("%H:%M").to_string() })
    }
}

/// How far ahead a free slot is looked for, in days.
pub const LOOK_AHEAD_DAYS: i64 = 120;

/// The service's clinic hours and what is taken in them.
#[derive(Clone, Debug)]
pub struct Diary {
    times: Vec<String>,
    days: WorkingDays,
    taken: BTreeSet<Slot>,
    not_before: Slot,
}

impl Diary {
    /// Hours `HH:MM`, slot length in minutes, what is booked, and now (nothing is offered in the past).
    pub fn new(
        hours: (&str, &str, i32),
        days: WorkingDays,
        booked: impl IntoIterator<Item = (NaiveDate, String)>,
        today: NaiveDate,
        time: NaiveTime,
    ) -> Self {
        let read = |text: &str| NaiveTime::parse_from_str(text, "%H:%M").ok();
        let mut times = Vec::new();
        if let (Some(mut at), Some(closes)) = (read(hours.0), read(hours.1)) {
            let step = Duration::minutes(i64::from(hours.2.max(5)));
            while at + step <= closes && at < closes {
                times.push(at.format("%H:%M").to_string());
                at += step;
                if times.len() > 300 {
                    break; // hours past midnight would wrap round
                }
            }
        }
        Self {
            times,
            days,
            taken: booked.into_iter().map(|(on, time)| Slot { on, time }).collect(),
            not_before: Slot { on: today, time: time.format("%H:%M").to_string() },
        }
    }

    /// The first free slot on or after `from`, and takes it, so that the next row is offered another.
    pub fn suggest(&mut self, from: NaiveDate) -> Option<Slot> {
        let mut on = from.max(self.not_before.on);
        let last = on + Duration::days(LOOK_AHEAD_DAYS);
        while on <= last {
            on = self.days.next_on_or_after(on);
            for time in &self.times {
                let slot = Slot { on, time: time.clone() };
                if slot > self.not_before && !self.taken.contains(&slot) {
                    self.taken.insert(slot.clone());
                    return Some(slot);
                }
            }
            on += Duration::days(1);
        }
        None
    }

    /// True when the slot is one of the clinic's and not past. Whether it is free the database decides.
    pub fn is_open(&self, slot: &Slot) -> bool {
        self.times.contains(&slot.time) && self.days.is_working_day(slot.on) && *slot > self.not_before
    }
}
