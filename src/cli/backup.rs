//! `roundel backup` and `roundel restore`: one file, consistent, checked before it counts.

use std::fs::File;
use std::path::{Path, PathBuf};

use super::{Ended, records, settings};
use crate::audit::{Event, append};
use crate::db::connection::{Door, Manager};
use crate::db::{Actor, Address, StoreError, dialect};

/// Writes a copy under another name first, checks it, and only then gives it its name: a killed backup leaves no file
/// that looks whole.
pub fn backup(file: &Path) -> Result<(), Ended> {
    let settings = settings()?;
    if file.exists() {
        return Err(Ended::Wrong(format!("{} is there already: choose another name", file.display())));
    }
    if matches!(settings.database, Address::Postgres(_)) {
        return Err(Ended::Wrong("a PostgreSQL database is copied with pg_dump; see DEVELOPERS.md".to_owned()));
    }
    let db = records(&settings)?;
    let part = with_ending(file, ".part");
    let text = part.to_str().ok_or_else(|| Ended::Wrong("the file name must be plain text".to_owned()))?;
    // What a backup that was killed left behind is worth nothing.
    if part.exists() {
        std::fs::remove_file(&part)?;
    }
    remove_side_files(&part);
    let copied = db.outside().and_then(|mut conn| dialect::copy_to(&mut conn, text));
    let checked = copied.and_then(|()| is_whole(&part));
    if let Err(error) = checked {
        drop(std::fs::remove_file(&part));
        return Err(error.into());
    }
    remove_side_files(&part);
    File::open(&part)?.sync_all()?;
    std::fs::rename(&part, file)?;
    if let Some(folder) = file.parent().filter(|f| !f.as_os_str().is_empty()) {
        File::open(folder)?.sync_all()?;
    }
    let actor = Actor::command("backup", None);
    db.write_now(&actor, |tx| append(tx, Event::execute("backup")))?;
    println!("The copy is {}.", file.display());
    Ok(())
}

/// Puts a copy where the settings say the database is; refuses when one is there.
pub fn restore(file: &Path) -> Result<(), Ended> {
    let settings = settings()?;
    let Address::Sqlite(target) = &settings.database else {
        return Err(Ended::Wrong("a PostgreSQL database is put back with pg_restore; see DEVELOPERS.md".to_owned()));
    };
    if !file.is_file() {
        return Err(Ended::Wrong(format!("{} is not there", file.display())));
    }
    let wal = with_ending(target, "-wal");
    if target.exists() || wal.exists() {
        return Err(Ended::Wrong(format!(
            "{} is there already: move it away first, with its -wal and -shm files",
            target.display()
        )));
    }
    let part = with_ending(target, ".part");
    std::fs::copy(file, &part)?;
    if let Err(error) = is_whole(&part) {
        drop(std::fs::remove_file(&part));
        remove_side_files(&part);
        return Err(Ended::Failed(format!("{} is no whole copy: {error}", file.display())));
    }
    remove_side_files(&part);
    File::open(&part)?.sync_all()?;
    std::fs::rename(&part, target)?;
    println!("{} is in place. Check it with `roundel audit verify`.", target.display());
    Ok(())
}

/// Looks at a copy with one connection, closed when this answers: the threads behind a whole [`crate::db::Db`] close theirs
/// later and leave files beside the copy that was renamed meanwhile. An older copy is taken: `serve` migrates it.
fn is_whole(file: &Path) -> Result<(), StoreError> {
    let manager = Manager { address: Address::Sqlite(file.to_owned()), door: Door::Read };
    let mut conn = manager.open().map_err(|e| StoreError::Backend(e.to_string()))?;
    dialect::check_whole(&mut conn)?;
    crate::audit::store::head(&mut conn).map(drop) // a whole file of something else is no copy of ours
}

fn with_ending(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    PathBuf::from(name)
}

fn remove_side_files(path: &Path) {
    for ending in ["-wal", "-shm"] {
        drop(std::fs::remove_file(with_ending(path, ending)));
    }
}
