//! The engine a shop has by default: a folder on its own disk.

use std::path::Path;
use std::sync::Arc;

use crate::check::check_value;
use crate::engine::Engine;
use crate::engine::compact::{self, Compacted};
use crate::engine::folder;
use crate::engine::refusal::OpenError;
use crate::engine::sentinel::Sentinel;
use crate::engine::sled::{SledEngine, SledOptions};
use crate::text::Origin;

fn options(dir: &Path) -> SledOptions {
    SledOptions {
        check: check_value,
        ..SledOptions::new(dir)
    }
}

/// Opens a store that stands in a folder. After an unclean stop everything is read and checked first.
///
/// # Errors
/// [`OpenError`]: the folder holds no store, a damaged, shortened or foreign one, or it is in use.
pub fn open_existing(dir: &Path) -> Result<Arc<dyn Engine>, OpenError> {
    Ok(Arc::new(SledEngine::open_existing(&options(dir))?))
}

/// Makes a store in an absent or empty folder.
///
/// # Errors
/// [`OpenError`]: the folder is not empty or cannot be written.
pub fn create(dir: &Path) -> Result<Arc<dyn Engine>, OpenError> {
    Ok(Arc::new(SledEngine::create(&options(dir))?))
}

/// Rewrites a store that is closed without what it no longer needs; until the last step it is as before.
///
/// # Errors
/// [`OpenError`], as [`open_existing`].
pub fn rewrite(dir: &Path) -> Result<Compacted, OpenError> {
    compact::compact(&options(dir))
}

/// Id and durable sequence of the store in a folder, as its sentinel has them; for an export's first lines.
///
/// # Errors
/// The sentinel cannot be read.
pub fn origin(dir: &Path) -> std::io::Result<Origin> {
    let file = std::fs::File::open(dir.join(folder::SENTINEL))?;
    let sentinel = Sentinel::read(&file)?.map_err(std::io::Error::other)?;
    Ok(Origin {
        store: uuid::Uuid::from_bytes(sentinel.store_id).hyphenated().to_string(),
        sequence: sentinel.sequence,
    })
}

/// Notes where the last backup is, for the words with which a damaged store is refused.
///
/// # Errors
/// The note cannot be written.
pub fn note_backup(dir: &Path, note: &str) -> std::io::Result<()> {
    folder::note_backup(dir, note)
}
