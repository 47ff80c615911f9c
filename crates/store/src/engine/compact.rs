//! Offline compaction: the engine never gives space back, so the rows move into a fresh data folder.
//!
//! The old folder stays in use until `CURRENT` names the new one; a power cut at any moment leaves one of them complete.

use std::fs;
use std::io;
use std::path::Path;

use super::commit_row::{self, CommitRow};
use super::folder;
use super::opening::{self, Opened, at, broken, guarded};
use super::refusal::OpenError;
use super::sled::SledOptions;

/// What compaction did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Compacted {
    /// Keys in the store.
    pub keys: u64,
    /// Bytes of the data folder before.
    pub before: u64,
    /// Bytes of the data folder after.
    pub after: u64,
}

/// Rewrites a store that is closed. Reads and checks everything, before and after.
pub fn compact(options: &SledOptions) -> Result<Compacted, OpenError> {
    let options = SledOptions {
        read_all: true,
        ..options.clone()
    };
    let dir = options.dir.as_path();
    let opened = opening::open_existing(&options)?;
    let old = opened.data.clone();
    let number = old
        .file_name()
        .and_then(|name| folder::data_number(&name.to_string_lossy()))
        .unwrap_or(0);
    remove_unused(dir, number)?;
    let new = dir.join(folder::data_name(number + 1));
    let before = folder::size(&old).map_err(at(&old))?;
    if let Err(e) = fill(&opened, &options, &new) {
        // The old folder stands; what was begun only takes space.
        folder::remove(&new).map_err(at(&new))?;
        return Err(e);
    }
    let after = folder::size(&new).map_err(at(&new))?;
    // The sentinel is unclean since opening and knows nothing of folders, so it is true for both of them.
    let mut stopped = opened.stop().map_err(|what| broken(&old, what))?;
    folder::write_current(dir, number + 1).map_err(at(&dir.join(folder::CURRENT)))?;
    stopped.data = new;
    let keys = stopped.sentinel.keys;
    stopped.mark_clean().map_err(at(&dir.join(folder::SENTINEL)))?;
    folder::remove(&old).map_err(at(&old))?;
    Ok(Compacted { keys, before, after })
}

/// Copies every row and makes the copy durable.
fn fill(opened: &Opened, options: &SledOptions, new: &Path) -> Result<(), OpenError> {
    let sentinel = &opened.sentinel;
    let row = CommitRow {
        store_id: sentinel.store_id,
        format: sentinel.format,
        sequence: sentinel.sequence,
        keys: sentinel.keys,
    };
    let db = opening::open_engine(options, new)?;
    let copied = guarded(|| {
        let mut pending = 0;
        let mut batch = ::sled::Batch::default();
        for entry in opened.db.iter() {
            let (key, value) = entry?;
            if *key == *commit_row::KEY {
                continue;
            }
            pending += key.len() + value.len();
            batch.insert(key, value);
            if pending >= super::MAX_BATCH {
                db.apply_batch(std::mem::take(&mut batch))?;
                pending = 0;
            }
        }
        batch.insert(commit_row::KEY, row.encode());
        db.apply_batch(batch)?;
        db.flush()?;
        Ok(db.len() as u64)
    });
    let stopped = guarded(|| {
        drop(db);
        Ok(())
    });
    let rows = copied
        .and_then(|rows| stopped.map(|()| rows))
        .map_err(|what| failed(new, what))?;
    if rows != row.keys + 1 {
        return Err(broken(
            new,
            format!("{rows} rows were copied; {} are stored", row.keys + 1),
        ));
    }
    folder::sync_all(new).map_err(at(new))
}

/// Removes data folders that a compaction cut short has left behind.
fn remove_unused(dir: &Path, in_use: u32) -> Result<(), OpenError> {
    let entries: Vec<_> = fs::read_dir(dir)
        .and_then(Iterator::collect::<io::Result<_>>)
        .map_err(at(dir))?;
    for entry in entries {
        let number = folder::data_number(&entry.file_name().to_string_lossy());
        if number.is_some_and(|number| number != in_use) {
            folder::remove(&entry.path()).map_err(at(&entry.path()))?;
        }
    }
    Ok(())
}

/// The copy went wrong, which says nothing against the store: a full disk is the likeliest reason.
fn failed(new: &Path, what: String) -> OpenError {
    OpenError::Io {
        path: new.to_owned(),
        source: io::Error::other(what),
    }
}
