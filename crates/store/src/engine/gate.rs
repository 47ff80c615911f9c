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

    /// None when somebody writes or waits to.
    pub(crate) fn shared_at_once(&self) -> Option<Shared<'_>> {
        let mut state = self.lock();
        (!state.writing && !state.writer_waits).then(|| {
            state.readers += 1;
            Shared(self)
        })
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
        // Only a committer waits for views to end; to wake nobody would still be a call of the system for every view.
        if state.readers == 0 && state.writer_waits {
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

#[cfg(test)]
mod tests {
    use super::*;

    const LIMIT: Duration = Duration::from_secs(10);

    #[test]
    fn nobody_passes_at_once_while_a_group_is_written() {
        let gate = Gate::default();
        assert!(gate.shared_at_once().is_some());
        let writing = gate.exclusive(LIMIT).unwrap();
        assert!(gate.shared_at_once().is_none());
        drop(writing);
        assert!(gate.shared_at_once().is_some());
    }

    #[test]
    fn committer_that_waits_goes_before_new_views_and_is_woken_by_the_last_old_one() {
        let gate = Gate::default();
        let old = gate.shared_at_once().unwrap();
        let waited = std::thread::scope(|scope| {
            let committer = scope.spawn(|| {
                let begun = Instant::now();
                gate.exclusive(LIMIT).map(|_| begun.elapsed())
            });
            while !gate.lock().writer_waits {
                std::thread::yield_now();
            }
            assert!(gate.shared_at_once().is_none());
            drop(old);
            committer.join().unwrap()
        });
        assert!(waited.unwrap() < LIMIT / 2);
    }
}
