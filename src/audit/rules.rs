//! The chain: one canonical form per event, each event's SHA-256 over it and the hash before it. Pure.
//!
//! A chain alone does not notice that its tail is gone; the head (last number and hash) is kept in a row of its
//! own and in a file that can leave the machine, and the verifier compares both.

use sha2::{Digest, Sha256};

/// Names what is hashed, so that a hash of something else can never pass for an event's.
const DOMAIN: &[u8] = b"roundel audit event 1";

/// A SHA-256 value.
pub type Hash = [u8; 32];

/// The hash that stands before the first event.
pub const BEFORE_FIRST: Hash = [0; 32];

/// What the chain covers of one event, as text in its one canonical form.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Canonical<'a> {
    /// Number in the log, from 1.
    pub seq: i64,
    /// Id of the event.
    pub id: &'a str,
    /// Service, empty for none.
    pub service: &'a str,
    /// UTC, microseconds, final `Z`.
    pub at: &'a str,
    /// Staff member, empty for none.
    pub staff: &'a str,
    /// Display name at the time.
    pub staff_name: &'a str,
    /// Role codes joined by `+`.
    pub roles: &'a str,
    /// C, R, U, D or E.
    pub action: &'a str,
    /// What was done, as `patient.record`.
    pub what: &'a str,
    /// ok, refused or failed.
    pub outcome: &'a str,
    /// Request id.
    pub request_id: &'a str,
    /// Network address.
    pub address: &'a str,
    /// Details as stored text.
    pub detail: &'a str,
    /// Patients touched, sorted.
    pub patients: &'a [String],
}

impl Canonical<'_> {
    /// The event's hash: domain, number, hash before, then every field with its length in front, so that no two
    /// different events encode alike.
    pub fn hash(&self, before: &Hash) -> Hash {
        let mut sha = Sha256::new();
        sha.update(DOMAIN);
        sha.update(self.seq.to_be_bytes());
        sha.update(before);
        let fields = [
            self.id,
            self.service,
            self.at,
            self.staff,
            self.staff_name,
            self.roles,
            self.action,
            self.what,
            self.outcome,
            self.request_id,
            self.address,
            self.detail,
        ];
        for field in fields.into_iter().chain(self.patients.iter().map(String::as_str)) {
            sha.update((field.len() as u64).to_be_bytes());
            sha.update(field.as_bytes());
        }
        sha.finalize().into()
    }
}

/// How a log fails to hold.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Broken {
    /// A number is missing: an event was removed, or the order was changed.
    #[error("event {expected} is missing (found {found} in its place)")]
    Gap {
        /// The number that should have come.
        expected: i64,
        /// The number that came.
        found: i64,
    },
    /// The event does not follow from the one before it: reordered, or rewritten before this one.
    #[error("event {0} does not follow from the event before it")]
    Unlinked(i64),
    /// The event's content does not give its hash: edited.
    #[error("event {0} was changed after it was written")]
    Edited(i64),
    /// The log ends before its head: the last events were cut off.
    #[error("the log ends at event {last}, but its head says {head}")]
    Truncated {
        /// The last number found.
        last: i64,
        /// The number the head names.
        head: i64,
    },
    /// The last event is not the one that the head names.
    #[error("the last event {0} is not the one the head names")]
    WrongHead(i64),
}

/// Follows the chain event by event.
#[derive(Clone, Debug)]
pub struct Walk {
    next: i64,
    before: Hash,
}

impl Walk {
    /// From the first event on.
    pub fn from_start() -> Self {
        Self { next: 1, before: BEFORE_FIRST }
    }

    /// From the event after number `seq`, whose hash is taken as given.
    pub fn after(seq: i64, hash: Hash) -> Self {
        Self { next: seq + 1, before: hash }
    }

    /// Takes the next event; `before` and `hash` are what is stored with it.
    pub fn step(&mut self, event: &Canonical<'_>, before: &[u8], hash: &[u8]) -> Result<(), Broken> {
        if event.seq != self.next {
            return Err(Broken::Gap { expected: self.next, found: event.seq });
        }
        if before != self.before {
            return Err(Broken::Unlinked(event.seq));
        }
        let computed = event.hash(&self.before);
        if hash != computed {
            return Err(Broken::Edited(event.seq));
        }
        self.next += 1;
        self.before = computed;
        Ok(())
    }

    /// Compares the end with a head noted elsewhere.
    pub fn finish(&self, head_seq: i64, head_hash: &[u8]) -> Result<i64, Broken> {
        let last = self.next - 1;
        if last < head_seq {
            return Err(Broken::Truncated { last, head: head_seq });
        }
        if last > head_seq || head_hash != self.before {
            return Err(Broken::WrongHead(last));
        }
        Ok(last)
    }

    /// Number and hash of the last event taken.
    pub fn last(&self) -> (i64, Hash) {
        (self.next - 1, self.before)
    }
}
