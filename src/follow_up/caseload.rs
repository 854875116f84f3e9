//! What a change of the calendar or of a protocol would do to a whole caseload: worked out in parts without writing, and
//! applied by touching those for whom something changes.

use sha2::{Digest, Sha256};

use super::changes::{Kind, StomaChange, seal};
use super::world::{Held, World, held};
use crate::db::ids::{PatientId, ServiceId};
use crate::db::{Conn, StoreError, Tx};
use crate::patients::store as patients;
use crate::stomas::store as stomas;

/// Patients read together.
const TOGETHER: i64 = 500;
/// Patients of whom a page shows each review; of the others the counts (local).
pub const MOST_SHOWN: usize = 50;

/// What would change for one patient.
#[derive(Clone, Debug)]
pub struct PatientChange {
    /// Who.
    pub patient: PatientId,
    /// "SURNAME, Forename (Title)".
    pub name: String,
    /// Only stomas for which something changes.
    pub stomas: Vec<StomaChange>,
}

/// What would change for a caseload.
#[derive(Clone, Debug, Default)]
pub struct CaseloadChange {
    /// Patients looked at.
    pub looked_at: usize,
    /// Everybody for whom something changes, in the order of ids.
    pub changed: Vec<PatientId>,
    /// The first of them in full.
    pub shown: Vec<PatientChange>,
    /// Reviews of each kind, untouched ones not counted.
    pub added: usize,
    /// See `added`.
    pub moved: usize,
    /// See `added`.
    pub closed: usize,
    /// See `added`.
    pub off_plan: usize,
    /// See `added`.
    pub fits_again: usize,
    /// The same only when exactly the same would be written.
    pub seal: String,
}

/// Who is looked at.
#[derive(Clone, Debug)]
pub enum Whom {
    /// Everybody.
    All,
    /// Those with a stoma that follows this protocol.
    Following(String),
}

/// Goes through the caseload in parts.
pub fn for_each(
    conn: &mut Conn,
    service: ServiceId,
    whom: &Whom,
    mut each: impl FnMut(Held) -> Result<(), StoreError>,
) -> Result<(), StoreError> {
    if let Whom::Following(code) = whom {
        let ids = stomas::patients_following(conn, service, code)?;
        for some in ids.chunks(usize::try_from(TOGETHER).unwrap_or(500)) {
            held(conn, service, some)?.into_iter().try_for_each(&mut each)?;
        }
        return Ok(());
    }
    let mut after = None;
    loop {
        let some = patients::ids_after(conn, service, after, TOGETHER)?;
        let Some(last) = some.last() else { return Ok(()) };
        after = Some(*last);
        held(conn, service, &some)?.into_iter().try_for_each(&mut each)?;
    }
}

/// Works out what would change if the world were this one.
pub fn compare(conn: &mut Conn, world: &World, whom: &Whom) -> Result<CaseloadChange, StoreError> {
    let mut out = CaseloadChange::default();
    let mut hash = Sha256::new();
    for_each(conn, world.service, whom, |held| {
        out.looked_at += 1;
        let mut of_patient = Vec::new();
        for stoma in &held.stomas {
            let change = StomaChange::of(world, stoma, &held.patient, &held.reviews)?;
            if change.changes_anything() {
                of_patient.push(change);
            }
        }
        if of_patient.is_empty() {
            return Ok(());
        }
        for change in &of_patient {
            out.added += change.count(Kind::Added);
            out.moved += change.count(Kind::Moved);
            out.closed += change.count(Kind::Closed);
            out.off_plan += change.count(Kind::OffPlan);
            out.fits_again += change.count(Kind::FitsAgain);
        }
        hash.update(held.patient.id.0.as_bytes());
        hash.update(seal(&of_patient).as_bytes());
        out.changed.push(held.patient.id);
        if out.shown.len() < MOST_SHOWN {
            out.shown.push(PatientChange {
                patient: held.patient.id,
                name: held.patient.display_name(),
                stomas: of_patient,
            });
        }
        Ok(())
    })?;
    out.seal = hex::encode(&hash.finalize()[..16]);
    Ok(out)
}

/// Marks everybody for whom something changes, so that the write door brings them in step before the commit.
pub fn touch_changed(tx: &mut Tx<'_>, changed: &CaseloadChange) {
    for patient in &changed.changed {
        tx.touch(*patient);
    }
}
