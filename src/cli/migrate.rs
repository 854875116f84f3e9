//! `roundel migrate`.

use super::{Ended, open, settings};

/// Runs what is pending.
pub fn run() -> Result<(), Ended> {
    let settings = settings()?;
    open(settings.database.clone(), true)?;
    println!("{:?} is up to date.", settings.database);
    Ok(())
}
