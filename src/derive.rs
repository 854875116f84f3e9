//! What is made anew whenever a fact of a patient changes, in the same transaction: planned reviews, then the row
//! of the week's list. Handed to the records when they are opened; nothing else calls it.

use crate::db::ids::PatientId;
use crate::db::{StoreError, Tx};

/// Planned reviews first, for the week's row shows the next of them.
pub fn derive(tx: &mut Tx<'_>, patient: PatientId) -> Result<(), StoreError> {
    crate::follow_up::store::replan(tx, patient)?;
    // Replanning may touch the patient again; the row below is made from the result.
    crate::week::store::refresh(tx, patient)
}
