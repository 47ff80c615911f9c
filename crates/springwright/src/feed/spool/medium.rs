//! Where a spool's bytes are: a locked file, or memory.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, BufReader, Cursor, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use super::SpoolError;

#[derive(Debug)]
pub(super) enum Medium {
    File { file: File, path: PathBuf },
    Memory(Vec<u8>),
}

impl Medium {
    pub(super) fn create(path: &Path) -> Result<Self, SpoolError> {
        let fail = |error| io_error(path, error);
        if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
            std::fs::create_dir_all(folder).map_err(fail)?;
        }
        let file = OpenOptions::new()
            .read(true)
            .write(true)
            .create_new(true)
            .open(path)
            .map_err(fail)?;
        lock(&file, path)?;
        sync_folder(path).map_err(fail)?;
        Ok(Self::File {
            file,
            path: path.to_owned(),
        })
    }

    pub(super) fn open(path: &Path) -> Result<Self, SpoolError> {
        let open = OpenOptions::new().read(true).write(true).open(path);
        let file = open.map_err(|error| io_error(path, error))?;
        lock(&file, path)?;
        Ok(Self::File {
            file,
            path: path.to_owned(),
        })
    }

    pub(super) fn path(&self) -> PathBuf {
        match self {
            Self::File { path, .. } => path.clone(),
            Self::Memory(_) => PathBuf::from("(in memory)"),
        }
    }

    fn fail(&self, error: io::Error) -> SpoolError {
        io_error(&self.path(), error)
    }

    pub(super) fn length(&self) -> Result<u64, SpoolError> {
        match self {
            Self::File { file, .. } => Ok(file.metadata().map_err(|error| self.fail(error))?.len()),
            Self::Memory(bytes) => Ok(bytes.len() as u64),
        }
    }

    pub(super) fn reader(&mut self) -> Result<Box<dyn Read + '_>, SpoolError> {
        match self {
            Self::File { file, path } => {
                file.seek(SeekFrom::Start(0)).map_err(|error| io_error(path, error))?;
                Ok(Box::new(BufReader::new(file)))
            }
            Self::Memory(bytes) => Ok(Box::new(Cursor::new(bytes))),
        }
    }

    pub(super) fn read(&mut self, offset: u64, length: u64) -> Result<Vec<u8>, SpoolError> {
        let mut bytes = Vec::new();
        let read = match self {
            Self::File { file, .. } => file
                .seek(SeekFrom::Start(offset))
                .and_then(|_| file.take(length).read_to_end(&mut bytes)),
            Self::Memory(all) => {
                let mut cursor = Cursor::new(all);
                cursor.set_position(offset);
                cursor.take(length).read_to_end(&mut bytes)
            }
        };
        read.map_err(|error| self.fail(error))?;
        Ok(bytes)
    }

    pub(super) fn append(&mut self, end: u64, bytes: &[u8]) -> Result<(), SpoolError> {
        let written = match self {
            Self::File { file, .. } => file.seek(SeekFrom::Start(end)).and_then(|_| file.write_all(bytes)),
            Self::Memory(all) => {
                all.extend_from_slice(bytes);
                Ok(())
            }
        };
        if let Err(error) = written {
            // Half a record must not stand before the next one; if even this fails, opening finds the tear.
            let _ = self.truncate(end);
            return Err(self.fail(error));
        }
        Ok(())
    }

    pub(super) fn truncate(&mut self, end: u64) -> Result<(), SpoolError> {
        match self {
            Self::File { file, path } => file.set_len(end).map_err(|error| io_error(path, error)),
            Self::Memory(bytes) => {
                bytes.truncate(usize::try_from(end).unwrap_or(usize::MAX));
                Ok(())
            }
        }
    }

    pub(super) fn sync(&mut self) -> Result<(), SpoolError> {
        match self {
            Self::File { file, path } => file.sync_data().map_err(|error| io_error(path, error)),
            Self::Memory(_) => Ok(()),
        }
    }

    /// A new beginning, then everything from `tail` on; all of it or nothing.
    pub(super) fn replace(&mut self, start: &[u8], tail: u64) -> Result<(), SpoolError> {
        match self {
            Self::File { file, path } => {
                *file = rewrite(file, path, start, tail).map_err(|error| io_error(path, error))?;
            }
            Self::Memory(bytes) => {
                let tail = usize::try_from(tail).unwrap_or(usize::MAX).min(bytes.len());
                bytes.splice(..tail, start.iter().copied());
            }
        }
        Ok(())
    }

    pub(super) fn remove(&mut self) -> Result<(), SpoolError> {
        match self {
            Self::File { path, .. } => std::fs::remove_file(&*path).map_err(|error| io_error(path, error)),
            Self::Memory(bytes) => {
                bytes.clear();
                Ok(())
            }
        }
    }
}

fn rewrite(old: &mut File, path: &Path, start: &[u8], tail: u64) -> io::Result<File> {
    let mut name = path.as_os_str().to_owned();
    name.push(".new");
    let beside = PathBuf::from(name);
    let mut options = OpenOptions::new();
    let mut new = options
        .read(true)
        .write(true)
        .create(true)
        .truncate(true)
        .open(&beside)?;
    new.lock()?;
    new.write_all(start)?;
    old.seek(SeekFrom::Start(tail))?;
    io::copy(old, &mut new)?;
    new.sync_all()?;
    std::fs::rename(&beside, path)?;
    sync_folder(path)?;
    Ok(new)
}

fn io_error(path: &Path, error: io::Error) -> SpoolError {
    SpoolError::Io {
        path: path.to_owned(),
        error,
    }
}

/// Two feeds in one spool would number their blocks alike.
fn lock(file: &File, path: &Path) -> Result<(), SpoolError> {
    match file.try_lock() {
        Ok(()) => Ok(()),
        Err(TryLockError::WouldBlock) => Err(SpoolError::InUse(path.to_owned())),
        Err(TryLockError::Error(error)) => Err(io_error(path, error)),
    }
}

/// A file's name is durable only with its folder.
fn sync_folder(path: &Path) -> io::Result<()> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
    File::open(folder.unwrap_or(Path::new(".")))?.sync_all()
}
