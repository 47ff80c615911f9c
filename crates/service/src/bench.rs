//! The bench: one operation for each thing the shop can do. Doors hand requests in and get replies or a [`ServiceError`];
//! what a request may contain is checked by `wire`, what is kept by `store`, what it means computed by `mechanics`.

pub mod board;
mod book;
mod drawer;
mod fields;
mod instruct;
pub mod map;
mod marks;
mod rack;
pub mod reading;
pub mod recording;
mod reduce;
mod runs;
mod setup;
mod springs;
mod standard;
mod testers;
mod valving;
pub mod watching;

use std::collections::{HashMap, VecDeque};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use prost::Message;
use store::record::RecordId;
use store::{Moment, RequestKey, Store, StoreError};
use tokio::sync::watch;
use tokio_util::sync::CancellationToken;
use wire::names::Collection;
use wire::v1::ViolationReason;
use wire::violation::Violations;

use crate::error::ServiceError;
use crate::shell::StreamPermits;
use board::Board;
use instruct::Orders;

pub(crate) use setup::with_preloads;

/// Streams that record at a time; with 64 blocks outstanding each they fit the engine's queue.
const RECORDERS: usize = 64;
/// Streams that watch at a time.
const WATCHERS: usize = 256;
/// Streams that read samples at a time; each holds a few rows.
const READERS: usize = 32;

/// Tells the time. The service is given one, so that tests can set it.
pub trait Clock: Send + Sync + 'static {
    /// Now.
    fn now(&self) -> Moment;
}

/// The wall clock.
#[derive(Debug, Clone, Copy, Default)]
pub struct WallClock;

impl Clock for WallClock {
    fn now(&self) -> Moment {
        let since = std::time::SystemTime::now()
            .duration_since(std::time::UNIX_EPOCH)
            .unwrap_or_default();
        Moment::from_nanos(i64::try_from(since.as_nanos()).unwrap_or(i64::MAX))
    }
}

/// The bench.
pub struct Bench {
    store: Store,
    clock: Arc<dyn Clock>,
    /// Streams that end when it is cancelled.
    shutdown: CancellationToken,
    recorders: StreamPermits,
    watchers: StreamPermits,
    readers: StreamPermits,
    /// Runs with a stream attached, by id.
    live: Mutex<HashMap<String, Live>>,
    /// The run that is being recorded, or was last, on each tester; the newest first.
    on_bench: watch::Sender<OnBench>,
}

/// One run for each tester, by the words of its header; the newest first, at most as many as can record.
type OnBench = VecDeque<Arc<Board>>;

/// A run with a stream attached.
#[derive(Clone)]
struct Live {
    attachment: u32,
    board: Arc<Board>,
    /// The way to its instrument.
    orders: Arc<Orders>,
    /// Cancelled when a newer stream takes over, or the run is closed or deleted from the bench.
    shut_out: CancellationToken,
}

impl Bench {
    /// A bench on a store.
    pub fn new(store: Store, clock: Arc<dyn Clock>, shutdown: CancellationToken) -> Self {
        Self {
            store,
            clock,
            shutdown,
            recorders: StreamPermits::new(RECORDERS),
            watchers: StreamPermits::new(WATCHERS),
            readers: StreamPermits::new(READERS),
            live: Mutex::default(),
            on_bench: watch::Sender::new(VecDeque::new()),
        }
    }

    /// The store below.
    pub fn store(&self) -> &Store {
        &self.store
    }

    /// Now.
    pub fn now(&self) -> Moment {
        self.clock.now()
    }

    /// Puts a run on the bench; a stream attached to it before is shut out.
    fn attach(&self, run: &str, live: Live) {
        let board = Arc::clone(&live.board);
        let before = self.live().insert(run.to_owned(), live);
        if let Some(before) = before {
            before.shut_out.cancel();
        }
        self.on_bench.send_modify(|shown| {
            shown.retain(|other| other.header.tester != board.header.tester);
            shown.push_front(board);
            shown.truncate(RECORDERS);
        });
    }

    /// A spring or a run changed: whoever looks at the bench may want to look at it again.
    fn record_changed(&self) {
        self.on_bench.borrow().iter().for_each(|board| board.record_changed());
    }

    /// The runs that are recorded, or were last, one for each tester; the newest first.
    pub fn on_bench(&self) -> Vec<Arc<Board>> {
        self.on_bench.borrow().iter().cloned().collect()
    }

    /// Takes a run off the bench, unless a newer stream has it.
    fn detach(&self, run: &str, attachment: u32) {
        let mut live = self.live();
        if live.get(run).is_some_and(|live| live.attachment == attachment) {
            live.remove(run);
        }
    }

    /// Ends the stream attached to a run.
    fn shut_out(&self, run: &str) {
        if let Some(live) = self.live().get(run) {
            live.shut_out.cancel();
        }
    }

    fn is_attached(&self, run: &str) -> bool {
        self.live().contains_key(run)
    }

    fn board_of(&self, run: &str) -> Option<Arc<Board>> {
        self.live().get(run).map(|live| Arc::clone(&live.board))
    }

    fn live(&self) -> MutexGuard<'_, HashMap<String, Live>> {
        // Nothing that can panic runs under the lock.
        self.live.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Reads the request id of a change; the digest covers method and content.
fn request_key<M: Message>(method: &str, id: &str, request: &M, violations: &mut Violations) -> Option<RequestKey> {
    let id = wire::records::request_id(id, violations)?;
    Some(RequestKey::new(id, method, &request.encode_to_vec()))
}

/// Reads what every change of one named record begins with: request id and name.
fn named_change<M: Message>(
    method: &str,
    collection: Collection,
    (name, request_id): (&str, &str),
    request: &M,
) -> Result<(RequestKey, RecordId), ServiceError> {
    let mut violations = Violations::new();
    let key = request_key(method, request_id, request, &mut violations);
    let id = collection.id(name, violations.at("name"));
    checked(violations, key.zip(id.as_deref().and_then(RecordId::parse)))
}

/// The places among `names` of the fields a mask names; what is no such field is noted.
fn masked(paths: &[String], names: &[&str], violations: &mut Violations) -> Vec<usize> {
    let mut chosen = Vec::new();
    for (index, path) in paths.iter().enumerate() {
        match names.iter().position(|name| name == path) {
            Some(field) => chosen.push(field),
            None => {
                let shown: String = path.chars().take(80).collect();
                violations.at("update_mask").at("paths").index(index).push(
                    ViolationReason::UnknownName,
                    format_args!(
                        "\"{shown}\" cannot be changed; allowed \"*\" alone or {}",
                        names.join(", ")
                    ),
                );
            }
        }
    }
    chosen
}

/// Whether a text holds another, in any case, which is given in lower case; an empty one is in all.
fn holds(text: &str, wanted: &str) -> bool {
    wanted.is_empty() || text.to_lowercase().contains(wanted)
}

/// An etag that was given.
fn given(etag: &str) -> Option<&str> {
    Some(etag).filter(|etag| !etag.is_empty())
}

/// Ends the checks of a request.
fn checked<T>(violations: Violations, value: Option<T>) -> Result<T, ServiceError> {
    violations.finish()?;
    // Every path that yields nothing notes a violation; this keeps a slip from becoming a panic.
    value.ok_or_else(|| ServiceError::internal("a request was refused without a violation"))
}

/// What an error of the store means for the record of that name.
fn refusal(name: &str, request_id: &str) -> impl Fn(StoreError) -> ServiceError {
    move |error| {
        let name = name.to_owned();
        match error {
            StoreError::NotFound => ServiceError::NotFound { name },
            StoreError::NameTaken => ServiceError::NameTaken { name },
            StoreError::NameTakenByDeleted => ServiceError::NameTakenByDeleted { name },
            StoreError::Deleted => ServiceError::Deleted { name },
            StoreError::StaleEtag { current } => ServiceError::StaleEtag {
                name,
                current_etag: current,
            },
            StoreError::RequestIdReused => ServiceError::RequestIdReused {
                request_id: request_id.to_owned(),
            },
            StoreError::InDoubt => ServiceError::InDoubt,
            StoreError::DiskLow => ServiceError::DiskLow,
            StoreError::Damaged { what } => ServiceError::DataDamaged { context: what },
            StoreError::TooLarge { what, limit, .. } => ServiceError::TooLarge {
                what: what.to_owned(),
                limit: format!("{limit} bytes"),
            },
            StoreError::Conflict | StoreError::Busy => ServiceError::Overloaded {
                retry_after: std::time::Duration::from_millis(200),
            },
            StoreError::Failed(context) => ServiceError::StoreFailed { context },
            StoreError::Malformed { what } => ServiceError::Internal { context: what },
            StoreError::RunClosed => ServiceError::RunClosed { run: name },
            StoreError::RunOpen => ServiceError::RunOpen { run: name },
            StoreError::Superseded => ServiceError::Superseded { run: name },
            StoreError::BlockDiffers { number } => ServiceError::BlockDiffers {
                run: name,
                block: map::signed(number),
            },
            StoreError::BlockOutOfOrder { wanted } => ServiceError::BlockOutOfOrder {
                run: name,
                wanted: map::signed(wanted),
                received: 0,
            },
            StoreError::FinishDiffers {
                block_count,
                sample_count,
                crc32c,
            } => ServiceError::FinishDiffers {
                field: "finish",
                stated: "other counts or checksum".to_owned(),
                received: format!("{block_count} blocks, {sample_count} samples, CRC-32C {crc32c:08x}"),
            },
            StoreError::NotResumable => ServiceError::NotResumable { run: name },
            StoreError::StackBuilt => ServiceError::StackBuilt { name },
            StoreError::StackNotBuilt => ServiceError::StackNotBuilt { name },
            StoreError::InUse { by } => ServiceError::InUse {
                name,
                by: by.iter().map(|(kind, id)| map::name(*kind, id)).collect(),
            },
            StoreError::NoneNamed { stacks } => ServiceError::NotFound {
                name: stacks.first().map_or(name, |stack| Collection::Stacks.name(&stack.id)),
            },
        }
    }
}
