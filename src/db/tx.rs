//! Who acts, and the transaction in which they act.

use std::collections::BTreeSet;

use super::connection::Conn;
use super::error::StoreError;
use super::ids::{PatientId, ServiceId, StaffId};
use super::types::Stamp;

/// Who does something, as the audit log will say it.
#[derive(Clone, Debug)]
pub struct Actor {
    /// The service on whose records they act; `None` for the machine itself.
    pub service_id: Option<ServiceId>,
    /// The staff member; `None` for the machine and for somebody not signed in.
    pub staff_id: Option<StaffId>,
    /// Display name.
    pub name: String,
    /// Role codes, joined by `+`.
    pub roles: String,
    /// Id of the request, or of the run of a command.
    pub request_id: String,
    /// Network address, or `local` for a command.
    pub address: String,
    /// Hash of the session in use, so that its last use can be noted in the same transaction.
    pub session: Option<Vec<u8>>,
    /// The session's message is being shown by this request: take it away with the next write.
    pub shows_message: bool,
}

impl Actor {
    /// The machine itself, running a command.
    pub fn command(name: &str, service_id: Option<ServiceId>) -> Self {
        Self {
            service_id,
            staff_id: None,
            name: format!("command {name}"),
            roles: "machine".to_owned(),
            request_id: uuid::Uuid::now_v7().to_string(),
            address: "local".to_owned(),
            session: None,
            shows_message: false,
        }
    }

    /// The service, or "not found" when there is none: nobody acts on patients without a service.
    pub fn service(&self) -> Result<ServiceId, StoreError> {
        self.service_id.ok_or(StoreError::NotFound)
    }
}

/// A write transaction. Only the write door makes one, so a store function that takes `&mut Tx` cannot be
/// called outside a transaction.
pub struct Tx<'a> {
    conn: &'a mut Conn,
    actor: &'a Actor,
    now: Stamp,
    events: usize,
    touched: BTreeSet<PatientId>,
}

impl<'a> Tx<'a> {
    pub(super) fn new(conn: &'a mut Conn, actor: &'a Actor, now: Stamp) -> Self {
        Self { conn, actor, now, events: 0, touched: BTreeSet::new() }
    }

    /// The connection, for reading and writing inside this transaction.
    pub fn conn(&mut self) -> &mut Conn {
        self.conn
    }

    /// Who acts.
    pub fn actor(&self) -> &'a Actor {
        self.actor
    }

    /// The service on whose records they act.
    pub fn service(&self) -> Result<ServiceId, StoreError> {
        self.actor.service()
    }

    /// The staff member who acts; only people write clinical records.
    pub fn staff(&self) -> Result<StaffId, StoreError> {
        self.actor.staff_id.ok_or(StoreError::NotFound)
    }

    /// The moment of this transaction.
    pub fn now(&self) -> Stamp {
        self.now
    }

    /// Counts an audit event; the audit room calls it for each event it appends.
    pub fn count_event(&mut self) {
        self.events += 1;
    }

    /// Says that a fact of this patient changed: what derives from it is made anew before the commit.
    pub fn touch(&mut self, patient: PatientId) {
        self.touched.insert(patient);
    }

    pub(super) fn take_touched(&mut self) -> BTreeSet<PatientId> {
        std::mem::take(&mut self.touched)
    }

    pub(super) fn events(&self) -> usize {
        self.events
    }
}
