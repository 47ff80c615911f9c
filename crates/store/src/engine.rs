//! The contract between records and whatever keeps their bytes.
//!
//! Keys and values are plain bytes in one ordered space. Everything is written by [`Batch`]: conditions and writes that take
//! effect together or not at all, in the order in which they were handed over. An answer of [`Outcome::Committed`] means that
//! the batch survives a power cut; nothing that could still be lost is ever shown by a [`View`].
//!
//! The calls block and belong on threads that may block; only [`Pending`] can also be awaited.

use std::fmt;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll, Wake, Waker};
use std::thread::{self, Thread};

use tokio::sync::{oneshot, watch};

mod commit_row;
mod committer;
pub mod compact;
pub mod folder;
mod gate;
pub mod memory;
mod opening;
mod queue;
pub mod refusal;
pub mod sentinel;
pub mod sled;

/// A key: 1 to [`MAX_KEY`] bytes, compared bytewise. The first byte is never [`RESERVED`].
pub type Key = Vec<u8>;
/// A value of at most [`MAX_VALUE`] bytes.
pub type Value = Vec<u8>;

/// Longest key, in bytes.
pub const MAX_KEY: usize = 512;
/// Longest value, in bytes: sixteen of them share a leaf, which must stay well below a quarter of a segment on disk.
pub const MAX_VALUE: usize = 64 << 10;
/// Most bytes of keys and values in one batch: the size of a group, so that one batch always fits in one.
pub const MAX_BATCH: usize = 4 << 20;
/// First byte of the engine's own rows. A batch that names such a key is [`BatchFault::KeyReserved`], a view never shows one.
pub const RESERVED: u8 = 0x00;

/// What must hold, in the moment the batch takes effect, for it to take effect at all.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Condition {
    /// Nothing is stored under the key.
    Absent(Key),
    /// Something is stored under the key.
    Present(Key),
    /// The CRC-32C of the whole stored value is this; an absent key does not fulfil it. See [`checksum`].
    Checksum(Key, u32),
}

impl Condition {
    /// The key the condition is about.
    pub fn key(&self) -> &[u8] {
        match self {
            Condition::Absent(key) | Condition::Present(key) | Condition::Checksum(key, _) => key,
        }
    }

    /// Whether it holds when `stored` is what stands under the key.
    pub fn holds(&self, stored: Option<&[u8]>) -> bool {
        match self {
            Condition::Absent(_) => stored.is_none(),
            Condition::Present(_) => stored.is_some(),
            Condition::Checksum(_, sum) => stored.is_some_and(|value| checksum(value) == *sum),
        }
    }
}

/// The checksum that [`Condition::Checksum`] compares: CRC-32C (Castagnoli) over the whole value.
pub fn checksum(value: &[u8]) -> u32 {
    crc32c::crc32c(value)
}

/// One change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Write {
    /// Stores the value under the key, whatever was there.
    Put(Key, Value),
    /// Removes the key; an absent key is no error.
    Delete(Key),
}

impl Write {
    /// The key that is changed.
    pub fn key(&self) -> &[u8] {
        match self {
            Write::Put(key, _) | Write::Delete(key) => key,
        }
    }

    /// What stands under the key afterwards.
    pub fn value(&self) -> Option<&[u8]> {
        match self {
            Write::Put(_, value) => Some(value),
            Write::Delete(_) => None,
        }
    }
}

/// Conditions and changes, all or nothing. Of several changes of one key the last counts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Batch {
    /// Checked in order against the state left by the batches before this one, never against this one's own changes.
    pub require: Vec<Condition>,
    /// The changes.
    pub write: Vec<Write>,
    /// Also taken when free space is below the reserve: for what frees space or ends work (deletes, finishing a run).
    pub allow_when_low: bool,
}

impl Batch {
    /// An empty batch.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes effect only while nothing is stored under `key`.
    pub fn require_absent(mut self, key: impl Into<Key>) -> Self {
        self.require.push(Condition::Absent(key.into()));
        self
    }

    /// Takes effect only while something is stored under `key`.
    pub fn require_present(mut self, key: impl Into<Key>) -> Self {
        self.require.push(Condition::Present(key.into()));
        self
    }

    /// Takes effect only while the value under `key` has this [`checksum`].
    pub fn require_checksum(mut self, key: impl Into<Key>, sum: u32) -> Self {
        self.require.push(Condition::Checksum(key.into(), sum));
        self
    }

    /// Stores `value` under `key`.
    pub fn put(mut self, key: impl Into<Key>, value: impl Into<Value>) -> Self {
        self.write.push(Write::Put(key.into(), value.into()));
        self
    }

    /// Removes `key`.
    pub fn delete(mut self, key: impl Into<Key>) -> Self {
        self.write.push(Write::Delete(key.into()));
        self
    }

    /// Marks the batch as one that is also taken when free space is low.
    pub fn allow_when_low(mut self) -> Self {
        self.allow_when_low = true;
        self
    }

    /// Bytes of keys and values, which is what [`MAX_BATCH`] and the queue's bound count.
    pub fn bytes(&self) -> usize {
        let conditions: usize = self.require.iter().map(|condition| condition.key().len()).sum();
        let writes: usize = self
            .write
            .iter()
            .map(|write| write.key().len() + write.value().map_or(0, <[u8]>::len))
            .sum();
        conditions + writes
    }

    /// Checks the limits that hold for every engine: key and value lengths, reserved keys, size of the whole.
    pub fn fit(&self) -> Result<(), BatchFault> {
        let keys = self
            .require
            .iter()
            .map(Condition::key)
            .chain(self.write.iter().map(Write::key));
        for key in keys {
            match key.first() {
                None => return Err(BatchFault::KeyEmpty),
                Some(&RESERVED) => return Err(BatchFault::KeyReserved),
                Some(_) if key.len() > MAX_KEY => return Err(BatchFault::KeyTooLong { length: key.len() }),
                Some(_) => {}
            }
        }
        for length in self.write.iter().filter_map(Write::value).map(<[u8]>::len) {
            if length > MAX_VALUE {
                return Err(BatchFault::ValueTooLarge { length });
            }
        }
        match self.bytes() {
            bytes if bytes > MAX_BATCH => Err(BatchFault::BatchTooLarge { bytes }),
            _ => Ok(()),
        }
    }
}

/// Why a batch was not taken. Nothing of it was written, and nothing of it ever will be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum BatchFault {
    /// A key has no bytes.
    KeyEmpty,
    /// A key starts with [`RESERVED`].
    KeyReserved,
    /// A key is longer than [`MAX_KEY`].
    KeyTooLong {
        /// Its length in bytes.
        length: usize,
    },
    /// A value is larger than [`MAX_VALUE`].
    ValueTooLarge {
        /// Its length in bytes.
        length: usize,
    },
    /// The batch is larger than [`MAX_BATCH`].
    BatchTooLarge {
        /// Its keys and values in bytes.
        bytes: usize,
    },
    /// Free space is below the reserve and the batch is not marked [`Batch::allow_when_low`].
    DiskLow {
        /// Free bytes when last looked at.
        free: u64,
        /// Bytes that are kept free.
        reserve: u64,
    },
    /// A view was held open for so long that the batch was given back. Try again later.
    HeldUp,
    /// The engine has been closed.
    Closed,
}

impl fmt::Display for BatchFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            BatchFault::KeyEmpty => write!(f, "a key is empty"),
            BatchFault::KeyReserved => write!(f, "a key starts with the byte reserved for the engine"),
            BatchFault::KeyTooLong { length } => write!(f, "a key has {length} bytes; allowed 1 to {MAX_KEY}"),
            BatchFault::ValueTooLarge { length } => write!(f, "a value has {length} bytes; allowed 0 to {MAX_VALUE}"),
            BatchFault::BatchTooLarge { bytes } => write!(f, "a batch has {bytes} bytes; allowed 0 to {MAX_BATCH}"),
            BatchFault::DiskLow { free, reserve } => {
                write!(
                    f,
                    "{free} bytes are free on the disk of the store; {reserve} are kept in reserve"
                )
            }
            BatchFault::HeldUp => write!(f, "a long read held the write up; nothing was written"),
            BatchFault::Closed => write!(f, "the store is closed"),
        }
    }
}

impl std::error::Error for BatchFault {}

/// The answer to a batch.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Written, and safe from a power cut.
    Committed,
    /// Not written: `require[condition]` did not hold; the first such one is named.
    Refused {
        /// Index into [`Batch::require`].
        condition: usize,
    },
    /// Handed to the engine, result unknown: it may be there after the restart, as a whole, or not at all.
    InDoubt,
    /// Not written: outside the limits, or not now.
    Unfit(BatchFault),
}

/// Which queue a batch waits in. Within a lane batches keep their order; between lanes there is none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lane {
    /// A measurement that is being recorded, or somebody waiting for an answer. Goes first.
    Live,
    /// Import, purge, rebuilding: gets the room that the live lane leaves, and never none.
    Bulk,
}

/// A batch on its way. Wait for it on a thread that may block, or await it.
///
/// Dropping it does not take the batch back.
#[derive(Debug)]
#[must_use = "the batch is not known to be durable before its outcome is"]
pub struct Pending(oneshot::Receiver<Outcome>);

impl Pending {
    /// The two ends of an answer, for implementers of [`Engine`]. A sender dropped without an answer is read as in doubt.
    pub fn channel() -> (oneshot::Sender<Outcome>, Pending) {
        let (sender, receiver) = oneshot::channel();
        (sender, Pending(receiver))
    }

    /// An answer that is already known.
    pub fn ready(outcome: Outcome) -> Pending {
        let (sender, pending) = Pending::channel();
        // The receiver is right here, so the only way to fail does not exist.
        let _ = sender.send(outcome);
        pending
    }

    /// Blocks this thread until the outcome is known. Never call it while holding a [`View`]: the batch waits for the view.
    pub fn wait(mut self) -> Outcome {
        // The receiver's own blocking call panics inside an async runtime; parking the thread does not.
        let waker = Waker::from(Arc::new(Unpark(thread::current())));
        let mut context = Context::from_waker(&waker);
        loop {
            match Pin::new(&mut self).poll(&mut context) {
                Poll::Ready(outcome) => return outcome,
                Poll::Pending => thread::park(),
            }
        }
    }
}

impl Future for Pending {
    type Output = Outcome;

    fn poll(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Outcome> {
        Pin::new(&mut self.0)
            .poll(context)
            .map(|answer| answer.unwrap_or(Outcome::InDoubt))
    }
}

struct Unpark(Thread);

impl Wake for Unpark {
    fn wake(self: Arc<Self>) {
        self.0.unpark();
    }
}

/// Keys from `start` (inclusive) up to `end` (exclusive, none for no end).
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct KeyRange {
    /// First key that belongs to the range.
    pub start: Key,
    /// First key behind the range.
    pub end: Option<Key>,
}

impl KeyRange {
    /// Every key.
    pub fn all() -> Self {
        Self::default()
    }

    /// From `start` (inclusive) to `end` (exclusive).
    pub fn between(start: impl Into<Key>, end: impl Into<Key>) -> Self {
        Self {
            start: start.into(),
            end: Some(end.into()),
        }
    }

    /// Every key that starts with `prefix`.
    pub fn prefix(prefix: impl Into<Key>) -> Self {
        let start = prefix.into();
        let end = successor(&start);
        Self { start, end }
    }

    /// The part that lies behind `key`: the next page in ascending order, `key` being the last one seen.
    pub fn after(mut self, key: &[u8]) -> Self {
        let mut next = key.to_vec();
        next.push(0);
        self.start = self.start.max(next);
        self
    }

    /// The part that lies before `key`: the next page in descending order, `key` being the last one seen.
    pub fn before(mut self, key: &[u8]) -> Self {
        self.end = Some(match self.end {
            Some(end) if end.as_slice() < key => end,
            _ => key.to_vec(),
        });
        self
    }

    /// Whether the range holds no key at all.
    pub fn is_empty(&self) -> bool {
        self.end.as_ref().is_some_and(|end| *end <= self.start)
    }

    /// Whether `key` lies in the range.
    pub fn contains(&self, key: &[u8]) -> bool {
        key >= self.start.as_slice() && self.end.as_ref().is_none_or(|end| key < end.as_slice())
    }
}

/// The first key behind all that start with `prefix`; none when `prefix` is empty or all 0xFF.
fn successor(prefix: &[u8]) -> Option<Key> {
    let keep = prefix.iter().rposition(|byte| *byte != 0xFF)?;
    let mut next: Key = prefix.iter().copied().take(keep + 1).collect();
    if let Some(last) = next.last_mut() {
        *last += 1;
    }
    Some(next)
}

/// Direction of a page.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// Lowest key first.
    Ascending,
    /// Highest key first.
    Descending,
}

/// Why a read, or closing, failed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum EngineError {
    /// The engine has failed and serves nothing any more; the process must restart. The reason is for the log.
    Failed(String),
    /// The engine has been closed.
    Closed,
    /// Writing has blocked reading for longer than the engine allows.
    HeldUp,
}

impl fmt::Display for EngineError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            EngineError::Failed(reason) => write!(f, "the store has failed: {reason}"),
            EngineError::Closed => write!(f, "the store is closed"),
            EngineError::HeldUp => write!(f, "a long write held the read up"),
        }
    }
}

impl std::error::Error for EngineError {}

/// State of an engine.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Health {
    /// Reads and writes are served.
    Serving,
    /// Something broke; the process must leave and start again. Writes are in doubt, reads are refused.
    Failed(String),
    /// Closed on purpose.
    Closed,
}

/// One consistent, durable state of the store. While it is held no batch takes effect, so hold it briefly: read, drop, then work.
/// A long walk (export, scrub) takes many views, continuing at the last key.
pub trait View {
    /// The value under `key`.
    fn get(&self, key: &[u8]) -> Result<Option<Value>, EngineError>;

    /// At most `limit` rows of the range. The caller bounds `limit`: a row can have [`MAX_VALUE`] bytes.
    fn page(&self, range: &KeyRange, order: Order, limit: usize) -> Result<Vec<(Key, Value)>, EngineError>;
}

/// An ordered store of bytes that never acknowledges what a power cut could take back.
pub trait Engine: Send + Sync + 'static {
    /// A consistent view of what is durable. Blocks while a group of batches is being written.
    fn view(&self) -> Result<Box<dyn View + '_>, EngineError>;

    /// A view where one can be had without waiting for a group; `None`: ask for one on a thread that may block.
    fn view_at_once(&self) -> Option<Result<Box<dyn View + '_>, EngineError>> {
        None
    }

    /// Hands a batch over. Blocks while the lane is full.
    fn submit(&self, batch: Batch, lane: Lane) -> Pending;

    /// Hands a batch over, or gives it back at once when the lane is full: for a server that rather sheds than queues.
    fn try_submit(&self, batch: Batch, lane: Lane) -> Result<Pending, Batch>;

    /// Whether the engine serves.
    fn condition(&self) -> Health;

    /// Follows [`Engine::condition`], so that the process can leave at once when the engine fails.
    fn watch(&self) -> watch::Receiver<Health>;

    /// Clean stop: answers what is queued, then marks the store as cleanly closed. Closing twice is no error.
    fn close(&self) -> Result<(), EngineError>;

    /// Hands a batch over and waits for the outcome. Never call it while holding a [`View`].
    fn commit(&self, batch: Batch, lane: Lane) -> Outcome {
        self.submit(batch, lane).wait()
    }

    /// The value under `key`, from a view of its own.
    fn get(&self, key: &[u8]) -> Result<Option<Value>, EngineError> {
        self.view()?.get(key)
    }

    /// A page, from a view of its own.
    fn page(&self, range: &KeyRange, order: Order, limit: usize) -> Result<Vec<(Key, Value)>, EngineError> {
        self.view()?.page(range, order, limit)
    }
}
