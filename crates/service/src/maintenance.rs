//! Work on the folder of a store that nobody serves: export, import, verify, compact.

use std::io::{BufRead, Write};
use std::path::Path;

use store::Store;
use store::check::{Report, verify as look_over};
use store::embedded;
use store::engine::compact::Compacted;
use store::text::{Moved, export as write_text, import as read_text};

use crate::bench::{Clock as _, WallClock};
use crate::{ServiceFault, fault};

/// Writes everything of a store as text.
///
/// # Errors
/// The store is refused or damaged, or the text cannot be written.
pub fn export(dir: &Path, out: &mut dyn Write) -> Result<Moved, ServiceFault> {
    let engine = embedded::open_existing(dir).map_err(fault)?;
    let store = Store::over(engine.clone()).map_err(fault)?;
    let origin = embedded::origin(dir).map_err(fault)?;
    let moved = write_text(&store, &origin, out).map_err(fault)?;
    engine.close().map_err(fault)?;
    Ok(moved)
}

/// Notes on a store where its last backup is, so that a refusal can name it.
///
/// # Errors
/// The note cannot be written.
pub fn note_backup(dir: &Path, file: &Path) -> Result<(), ServiceFault> {
    embedded::note_backup(dir, &file.display().to_string()).map_err(fault)
}

/// Notes in a store that a copy of it was made, so that whoever erases something can be told where else it is.
///
/// # Errors
/// The store is refused.
pub fn note_copy(dir: &Path, place: &str) -> Result<(), ServiceFault> {
    let engine = embedded::open_existing(dir).map_err(fault)?;
    let store = Store::over(engine.clone()).map_err(fault)?;
    store.note_copy(WallClock.now(), place).map_err(fault)?;
    engine.close().map_err(fault)
}

/// Makes a store in an absent or empty folder from such a text.
///
/// # Errors
/// The folder is not empty, or the text is not whole.
pub fn import(dir: &Path, text: &mut dyn BufRead) -> Result<Moved, ServiceFault> {
    let engine = embedded::create(dir).map_err(fault)?;
    let moved = read_text(&*engine, text).map_err(fault)?;
    engine.close().map_err(fault)?;
    Ok(moved)
}

/// Reads and checks everything.
///
/// # Errors
/// The store is refused. Faults of its content are in the report.
pub fn verify(dir: &Path) -> Result<Report, ServiceFault> {
    let engine = embedded::open_existing(dir).map_err(fault)?;
    let store = Store::over(engine.clone()).map_err(fault)?;
    let report = look_over(&store).map_err(fault)?;
    engine.close().map_err(fault)?;
    Ok(report)
}

/// Rewrites a store without what it no longer needs.
///
/// # Errors
/// The store is refused; it is as before then.
pub fn compact(dir: &Path) -> Result<Compacted, ServiceFault> {
    embedded::rewrite(dir).map_err(fault)
}
