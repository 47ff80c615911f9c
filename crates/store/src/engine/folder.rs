//! The folder of a store on disk.
//!
//! ```text
//! STORE           the sentinel; its presence makes the folder a store
//! CURRENT         name of the data folder in use, one line
//! data-000001/    the engine's own files
//! recovery-copy/  the data folder as it was found after an unclean stop, while it is being checked
//! BACKUP          one line about the last backup, for the message of a refusal
//! ```

use std::fs::{self, File};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

pub(crate) const SENTINEL: &str = "STORE";
pub(crate) const CURRENT: &str = "CURRENT";
pub(crate) const BACKUP: &str = "BACKUP";
pub(crate) const RECOVERY_COPY: &str = "recovery-copy";
/// The engine's file with everything in it, inside the data folder.
pub(crate) const DATA_FILE: &str = "db";
const DATA_PREFIX: &str = "data-";

/// Name of the `number`th data folder.
pub(crate) fn data_name(number: u32) -> String {
    format!("{DATA_PREFIX}{number:06}")
}

/// The number in the name of a data folder.
pub(crate) fn data_number(name: &str) -> Option<u32> {
    let number = name.strip_prefix(DATA_PREFIX)?.parse().ok()?;
    (data_name(number) == name).then_some(number)
}

/// Which data folder `CURRENT` names; the inner error says what is wrong with the file.
pub(crate) fn read_current(dir: &Path) -> io::Result<Result<u32, String>> {
    let text = fs::read(dir.join(CURRENT))?;
    let name = std::str::from_utf8(&text).ok().and_then(|text| text.strip_suffix('\n'));
    Ok(name
        .and_then(data_number)
        .ok_or_else(|| "it does not hold the name of a data folder".into()))
}

/// Makes `number` the data folder in use, at once or not at all.
pub(crate) fn write_current(dir: &Path, number: u32) -> io::Result<()> {
    write_whole(dir, CURRENT, format!("{}\n", data_name(number)).as_bytes())
}

/// Notes the last backup in one line, so that a refusal to open can name it.
pub fn note_backup(dir: &Path, note: &str) -> io::Result<()> {
    write_whole(dir, BACKUP, format!("{}\n", one_line(note)).as_bytes())
}

/// The note of the last backup, if there is a readable one.
pub fn last_backup(dir: &Path) -> Option<String> {
    let note = one_line(&String::from_utf8_lossy(&fs::read(dir.join(BACKUP)).ok()?));
    (!note.is_empty()).then_some(note)
}

/// Notes are shown in messages, so they are short and hold no control characters.
fn one_line(note: &str) -> String {
    note.trim()
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .take(500)
        .collect()
}

/// Replaces a file so that after a power cut the old or the new content is there.
fn write_whole(dir: &Path, name: &str, content: &[u8]) -> io::Result<()> {
    let draft = dir.join(format!("{name}.new"));
    let mut file = File::create(&draft)?;
    file.write_all(content)?;
    file.sync_all()?;
    fs::rename(&draft, dir.join(name))?;
    sync_entries(dir)
}

/// Makes the names in a folder durable.
pub(crate) fn sync_entries(dir: &Path) -> io::Result<()> {
    File::open(dir)?.sync_all()
}

/// Makes everything in a folder durable, contents and names.
pub(crate) fn sync_all(dir: &Path) -> io::Result<()> {
    for entry in fs::read_dir(dir)? {
        let entry = entry?;
        if entry.file_type()?.is_dir() {
            sync_all(&entry.path())?;
        } else {
            File::open(entry.path())?.sync_all()?;
        }
    }
    sync_entries(dir)
}

/// Bytes of the files in a folder.
pub(crate) fn size(dir: &Path) -> io::Result<u64> {
    let mut bytes = 0;
    for entry in fs::read_dir(dir)? {
        let entry = entry?;
        bytes += if entry.file_type()?.is_dir() {
            size(&entry.path())?
        } else {
            entry.metadata()?.len()
        };
    }
    Ok(bytes)
}

/// Bytes that this process may still write to the disk of a folder.
pub(crate) fn free(dir: &Path) -> io::Result<u64> {
    let disk = rustix::fs::statvfs(dir)?;
    Ok(disk.f_bavail.saturating_mul(disk.f_frsize))
}

/// Copies a folder when the copy and `reserve` fit; otherwise none. A copy that is already there is older and stays.
pub(crate) fn keep_copy(dir: &Path, data: &Path, reserve: u64) -> io::Result<Option<PathBuf>> {
    let copy = dir.join(RECOVERY_COPY);
    if copy.exists() {
        return Ok(Some(copy));
    }
    if free(dir)? < size(data)?.saturating_add(reserve) {
        return Ok(None);
    }
    // Under its own name only when it is whole, so that half a copy is never taken for the state before the repair.
    let draft = dir.join(format!("{RECOVERY_COPY}.new"));
    remove(&draft)?;
    copy_into(data, &draft)?;
    sync_all(&draft)?;
    fs::rename(&draft, &copy)?;
    sync_entries(dir)?;
    Ok(Some(copy))
}

fn copy_into(from: &Path, to: &Path) -> io::Result<()> {
    fs::create_dir(to)?;
    for entry in fs::read_dir(from)? {
        let entry = entry?;
        let target = to.join(entry.file_name());
        if entry.file_type()?.is_dir() {
            copy_into(&entry.path(), &target)?;
        } else {
            fs::copy(entry.path(), target)?;
        }
    }
    Ok(())
}

/// Removes a folder with everything in it; an absent one is no error.
pub(crate) fn remove(dir: &Path) -> io::Result<()> {
    match fs::remove_dir_all(dir) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(()),
        other => other,
    }
}

/// Whether a folder can be made into a store: absent, or empty but for what a fresh file system puts there.
pub(crate) fn is_vacant(dir: &Path) -> io::Result<bool> {
    match fs::read_dir(dir) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(true),
        Err(e) => Err(e),
        Ok(entries) => {
            for entry in entries {
                if entry?.file_name() != "lost+found" {
                    return Ok(false);
                }
            }
            Ok(true)
        }
    }
}
