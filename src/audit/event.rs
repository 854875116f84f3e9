//! What one event says, before it is numbered and chained. Identifiers only: no clinical content, no free text.

use serde_json::{Map, Value};

use crate::db::ids::PatientId;

/// What kind of act, by the letters of HL7 FHIR R4 AuditEvent.action.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Action {
    /// Something new.
    Create,
    /// Seen, printed, searched.
    Read,
    /// Changed.
    Update,
    /// Removed. Clinical records never are.
    Delete,
    /// Something done: sign-in, verification, backup.
    Execute,
}

impl Action {
    /// The letter.
    pub fn letter(self) -> &'static str {
        match self {
            Self::Create => "C",
            Self::Read => "R",
            Self::Update => "U",
            Self::Delete => "D",
            Self::Execute => "E",
        }
    }
}

/// How it went.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Done.
    Ok,
    /// Not allowed.
    Refused,
    /// Tried and failed.
    Failed,
}

impl Outcome {
    /// The stored code.
    pub fn code(self) -> &'static str {
        match self {
            Self::Ok => "ok",
            Self::Refused => "refused",
            Self::Failed => "failed",
        }
    }
}

/// An event to be appended.
#[derive(Clone, Debug)]
pub struct Event {
    pub(super) action: Action,
    pub(super) what: &'static str,
    pub(super) outcome: Outcome,
    pub(super) detail: Map<String, Value>,
    pub(super) patients: Vec<PatientId>,
}

impl Event {
    /// Something done to `what`, as `patient.record`.
    pub fn new(action: Action, what: &'static str) -> Self {
        Self { action, what, outcome: Outcome::Ok, detail: Map::new(), patients: Vec::new() }
    }

    /// Something seen.
    pub fn read(what: &'static str) -> Self {
        Self::new(Action::Read, what)
    }

    /// Something made.
    pub fn create(what: &'static str) -> Self {
        Self::new(Action::Create, what)
    }

    /// Something changed.
    pub fn update(what: &'static str) -> Self {
        Self::new(Action::Update, what)
    }

    /// Something done.
    pub fn execute(what: &'static str) -> Self {
        Self::new(Action::Execute, what)
    }

    /// It went otherwise than well.
    #[must_use]
    pub fn outcome(mut self, outcome: Outcome) -> Self {
        self.outcome = outcome;
        self
    }

    /// It touched this patient.
    #[must_use]
    pub fn about(mut self, patient: PatientId) -> Self {
        self.patients.push(patient);
        self
    }

    /// It touched all of these patients.
    #[must_use]
    pub fn about_all(mut self, patients: impl IntoIterator<Item = PatientId>) -> Self {
        self.patients.extend(patients);
        self
    }

    /// A detail: an id, a count, a code. Never a name, a score or free text.
    #[must_use]
    pub fn with(mut self, key: &str, value: impl ToString) -> Self {
        self.detail.insert(key.to_owned(), Value::String(value.to_string()));
        self
    }
}
