//! The engine on disk: sled, wrapped until its promise holds.
//!
//! sled 0.34 on its own loses acknowledged writes in a power cut, and can open a damaged store as an empty one. Here
//!
//! - one thread commits groups of batches: apply, flush, `fdatasync` on the data file, sentinel, then the answers;
//! - segments have 8 MiB, which keeps every row inside the one file that is synced;
//! - a sentinel outside the engine knows what must be there, and opening compares;
//! - a panic or an error of the engine ends the engine, never the promise.

use std::fmt;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

use tokio::sync::watch;

use super::committer::{self, Committer, Post};
use super::gate;
use super::opening::{self, Opened, guarded};
use super::queue::NotQueued;
use super::refusal::OpenError;
use super::{
    Batch, BatchFault, Engine, EngineError, Health, Key, KeyRange, Lane, Order, Outcome, Pending, RESERVED, Value, View,
};

/// Format of the data folder that this program reads and writes.
pub const FORMAT: u32 = 1;
/// Rows of [`super::MAX_VALUE`] stay inline, sixteen to a page, only when a page is below a quarter of a segment.
const SEGMENT: u64 = 8 << 20;
/// The size that keeps large rows outside the synced file.
const SMALL_SEGMENT: u64 = 512 << 10;

/// Says what is wrong with a row, when something is: the record layer's checksums.
pub type Check = fn(&[u8], &[u8]) -> Result<(), String>;

/// Where a store is and how it is kept.
#[derive(Clone)]
pub struct SledOptions {
    /// Folder of the store.
    pub dir: PathBuf,
    /// Bytes of cache that are aimed at; the engine can take several times as much.
    pub cache: u64,
    /// Bytes that are kept free on the disk, because the engine cannot be opened on a full one.
    pub reserve: u64,
    /// How long a group may take before the engine counts as failed, and a view or a group may wait for the other.
    pub stall: Duration,
    /// Reads everything while opening even after a clean stop.
    pub read_all: bool,
    /// Applied to each row when everything is read.
    pub check: Check,
    #[doc(hidden)]
    pub sabotage: Sabotage,
}

impl SledOptions {
    /// A store in `dir` with 64 MiB of cache, 256 MiB of reserve and 10 s of patience.
    pub fn new(dir: impl Into<PathBuf>) -> Self {
        Self {
            dir: dir.into(),
            cache: 64 << 20,
            reserve: 256 << 20,
            stall: Duration::from_secs(10),
            read_all: false,
            check: |_, _| Ok(()),
            sabotage: Sabotage::None,
        }
    }

    pub(crate) fn segment(&self) -> u64 {
        if self.sabotage.skips_sync() {
            SMALL_SEGMENT
        } else {
            SEGMENT
        }
    }
}

impl fmt::Debug for SledOptions {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("SledOptions")
            .field("dir", &self.dir)
            .field("reserve", &self.reserve)
            .finish_non_exhaustive()
    }
}

/// Ways to break the engine on purpose, so that the tests can be seen to notice. Never for data that matters.
#[doc(hidden)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sabotage {
    /// The engine as it is meant to be.
    None,
    /// The engine as shipped: small segments and no sync of our own, so acknowledged writes do not survive a power cut.
    SkipSync,
    /// An I/O error while the commit with this number is written.
    FailAt(u64),
    /// A panic while the commit with this number is written.
    PanicAt(u64),
    /// The commit with this number takes this long.
    StallAt(u64, Duration),
}

impl Sabotage {
    pub(crate) fn skips_sync(self) -> bool {
        matches!(self, Sabotage::SkipSync)
    }
}

/// A store on disk that is open for reading and writing.
pub struct SledEngine {
    post: Arc<Post>,
    db: Mutex<Option<::sled::Db>>,
    threads: Mutex<Option<Threads>>,
    stall: Duration,
}

struct Threads {
    committer: JoinHandle<Option<Opened>>,
    watchdog: JoinHandle<()>,
}

impl fmt::Debug for SledEngine {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("SledEngine")
            .field("condition", &self.condition())
            .finish_non_exhaustive()
    }
}

impl SledEngine {
    /// Makes a store in an absent or empty folder and opens it.
    pub fn create(options: &SledOptions) -> Result<Self, OpenError> {
        Self::start(opening::create(options)?, options)
    }

    /// Opens a store that is there. After an unclean stop everything is read first.
    pub fn open_existing(options: &SledOptions) -> Result<Self, OpenError> {
        Self::start(opening::open_existing(options)?, options)
    }

    fn start(opened: Opened, options: &SledOptions) -> Result<Self, OpenError> {
        let post = Arc::new(Post::default());
        let db = ::sled::Db::clone(&opened.db);
        let in_dir = |source| OpenError::Io {
            path: options.dir.clone(),
            source,
        };
        let committer = Committer::new(Arc::clone(&post), opened, options)
            .map_err(in_dir)?
            .spawn()
            .map_err(in_dir)?;
        let watchdog = committer::spawn_watchdog(Arc::clone(&post), options.stall).map_err(in_dir)?;
        let threads = Mutex::new(Some(Threads { committer, watchdog }));
        Ok(Self {
            post,
            db: Mutex::new(Some(db)),
            threads,
            stall: options.stall,
        })
    }

    fn viewed<'a>(&'a self, pass: gate::Shared<'a>) -> Result<Box<dyn View + 'a>, EngineError> {
        // Only now is it certain that the group that was being written did not fail.
        self.post.serving()?;
        let db = self
            .db
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
            .ok_or(EngineError::Closed)?;
        Ok(Box::new(SledView {
            db,
            post: &self.post,
            _pass: pass,
        }))
    }

    fn hand_over(&self, batch: Batch, lane: Lane, patient: bool) -> Result<Pending, Batch> {
        if let Err(fault) = batch.fit() {
            return Ok(Pending::ready(Outcome::Unfit(fault)));
        }
        match self.post.queue.push(batch, lane, patient) {
            Ok(pending) => Ok(pending),
            Err(NotQueued::Full(batch)) => Err(batch),
            Err(NotQueued::Shut) => Ok(Pending::ready(match self.condition() {
                Health::Failed(_) => Outcome::InDoubt,
                Health::Serving | Health::Closed => Outcome::Unfit(BatchFault::Closed),
            })),
        }
    }
}

impl Engine for SledEngine {
    fn view(&self) -> Result<Box<dyn View + '_>, EngineError> {
        self.post.serving()?;
        let pass = self.post.gate.shared(self.stall).ok_or(EngineError::HeldUp)?;
        self.viewed(pass)
    }

    fn view_at_once(&self) -> Option<Result<Box<dyn View + '_>, EngineError>> {
        self.post.gate.shared_at_once().map(|pass| self.viewed(pass))
    }

    fn submit(&self, batch: Batch, lane: Lane) -> Pending {
        self.hand_over(batch, lane, true)
            .unwrap_or_else(|_| Pending::ready(Outcome::Unfit(BatchFault::HeldUp)))
    }

    fn try_submit(&self, batch: Batch, lane: Lane) -> Result<Pending, Batch> {
        self.hand_over(batch, lane, false)
    }

    fn condition(&self) -> Health {
        self.post.health.borrow().clone()
    }

    fn watch(&self) -> watch::Receiver<Health> {
        self.post.health.subscribe()
    }

    fn close(&self) -> Result<(), EngineError> {
        let mut threads = self.threads.lock().unwrap_or_else(PoisonError::into_inner);
        if let Health::Failed(reason) = self.condition() {
            return Err(EngineError::Failed(reason));
        }
        self.post.queue.shut();
        let Some(running) = threads.take() else { return Ok(()) };
        let opened = match running.committer.join() {
            Ok(Some(opened)) => opened,
            Ok(None) | Err(_) => {
                self.post.fail("the committer ended early".into());
                self.post.serving()?;
                return Err(EngineError::Closed);
            }
        };
        let Some(_pass) = self.post.gate.exclusive(self.stall) else {
            // The engine must not be stopped under a reader. Everything acknowledged is safe, only the clean mark is not made.
            let reason = "a view was held open while the store was closed".to_owned();
            self.post.fail(reason.clone());
            return Err(EngineError::Failed(reason));
        };
        drop(self.db.lock().unwrap_or_else(PoisonError::into_inner).take());
        match opened.shut() {
            Ok(()) => {
                self.post.health.send_replace(Health::Closed);
                running.watchdog.thread().unpark();
                Ok(())
            }
            Err(reason) => {
                self.post.fail(reason.clone());
                Err(EngineError::Failed(reason))
            }
        }
    }
}

impl Drop for SledEngine {
    fn drop(&mut self) {
        // A store that failed is left as it is; any other is closed as if asked to.
        if let Err(e) = self.close() {
            tracing::error!(reason = %e, "the store was not closed cleanly");
        }
    }
}

struct SledView<'a> {
    // Dropped before the pass, so that no read is under way when the committer goes on.
    db: ::sled::Db,
    post: &'a Post,
    _pass: gate::Shared<'a>,
}

impl SledView<'_> {
    fn read<T>(&self, work: impl FnOnce() -> Result<T, ::sled::Error>) -> Result<T, EngineError> {
        guarded(work).map_err(|reason| {
            self.post.fail(format!("reading: {reason}"));
            EngineError::Failed(reason)
        })
    }
}

impl View for SledView<'_> {
    fn get(&self, key: &[u8]) -> Result<Option<Value>, EngineError> {
        if key.first().is_none_or(|first| *first == RESERVED) {
            return Ok(None);
        }
        self.read(|| Ok(self.db.get(key)?.map(|value| value.to_vec())))
    }

    fn page(&self, range: &KeyRange, order: Order, limit: usize) -> Result<Vec<(Key, Value)>, EngineError> {
        let start = range.start.clone().max(vec![RESERVED + 1]);
        let range = KeyRange {
            start,
            end: range.end.clone(),
        };
        if range.is_empty() {
            return Ok(Vec::new());
        }
        self.read(|| {
            let rows = match range.end {
                Some(end) => self.db.range(range.start..end),
                None => self.db.range(range.start..),
            };
            let plain = |row: ::sled::Result<(::sled::IVec, ::sled::IVec)>| {
                row.map(|(key, value)| (key.to_vec(), value.to_vec()))
            };
            match order {
                Order::Ascending => rows.take(limit).map(plain).collect(),
                Order::Descending => rows.rev().take(limit).map(plain).collect(),
            }
        })
    }
}
