//! The bounded queue in front of the committer: two lanes, live before bulk.

use std::collections::VecDeque;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};

use tokio::sync::oneshot;

use super::{Batch, Lane, Outcome, Pending};

/// Batches that may wait in one lane: about four groups, a tenth of a second of work.
const LANE_BATCHES: usize = 4096;
/// Bytes that may wait in one lane: the same four groups when batches are large.
const LANE_BYTES: usize = 16 << 20;
/// Batches in a group: more would not make the sync any cheaper for each.
const GROUP_BATCHES: usize = 1024;
/// Bytes in a group: a reader waits for about this much to reach the disk.
const GROUP_BYTES: usize = super::MAX_BATCH;

/// A batch and where its answer goes.
#[derive(Debug)]
pub(crate) struct Job {
    pub(crate) batch: Batch,
    pub(crate) answer: oneshot::Sender<Outcome>,
    bytes: usize,
}

#[derive(Debug, Default)]
pub(crate) struct Queue {
    state: Mutex<State>,
    filled: Condvar,
    emptied: Condvar,
}

#[derive(Debug, Default)]
struct State {
    live: LaneQueue,
    bulk: LaneQueue,
    bulk_passed_over: bool,
    shut: bool,
}

#[derive(Debug, Default)]
struct LaneQueue {
    jobs: VecDeque<Job>,
    bytes: usize,
}

/// Why a batch was not queued.
#[derive(Debug)]
pub(crate) enum NotQueued {
    /// The lane is full; here is the batch.
    Full(Batch),
    /// Nothing is taken any more.
    Shut,
}

impl Queue {
    /// Queues a batch; `patient` waits for room.
    pub(crate) fn push(&self, batch: Batch, lane: Lane, patient: bool) -> Result<Pending, NotQueued> {
        let mut state = self.lock();
        loop {
            if state.shut {
                return Err(NotQueued::Shut);
            }
            if state.lane(lane).has_room() {
                break;
            }
            if !patient {
                return Err(NotQueued::Full(batch));
            }
            state = self.emptied.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
        let (answer, pending) = Pending::channel();
        // The constant stands for what a batch costs beside its bytes, so that empty ones are bounded too.
        let bytes = batch.bytes() + 64;
        state.lane(lane).push(Job { batch, answer, bytes });
        self.filled.notify_one();
        Ok(pending)
    }

    /// The next group, in order of the lanes. None when the queue is shut and drained.
    pub(crate) fn next_group(&self) -> Option<Vec<Job>> {
        let mut state = self.lock();
        while state.live.jobs.is_empty() && state.bulk.jobs.is_empty() {
            if state.shut {
                return None;
            }
            state = self.filled.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
        let mut group = Vec::new();
        let mut bytes = 0;
        // An import must not stand still because somebody records: passed over once, bulk has the first place in the next group.
        if state.bulk_passed_over {
            state.bulk.drain_into(&mut group, &mut bytes, 1);
        }
        state.live.drain_into(&mut group, &mut bytes, GROUP_BATCHES);
        let without_bulk = group.len();
        state.bulk.drain_into(&mut group, &mut bytes, GROUP_BATCHES);
        state.bulk_passed_over = group.len() == without_bulk && !state.bulk.jobs.is_empty();
        self.emptied.notify_all();
        Some(group)
    }

    /// Takes nothing more; what is queued is still handed out.
    pub(crate) fn shut(&self) {
        self.lock().shut = true;
        self.filled.notify_all();
        self.emptied.notify_all();
    }

    /// Takes nothing more and gives up what is queued.
    pub(crate) fn abandon(&self) -> Vec<Job> {
        let mut state = self.lock();
        state.shut = true;
        let live = std::mem::take(&mut state.live.jobs);
        let bulk = std::mem::take(&mut state.bulk.jobs);
        self.filled.notify_all();
        self.emptied.notify_all();
        live.into_iter().chain(bulk).collect()
    }

    fn lock(&self) -> MutexGuard<'_, State> {
        // Nothing under the lock can panic.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl State {
    fn lane(&mut self, lane: Lane) -> &mut LaneQueue {
        match lane {
            Lane::Live => &mut self.live,
            Lane::Bulk => &mut self.bulk,
        }
    }
}

impl LaneQueue {
    fn has_room(&self) -> bool {
        self.jobs.len() < LANE_BATCHES && self.bytes < LANE_BYTES
    }

    fn push(&mut self, job: Job) {
        self.bytes += job.bytes;
        self.jobs.push_back(job);
    }

    /// Moves jobs while the group stays in its bounds; a group's first job always fits.
    fn drain_into(&mut self, group: &mut Vec<Job>, bytes: &mut usize, most: usize) {
        while let Some(next) = self.jobs.front() {
            let full = group.len() >= most || *bytes + next.bytes > GROUP_BYTES;
            if full && !group.is_empty() {
                return;
            }
            if let Some(job) = self.jobs.pop_front() {
                self.bytes -= job.bytes;
                *bytes += job.bytes;
                group.push(job);
            }
        }
    }
}
