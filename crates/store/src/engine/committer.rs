//! The one thread that writes: takes a group, decides, applies, syncs, answers.

use std::collections::BTreeMap;
use std::io;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use tokio::sync::{oneshot, watch};

use super::commit_row::{self, CommitRow};
use super::gate::Gate;
use super::opening::{Opened, guarded};
use super::queue::{Job, Queue};
use super::sled::{Sabotage, SledOptions};
use super::{Batch, BatchFault, EngineError, Health, Outcome, folder};

/// How often free space is looked at, and after how many bytes in between.
const ROOM_EVERY: Duration = Duration::from_millis(250);
const ROOM_BYTES: usize = 16 << 20;
/// Below this not even batches that free space are taken: the engine needs a few segments to open.
const FLOOR: u64 = 32 << 20;

/// What the committer, its watchdog and the callers share.
#[derive(Debug)]
pub(crate) struct Post {
    pub(crate) queue: Queue,
    pub(crate) gate: Gate,
    pub(crate) health: watch::Sender<Health>,
    /// Answers owed for the group in work; whoever takes them out gives them.
    owed: Mutex<Vec<oneshot::Sender<Outcome>>>,
    /// Since when the engine has been at work on a group; waiting for readers does not count.
    at_work: Mutex<Option<Instant>>,
}

impl Default for Post {
    fn default() -> Self {
        Self {
            queue: Queue::default(),
            gate: Gate::default(),
            health: watch::Sender::new(Health::Serving),
            owed: Mutex::default(),
            at_work: Mutex::default(),
        }
    }
}

impl Post {
    pub(crate) fn serving(&self) -> Result<(), EngineError> {
        match &*self.health.borrow() {
            Health::Serving => Ok(()),
            Health::Failed(reason) => Err(EngineError::Failed(reason.clone())),
            Health::Closed => Err(EngineError::Closed),
        }
    }

    /// For good: nothing is served any more, and everything that was handed over is in doubt.
    pub(crate) fn fail(&self, reason: String) {
        let first = self.health.send_if_modified(|health| {
            let serving = *health == Health::Serving;
            if serving {
                *health = Health::Failed(reason.clone());
            }
            serving
        });
        if first {
            tracing::error!(reason, "the store has failed");
        }
        let waiting = self.queue.abandon().into_iter().map(|job| job.answer);
        for answer in self.take_owed().into_iter().chain(waiting) {
            // Nobody waits any more when the send fails.
            let _ = answer.send(Outcome::InDoubt);
        }
    }

    fn take_owed(&self) -> Vec<oneshot::Sender<Outcome>> {
        std::mem::take(&mut *locked(&self.owed))
    }

    fn work(&self, since: Option<Instant>) {
        *locked(&self.at_work) = since;
    }
}

/// Nothing that can panic runs under these locks.
fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Fails the engine when a group takes longer than `stall`. Ends with the engine.
pub(crate) fn spawn_watchdog(post: Arc<Post>, stall: Duration) -> io::Result<JoinHandle<()>> {
    let look = (stall / 4).min(Duration::from_millis(500));
    thread::Builder::new().name("store-watchdog".into()).spawn(move || {
        while post.serving().is_ok() {
            thread::park_timeout(look);
            let since = *locked(&post.at_work);
            if since.is_some_and(|since| since.elapsed() > stall) {
                post.fail(format!("a commit has made no progress for {} s", stall.as_secs_f32()));
            }
        }
    })
}

pub(crate) struct Committer {
    post: Arc<Post>,
    opened: Opened,
    room: Room,
    stall: Duration,
    sabotage: Sabotage,
}

impl Committer {
    pub(crate) fn new(post: Arc<Post>, opened: Opened, options: &SledOptions) -> io::Result<Self> {
        let room = Room::new(options.dir.clone(), options.reserve)?;
        Ok(Self {
            post,
            opened,
            room,
            stall: options.stall,
            sabotage: options.sabotage,
        })
    }

    pub(crate) fn spawn(self) -> io::Result<JoinHandle<Option<Opened>>> {
        thread::Builder::new()
            .name("store-committer".into())
            .spawn(move || self.run())
    }

    /// Gives the engine back after a clean end; after a failure it is left where it is, its destructor never runs.
    fn run(mut self) -> Option<Opened> {
        while let Some(group) = self.post.queue.next_group() {
            let (batches, answers): (Vec<Batch>, Vec<_>) = group
                .into_iter()
                .map(|Job { batch, answer, .. }| (batch, answer))
                .unzip();
            *locked(&self.post.owed) = answers;
            self.post.work(Some(Instant::now()));
            let outcomes = self.commit(&batches);
            self.post.work(None);
            match outcomes {
                Ok(outcomes) => {
                    for (answer, outcome) in self.post.take_owed().into_iter().zip(outcomes) {
                        // Nobody waits any more when the send fails.
                        let _ = answer.send(outcome);
                    }
                }
                Err(reason) => self.post.fail(reason),
            }
            if self.post.serving().is_err() {
                std::mem::forget(self.opened);
                return None;
            }
        }
        if self.post.serving().is_err() {
            std::mem::forget(self.opened);
            return None;
        }
        Some(self.opened)
    }

    fn commit(&mut self, batches: &[Batch]) -> Result<Vec<Outcome>, String> {
        self.room.look().map_err(|e| format!("free space: {e}"))?;
        let plan = guarded(|| Plan::make(batches, &self.opened.db, &self.room))?;
        if plan.changes.is_empty() {
            return Ok(plan.outcomes);
        }
        let row = CommitRow {
            store_id: self.opened.sentinel.store_id,
            format: self.opened.sentinel.format,
            sequence: self.opened.sentinel.sequence + 1,
            keys: self
                .opened
                .sentinel
                .keys
                .saturating_add(plan.added)
                .saturating_sub(plan.removed),
        };
        let mut changes = ::sled::Batch::default();
        for (key, value) in &plan.changes {
            match value {
                Some(value) => changes.insert(*key, *value),
                None => changes.remove(*key),
            }
        }
        changes.insert(commit_row::KEY, row.encode());

        self.post.work(None);
        let Some(_pass) = self.post.gate.exclusive(self.stall) else {
            // Nothing has been written, so this is a plain no.
            return Ok(vec![Outcome::Unfit(BatchFault::HeldUp); batches.len()]);
        };
        self.post.work(Some(Instant::now()));
        let (opened, sabotage) = (&mut self.opened, self.sabotage);
        let written = guarded(|| {
            sabotage.strike(row.sequence)?;
            opened.db.apply_batch(changes)?;
            opened.db.flush()?;
            Ok(opened.sync_group(row, sabotage)?)
        });
        if let Err(reason) = written {
            // Before the gate opens: what is in the engine's memory may not be on the disk, and must not be read.
            self.post.fail(format!("writing: {reason}"));
            return Err(reason);
        }
        self.room.written += plan.bytes;
        Ok(plan.outcomes)
    }
}

impl Sabotage {
    fn strike(self, sequence: u64) -> io::Result<()> {
        match self {
            Sabotage::FailAt(at) if at == sequence => Err(io::Error::other("made to fail")),
            #[allow(clippy::panic, reason = "the tests need an engine that panics")]
            Sabotage::PanicAt(at) if at == sequence => panic!("made to panic"),
            Sabotage::StallAt(at, time) if at == sequence => {
                thread::sleep(time);
                Ok(())
            }
            Sabotage::None | Sabotage::SkipSync => Ok(()),
            Sabotage::FailAt(_) | Sabotage::PanicAt(_) | Sabotage::StallAt(..) => Ok(()),
        }
    }
}

/// What a group does: the answer to each batch and the last change of each key.
struct Plan<'g> {
    outcomes: Vec<Outcome>,
    changes: BTreeMap<&'g [u8], Option<&'g [u8]>>,
    added: u64,
    removed: u64,
    bytes: usize,
}

impl<'g> Plan<'g> {
    fn make(batches: &'g [Batch], db: &::sled::Db, room: &Room) -> Result<Self, ::sled::Error> {
        let mut plan = Plan {
            outcomes: Vec::with_capacity(batches.len()),
            changes: BTreeMap::new(),
            added: 0,
            removed: 0,
            bytes: 0,
        };
        for batch in batches {
            let outcome = plan.decide(batch, db, room)?;
            if outcome == Outcome::Committed {
                plan.changes
                    .extend(batch.write.iter().map(|write| (write.key(), write.value())));
                plan.bytes += batch.bytes();
            }
            plan.outcomes.push(outcome);
        }
        for (key, value) in &plan.changes {
            match (db.contains_key(key)?, value) {
                (false, Some(_)) => plan.added += 1,
                (true, None) => plan.removed += 1,
                (true, Some(_)) | (false, None) => {}
            }
        }
        Ok(plan)
    }

    /// Conditions see what earlier batches of the group do.
    fn decide(&self, batch: &Batch, db: &::sled::Db, room: &Room) -> Result<Outcome, ::sled::Error> {
        if let Some(fault) = room.refuses(batch) {
            return Ok(Outcome::Unfit(fault));
        }
        for (condition, required) in batch.require.iter().enumerate() {
            let holds = match self.changes.get(required.key()) {
                Some(pending) => required.holds(*pending),
                None => required.holds(db.get(required.key())?.as_deref()),
            };
            if !holds {
                return Ok(Outcome::Refused { condition });
            }
        }
        Ok(Outcome::Committed)
    }
}

/// Free space on the disk of the store.
struct Room {
    dir: PathBuf,
    reserve: u64,
    free: u64,
    looked: Instant,
    written: usize,
}

impl Room {
    fn new(dir: PathBuf, reserve: u64) -> io::Result<Self> {
        let free = folder::free(&dir)?;
        Ok(Self {
            dir,
            reserve,
            free,
            looked: Instant::now(),
            written: 0,
        })
    }

    fn look(&mut self) -> io::Result<()> {
        if self.looked.elapsed() >= ROOM_EVERY || self.written >= ROOM_BYTES {
            (self.free, self.looked, self.written) = (folder::free(&self.dir)?, Instant::now(), 0);
        }
        Ok(())
    }

    fn refuses(&self, batch: &Batch) -> Option<BatchFault> {
        let needed = if batch.allow_when_low {
            FLOOR.min(self.reserve / 8)
        } else {
            self.reserve
        };
        (self.free < needed).then_some(BatchFault::DiskLow {
            free: self.free,
            reserve: self.reserve,
        })
    }
}
