//! Why a store was not opened, in words for the person who has to act.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

use super::folder;

/// Why a store was not opened, made or compacted.
#[derive(Debug)]
pub enum OpenError {
    /// There is no store in the folder.
    NoStore {
        /// The folder.
        dir: PathBuf,
    },
    /// A store can only be made in an absent or empty folder.
    NotVacant {
        /// The folder.
        dir: PathBuf,
    },
    /// Another process has the store open.
    InUse {
        /// The folder.
        dir: PathBuf,
    },
    /// What is on disk is not what was acknowledged, or not of this program.
    Refused(Box<Refusal>),
    /// The operating system said no.
    Io {
        /// What was read or written.
        path: PathBuf,
        /// What it said.
        source: io::Error,
    },
}

/// A store whose content must not be served.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// Folder of the store.
    pub dir: PathBuf,
    /// The file or folder in it that is wrong.
    pub part: String,
    /// What is wrong with it.
    pub what: String,
    /// The note of the last backup.
    pub backup: Option<String>,
    /// Where the data was copied before the engine touched it.
    pub copy: Option<PathBuf>,
}

impl Refusal {
    pub(crate) fn new(dir: &Path, part: impl Into<String>, what: impl Into<String>) -> Self {
        let copy = dir.join(folder::RECOVERY_COPY);
        Self {
            dir: dir.to_owned(),
            part: part.into(),
            what: what.into(),
            backup: folder::last_backup(dir),
            copy: copy.is_dir().then_some(copy),
        }
    }
}

impl From<Refusal> for OpenError {
    fn from(refusal: Refusal) -> Self {
        OpenError::Refused(Box::new(refusal))
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let dir = self.dir.display();
        writeln!(f, "the store in {dir} is refused: {}: {}", self.part, self.what)?;
        match &self.backup {
            Some(note) => writeln!(f, "last backup: {note}")?,
            None => writeln!(f, "last backup: none noted in {dir}/{}", folder::BACKUP)?,
        }
        if let Some(copy) = &self.copy {
            writeln!(f, "the data as it was found: {}", copy.display())?;
        }
        write!(
            f,
            "to restore, move {dir} away, then: springwright import --store {dir} FILE"
        )
    }
}

impl fmt::Display for OpenError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            OpenError::NoStore { dir } => {
                let dir = dir.display();
                write!(
                    f,
                    "there is no store in {dir}; is a disk not mounted? A new one is made only when asked for"
                )
            }
            OpenError::NotVacant { dir } => {
                write!(
                    f,
                    "a store is made only in an absent or empty folder; {} is neither",
                    dir.display()
                )
            }
            OpenError::InUse { dir } => write!(f, "the store in {} is open in another process", dir.display()),
            OpenError::Refused(refusal) => refusal.fmt(f),
            OpenError::Io { path, source } => write!(f, "{}: {source}", path.display()),
        }
    }
}

impl std::error::Error for OpenError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            OpenError::Io { source, .. } => Some(source),
            OpenError::NoStore { .. } | OpenError::NotVacant { .. } | OpenError::InUse { .. } => None,
            OpenError::Refused(_) => None,
        }
    }
}
