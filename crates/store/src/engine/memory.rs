//! The engine for calculations and tests: an ordered map in memory. Durable only as long as the process.

use std::collections::BTreeMap;
use std::ops::Bound;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::watch;

use super::{
    Batch, BatchFault, Engine, EngineError, Health, Key, KeyRange, Lane, Order, Outcome, Pending, Value, View, Write,
};

type Rows = BTreeMap<Key, Value>;

/// An ordered map behind a lock. A view is a shared copy: batches that come while one is held pay for the copy.
#[derive(Debug)]
pub struct MemoryEngine {
    state: Mutex<State>,
    health: watch::Sender<Health>,
}

#[derive(Debug, Default)]
struct State {
    rows: Arc<Rows>,
    doubt: Option<Doubt>,
    disk_low: bool,
}

/// What becomes of a batch whose answer is made to be [`Outcome::InDoubt`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Doubt {
    /// It takes effect (when its conditions hold) and only the answer is lost.
    Kept,
    /// It is lost.
    Lost,
}

impl Default for MemoryEngine {
    fn default() -> Self {
        Self::new()
    }
}

impl MemoryEngine {
    /// An empty store.
    pub fn new() -> Self {
        Self {
            state: Mutex::default(),
            health: watch::Sender::new(Health::Serving),
        }
    }

    /// For tests: the next batch that is fit is answered [`Outcome::InDoubt`]. Unlike a real engine this one goes on serving.
    pub fn doubt_next(&self, doubt: Doubt) {
        self.lock().doubt = Some(doubt);
    }

    /// For tests: behaves as if free space were below the reserve.
    pub fn set_disk_low(&self, low: bool) {
        self.lock().disk_low = low;
    }

    /// For tests: fails as a broken engine does. Reads are refused, writes in doubt, for good.
    pub fn fail(&self, reason: impl Into<String>) {
        self.health.send_replace(Health::Failed(reason.into()));
    }

    fn lock(&self) -> MutexGuard<'_, State> {
        // No code that can panic runs under the lock, so poison can only mean an exhausted allocator.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn apply(&self, batch: Batch) -> Outcome {
        if let Err(fault) = batch.fit() {
            return Outcome::Unfit(fault);
        }
        let mut state = self.lock();
        match self.condition() {
            Health::Serving => {}
            Health::Failed(_) => return Outcome::InDoubt,
            Health::Closed => return Outcome::Unfit(BatchFault::Closed),
        }
        if state.disk_low && !batch.allow_when_low {
            return Outcome::Unfit(BatchFault::DiskLow { free: 0, reserve: 0 });
        }
        match state.doubt.take() {
            None => state.decide(batch),
            Some(Doubt::Lost) => Outcome::InDoubt,
            Some(Doubt::Kept) => {
                state.decide(batch);
                Outcome::InDoubt
            }
        }
    }
}

impl State {
    fn decide(&mut self, batch: Batch) -> Outcome {
        let broken = batch
            .require
            .iter()
            .position(|c| !c.holds(self.rows.get(c.key()).map(Vec::as_slice)));
        if let Some(condition) = broken {
            return Outcome::Refused { condition };
        }
        let rows = Arc::make_mut(&mut self.rows);
        for write in batch.write {
            match write {
                Write::Put(key, value) => rows.insert(key, value),
                Write::Delete(key) => rows.remove(&key),
            };
        }
        Outcome::Committed
    }
}

impl Engine for MemoryEngine {
    fn view(&self) -> Result<Box<dyn View + '_>, EngineError> {
        match self.condition() {
            Health::Serving => Ok(Box::new(MemoryView(Arc::clone(&self.lock().rows)))),
            Health::Failed(reason) => Err(EngineError::Failed(reason)),
            Health::Closed => Err(EngineError::Closed),
        }
    }

    fn view_at_once(&self) -> Option<Result<Box<dyn View + '_>, EngineError>> {
        Some(self.view())
    }

    fn submit(&self, batch: Batch, _: Lane) -> Pending {
        Pending::ready(self.apply(batch))
    }

    fn try_submit(&self, batch: Batch, lane: Lane) -> Result<Pending, Batch> {
        Ok(self.submit(batch, lane))
    }

    fn condition(&self) -> Health {
        self.health.borrow().clone()
    }

    fn watch(&self) -> watch::Receiver<Health> {
        self.health.subscribe()
    }

    fn close(&self) -> Result<(), EngineError> {
        match self.condition() {
            Health::Failed(reason) => Err(EngineError::Failed(reason)),
            Health::Serving | Health::Closed => {
                self.health.send_replace(Health::Closed);
                Ok(())
            }
        }
    }
}

struct MemoryView(Arc<Rows>);

impl View for MemoryView {
    fn get(&self, key: &[u8]) -> Result<Option<Value>, EngineError> {
        Ok(self.0.get(key).cloned())
    }

    fn page(&self, range: &KeyRange, order: Order, limit: usize) -> Result<Vec<(Key, Value)>, EngineError> {
        // The map panics on a range whose start lies behind its end.
        if range.is_empty() {
            return Ok(Vec::new());
        }
        let end = range.end.as_ref().map_or(Bound::Unbounded, Bound::Excluded);
        let range = (Bound::Included(&range.start), end);
        let rows = self
            .0
            .range::<Key, _>(range)
            .map(|(key, value)| (key.clone(), value.clone()));
        Ok(match order {
            Order::Ascending => rows.take(limit).collect(),
            Order::Descending => rows.rev().take(limit).collect(),
        })
    }
}
