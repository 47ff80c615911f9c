//! Lets views and the committer take turns, so that a view shows whole, durable groups only.
//!
//! Unlike the standard lock it bounds every wait, and a thread that opens a second view is not locked out by a committer that
//! waits for the first one.

use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// How long a new view steps back for a committer that waits for older views.
const COURTESY: Duration = Duration::from_millis(20);

#[derive(Debug, Default)]
pub(crate) struct Gate {
    state: Mutex<State>,
    changed: Condvar,
}

#[derive(Debug, Default)]
struct State {
    readers: usize,
    writing: bool,
    writer_waits: bool,
}

/// Held by a view.
#[derive(Debug)]
pub(crate) struct Shared<'a>(&'a Gate);

/// Held by the committer from its first change to the end of the sync.
#[derive(Debug)]
pub(crate) struct Exclusive<'a>(&'a Gate);

impl Gate {
    /// None when writing takes longer than `limit`.
    pub(crate) fn shared(&self, limit: Duration) -> Option<Shared<'_>> {
        let arrived = Instant::now();
        let mut state = self.lock();
        loop {
            let waited = arrived.elapsed();
            if !state.writing && (!state.writer_waits || waited >= COURTESY) {
                state.readers += 1;
                return Some(Shared(self));
            }
            if waited >= limit {
                return None;
            }
            let patience = if state.writing { limit } else { COURTESY.min(limit) };
            state = self.sleep(state, patience.saturating_sub(waited));
        }
    }

    /// None when views stay open for longer than `limit`. Only one thread writes.
    pub(crate) fn exclusive(&self, limit: Duration) -> Option<Exclusive<'_>> {
        let arrived = Instant::now();
        let mut state = self.lock();
        while state.readers > 0 {
            let waited = arrived.elapsed();
            if waited >= limit {
                state.writer_waits = false;
                self.changed.notify_all();
                return None;
            }
            state.writer_waits = true;
            state = self.sleep(state, limit - waited);
        }
        state.writer_waits = false;
        state.writing = true;
        Some(Exclusive(self))
    }

    fn lock(&self) -> MutexGuard<'_, State> {
        // Nothing under the lock can panic.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn sleep<'a>(&self, state: MutexGuard<'a, State>, patience: Duration) -> MutexGuard<'a, State> {
        self.changed
            .wait_timeout(state, patience)
            .map_or_else(|e| e.into_inner().0, |(state, _)| state)
    }
}

impl Drop for Shared<'_> {
    fn drop(&mut self) {
        let mut state = self.0.lock();
        state.readers -= 1;
        if state.readers == 0 {
            self.0.changed.notify_all();
        }
    }
}

impl Drop for Exclusive<'_> {
    fn drop(&mut self) {
        self.0.lock().writing = false;
        self.0.changed.notify_all();
    }
}
