//! What is made anew whenever a fact of a patient changes, in the same transaction: planned reviews, then the row
//! of the week's list. Handed to the records when they are opened; nothing else calls it.

use crate::db::ids::PatientId;
use crate::db::{StoreError, Tx};
use crate::follow_up::replan;
use crate::follow_up::world::World;

/// Patients whose facts are read together: enough that queries cost little each, few enough to stay small in memory.
const TOGETHER: usize = 250;

/// Planned reviews first, for the week's row shows the next of them.
pub fn derive(tx: &mut Tx<'_>, patients: &[PatientId]) -> Result<(), StoreError> {
    if patients.is_empty() {
        return Ok(());
    }
    let (service, today) = (tx.service()?, replan::today(tx));
    let world = World::load(tx.conn(), service, today)?;
    for some in patients.chunks(TOGETHER) {
        // Replanning may touch the patients again; the rows below are made from the result.
        let held = replan::replan_all(tx, &world, some)?;
        crate::week::store::refresh_all(tx, &held)?;
    }
    Ok(())
}
