//! Making and opening a store on disk: every check between a folder and the first read.

use std::fs::{self, File, OpenOptions};
use std::io;
use std::mem::ManuallyDrop;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::thread;
use std::time::{Duration, Instant};

use super::commit_row::{self, CommitRow};
use super::refusal::{OpenError, Refusal};
use super::sentinel::Sentinel;
use super::sled::{FORMAT, Sabotage, SledOptions};
use super::{RESERVED, folder};

/// Locks of an engine that has just stopped can linger for a moment.
const LOCK_PATIENCE: Duration = Duration::from_secs(1);
const LOCK_PAUSE: Duration = Duration::from_millis(20);

/// An open store. Its destructor leaves the engine alone: only [`Opened::shut`] stops it, after nothing has gone wrong.
pub(crate) struct Opened {
    pub(crate) db: ManuallyDrop<::sled::Db>,
    /// The engine's own file through a handle of ours, to sync what its flush does not.
    pub(crate) data_file: File,
    /// The sentinel, locked against other processes while it is open.
    pub(crate) store_file: File,
    pub(crate) sentinel: Sentinel,
    pub(crate) data: PathBuf,
}

impl Opened {
    /// Everything that stands between a group in the engine's buffers and a power cut.
    pub(crate) fn sync_group(&mut self, row: CommitRow, sabotage: Sabotage) -> io::Result<()> {
        if !sabotage.skips_sync() {
            self.data_file.sync_data()?;
        }
        (self.sentinel.sequence, self.sentinel.keys) = (row.sequence, row.keys);
        self.sentinel.write_next(&self.store_file)
    }

    /// Stops the engine and marks the store as cleanly closed.
    pub(crate) fn shut(self) -> Result<(), String> {
        self.stop()?.mark_clean().map_err(|e| e.to_string())
    }

    /// Stops the engine; everything is durable afterwards.
    pub(crate) fn stop(self) -> Result<Stopped, String> {
        let db = ManuallyDrop::into_inner(self.db);
        // Dropping the last handle writes what is left; it panics where it cannot.
        guarded(|| {
            drop(db);
            Ok(())
        })?;
        folder::sync_all(&self.data).map_err(|e| e.to_string())?;
        Ok(Stopped {
            store_file: self.store_file,
            sentinel: self.sentinel,
            data: self.data,
        })
    }
}

/// A store whose engine has been stopped but which is still locked and not yet marked as clean.
pub(crate) struct Stopped {
    store_file: File,
    pub(crate) sentinel: Sentinel,
    pub(crate) data: PathBuf,
}

impl Stopped {
    pub(crate) fn mark_clean(mut self) -> io::Result<()> {
        self.sentinel.clean = Some(fs::metadata(self.data.join(folder::DATA_FILE))?.len());
        self.sentinel.write_next(&self.store_file)
    }
}

/// Runs a piece of the engine; a panic comes back as words.
pub(crate) fn guarded<T>(work: impl FnOnce() -> Result<T, ::sled::Error>) -> Result<T, String> {
    unwound(work)?.map_err(|e| e.to_string())
}

fn unwound<T>(work: impl FnOnce() -> T) -> Result<T, String> {
    catch_unwind(AssertUnwindSafe(work)).map_err(|panic| {
        let words = panic.downcast_ref::<String>().cloned();
        let words = words.or_else(|| panic.downcast_ref::<&str>().map(|text| (*text).to_owned()));
        format!("the engine panicked: {}", words.unwrap_or_default())
    })
}

/// Makes an empty store. The sentinel comes last: a power cut before it leaves a folder that is no store.
pub(crate) fn create(options: &SledOptions) -> Result<Opened, OpenError> {
    let dir = &options.dir;
    if !folder::is_vacant(dir).map_err(at(dir))? {
        return Err(OpenError::NotVacant { dir: dir.clone() });
    }
    fs::create_dir_all(dir).map_err(at(dir))?;
    let data = dir.join(folder::data_name(1));
    let store_id = uuid::Uuid::new_v4().into_bytes();
    let row = CommitRow {
        store_id,
        format: FORMAT,
        sequence: 1,
        keys: 0,
    };
    let db = ManuallyDrop::new(open_engine(options, &data)?);
    guarded(|| db.insert(commit_row::KEY, row.encode()).and_then(|_| db.flush()))
        .map_err(|what| broken(&data, what))?;
    folder::sync_all(&data).map_err(at(&data))?;
    folder::write_current(dir, 1).map_err(at(dir))?;

    let mut sentinel = Sentinel {
        store_id,
        format: FORMAT,
        segment: options.segment(),
        turn: 0,
        sequence: row.sequence,
        keys: row.keys,
        clean: None,
    };
    let (draft, path) = (dir.join("STORE.new"), dir.join(folder::SENTINEL));
    let store_file = open_file(OpenOptions::new().read(true).write(true).create_new(true), &draft)?;
    lock(&store_file, dir)?;
    sentinel
        .write_both(&store_file)
        .and_then(|()| store_file.sync_all())
        .map_err(at(&draft))?;
    fs::rename(&draft, &path).map_err(at(&path))?;
    folder::sync_entries(dir).map_err(at(dir))?;
    if let Some(parent) = dir.canonicalize().ok().as_deref().and_then(Path::parent) {
        folder::sync_entries(parent).map_err(at(parent))?;
    }
    Ok(Opened {
        db,
        data_file: open_data_file(&data)?,
        store_file,
        sentinel,
        data,
    })
}

/// Opens a store that is there, or says why its content must not be served.
pub(crate) fn open_existing(options: &SledOptions) -> Result<Opened, OpenError> {
    let dir = &options.dir;
    let refuse = |part: &str, what: String| OpenError::from(Refusal::new(dir, part, what));
    let store_file = open_sentinel(dir)?;
    lock(&store_file, dir)?;
    let mut sentinel = Sentinel::read(&store_file)
        .map_err(at(&dir.join(folder::SENTINEL)))?
        .map_err(|what| refuse(folder::SENTINEL, what))?;
    if sentinel.format != FORMAT {
        let what = format!("the store has format {}; this program reads {FORMAT}", sentinel.format);
        return Err(refuse(folder::SENTINEL, what));
    }
    if sentinel.segment != options.segment() {
        let what = format!(
            "the store has segments of {} bytes; allowed {}",
            sentinel.segment,
            options.segment()
        );
        return Err(refuse(folder::SENTINEL, what));
    }
    let number = match folder::read_current(dir) {
        Ok(current) => current.map_err(|what| refuse(folder::CURRENT, what))?,
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Err(refuse(folder::CURRENT, "it is missing".into())),
        Err(e) => return Err(at(&dir.join(folder::CURRENT))(e)),
    };
    let name = folder::data_name(number);
    let data = dir.join(&name);
    let trusted = check_files(&data, &sentinel).map_err(|what| refuse(&name, what))?;
    let read_all = options.read_all || !trusted;
    if sentinel.clean.is_none() {
        folder::keep_copy(dir, &data, options.reserve).map_err(at(&dir.join(folder::RECOVERY_COPY)))?;
    }
    // From here on the engine may write, so a stop is unclean until it is marked otherwise.
    let clean = sentinel.clean.take().is_some();
    if clean {
        sentinel
            .write_next(&store_file)
            .map_err(at(&dir.join(folder::SENTINEL)))?;
    }
    let db = ManuallyDrop::new(open_engine(options, &data)?);
    let row = check_row(&db, &sentinel, clean).map_err(|what| refuse(&name, what))?;
    if read_all {
        check_all(&db, row, options.check).map_err(|what| refuse(&name, what))?;
    }
    // What the engine has repaired counts as durable from now on, so it has to be.
    folder::sync_all(&data).map_err(at(&data))?;
    (sentinel.sequence, sentinel.keys) = (row.sequence, row.keys);
    sentinel
        .write_next(&store_file)
        .map_err(at(&dir.join(folder::SENTINEL)))?;
    folder::remove(&dir.join(folder::RECOVERY_COPY)).map_err(at(&dir.join(folder::RECOVERY_COPY)))?;
    Ok(Opened {
        db,
        data_file: open_data_file(&data)?,
        store_file,
        sentinel,
        data,
    })
}

fn open_sentinel(dir: &Path) -> Result<File, OpenError> {
    let path = dir.join(folder::SENTINEL);
    match OpenOptions::new().read(true).write(true).open(&path) {
        Ok(file) => Ok(file),
        Err(e) if e.kind() == io::ErrorKind::NotFound => {
            if folder::is_vacant(dir).map_err(at(dir))? {
                return Err(OpenError::NoStore { dir: dir.to_owned() });
            }
            Err(Refusal::new(dir, folder::SENTINEL, "it is missing, and the folder is not empty").into())
        }
        Err(e) => Err(at(&path)(e)),
    }
}

fn lock(store_file: &File, dir: &Path) -> Result<(), OpenError> {
    let started = Instant::now();
    loop {
        match store_file.try_lock() {
            Ok(()) => return Ok(()),
            Err(fs::TryLockError::WouldBlock) if started.elapsed() < LOCK_PATIENCE => thread::sleep(LOCK_PAUSE),
            Err(fs::TryLockError::WouldBlock) => return Err(OpenError::InUse { dir: dir.to_owned() }),
            Err(fs::TryLockError::Error(e)) => return Err(at(dir)(e)),
        }
    }
}

/// Looks at the files before the engine can change them. True when nothing speaks for reading everything.
fn check_files(data: &Path, sentinel: &Sentinel) -> Result<bool, String> {
    let length = match fs::metadata(data.join(folder::DATA_FILE)) {
        Ok(file) => file.len(),
        Err(e) => return Err(format!("{}: {e}", folder::DATA_FILE)),
    };
    match sentinel.clean {
        // The first commit is on disk before the sentinel is.
        None if length == 0 => Err(format!("{} is empty", folder::DATA_FILE)),
        None => Ok(false),
        Some(closed) if length < closed => Err(format!(
            "{} has {length} bytes; it had {closed} at the clean stop",
            folder::DATA_FILE
        )),
        Some(closed) => Ok(length == closed && data.join("conf").exists()),
    }
}

pub(crate) fn open_engine(options: &SledOptions, data: &Path) -> Result<::sled::Db, OpenError> {
    let started = Instant::now();
    loop {
        let config = ::sled::Config::new()
            .path(data)
            .segment_size(usize::try_from(options.segment()).unwrap_or(usize::MAX))
            .cache_capacity(options.cache)
            .mode(::sled::Mode::LowSpace);
        // The flusher stays on because it also frees segments; durability does not rest on it.
        match unwound(|| config.open()) {
            Ok(Ok(db)) => return Ok(db),
            Ok(Err(::sled::Error::Io(e))) if e.to_string().contains("acquire lock") => {
                if started.elapsed() >= LOCK_PATIENCE {
                    return Err(OpenError::InUse {
                        dir: options.dir.clone(),
                    });
                }
                thread::sleep(LOCK_PAUSE);
            }
            Ok(Err(::sled::Error::Io(source))) if !speaks_of_damage(&source) => return Err(at(data)(source)),
            Ok(Err(e)) => return Err(broken(data, e.to_string())),
            Err(what) => return Err(broken(data, what)),
        }
    }
}

fn speaks_of_damage(error: &io::Error) -> bool {
    matches!(
        error.kind(),
        io::ErrorKind::UnexpectedEof | io::ErrorKind::InvalidData | io::ErrorKind::InvalidInput | io::ErrorKind::Other
    )
}

pub(crate) fn broken(data: &Path, what: String) -> OpenError {
    let dir = data.parent().unwrap_or(data);
    let part = data.file_name().unwrap_or_default().to_string_lossy();
    Refusal::new(dir, part, format!("the engine cannot open it: {what}")).into()
}

/// Compares what the data folder says about itself with what the sentinel says about it.
fn check_row(db: &::sled::Db, sentinel: &Sentinel, clean: bool) -> Result<CommitRow, String> {
    let row = guarded(|| db.get(commit_row::KEY))?.ok_or("it is empty, or not the data of this store")?;
    let row = CommitRow::decode(&row).ok_or("its commit row is damaged")?;
    if row.store_id != sentinel.store_id {
        return Err("it belongs to another store".into());
    }
    if row.format != sentinel.format {
        return Err(format!(
            "it has format {}; the sentinel says {}",
            row.format, sentinel.format
        ));
    }
    // A group can have reached the disk without its answer having been given, but no more than one.
    let newest = if clean {
        sentinel.sequence
    } else {
        sentinel.sequence.saturating_add(1)
    };
    if row.sequence < sentinel.sequence {
        return Err(format!(
            "it ends at commit {}; {} were acknowledged",
            row.sequence, sentinel.sequence
        ));
    }
    if row.sequence > newest {
        let what = format!(
            "it ends at commit {}, the sentinel at {}",
            row.sequence, sentinel.sequence
        );
        return Err(format!("{what}: they are from different times"));
    }
    if row.sequence == sentinel.sequence && row.keys != sentinel.keys {
        return Err(format!(
            "it counts {} keys; the sentinel says {}",
            row.keys, sentinel.keys
        ));
    }
    Ok(row)
}

/// Reads everything, checks every row and counts the keys.
fn check_all(db: &::sled::Db, row: CommitRow, check: super::sled::Check) -> Result<(), String> {
    let counted = unwound(|| -> Result<u64, String> {
        let mut keys = 0_u64;
        for entry in db.iter() {
            let (key, value) = entry.map_err(|e| e.to_string())?;
            match key.first() {
                Some(&RESERVED) if *key == *commit_row::KEY => continue,
                None | Some(&RESERVED) => return Err("it holds a row that no batch can have written".into()),
                Some(_) => {}
            }
            check(&key, &value).map_err(|what| format!("row {}: {what}", hex(&key)))?;
            keys += 1;
        }
        Ok(keys)
    })??;
    if counted != row.keys {
        return Err(format!("it holds {counted} keys; {} were committed", row.keys));
    }
    Ok(())
}

/// Keys in messages are hexadecimal: they are bytes, and may hold what a terminal obeys.
fn hex(key: &[u8]) -> String {
    key.iter().take(64).map(|byte| format!("{byte:02x}")).collect()
}

fn open_data_file(data: &Path) -> Result<File, OpenError> {
    open_file(OpenOptions::new().read(true).write(true), &data.join(folder::DATA_FILE))
}

fn open_file(how: &OpenOptions, path: &Path) -> Result<File, OpenError> {
    how.open(path).map_err(at(path))
}

pub(crate) fn at(path: &Path) -> impl FnOnce(io::Error) -> OpenError {
    let path = path.to_owned();
    move |source| OpenError::Io { path, source }
}
