//! Bounds on work under way. What is over a bound is refused at once: a queue would only make everybody wait.

use std::sync::Arc;
use std::time::Duration;

use futures_util::{Stream, StreamExt as _};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, SemaphorePermit};

use crate::error::ServiceError;

use super::catalogue::HEALTH;

/// When to come back. A request in flight takes milliseconds, the longest computations seconds.
const RETRY_AFTER: Duration = Duration::from_secs(1);

const OVERLOADED: ServiceError = ServiceError::Overloaded {
    retry_after: RETRY_AFTER,
};

/// Requests that have no response head yet.
pub(super) struct InFlight(Semaphore);

impl InFlight {
    pub(super) fn new(most: usize) -> Self {
        Self(Semaphore::new(most))
    }

    /// A place for a request, held until its response head. Health needs none: a busy server must not look like a
    /// dead one.
    pub(super) fn admit(&self, path: &str) -> Result<Option<SemaphorePermit<'_>>, ServiceError> {
        if path.starts_with(HEALTH) {
            return Ok(None);
        }
        self.0.try_acquire().map(Some).map_err(|_| OVERLOADED)
    }
}

/// A bound on open streams of one kind, across all connections. The bound on requests in flight does not see them:
/// a stream has its response head from the start.
#[derive(Debug, Clone)]
pub struct StreamPermits(Arc<Semaphore>);

impl StreamPermits {
    /// That many at a time.
    pub fn new(most: usize) -> Self {
        Self(Arc::new(Semaphore::new(most)))
    }

    /// A place for a stream, held until dropped.
    ///
    /// # Errors
    /// OVERLOADED: all places are taken.
    pub fn admit(&self) -> Result<OwnedSemaphorePermit, ServiceError> {
        Arc::clone(&self.0).try_acquire_owned().map_err(|_| OVERLOADED)
    }

    /// Places that nobody has.
    #[cfg(test)]
    pub(crate) fn free(&self) -> usize {
        self.0.available_permits()
    }

    /// The stream, holding a place for as long as it lives.
    ///
    /// # Errors
    /// OVERLOADED: all places are taken.
    pub fn hold<S: Stream>(&self, stream: S) -> Result<impl Stream<Item = S::Item> + use<S>, ServiceError> {
        let permit = self.admit()?;
        Ok(stream.map(move |item| {
            let _held = &permit;
            item
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stream_gives_its_place_back_when_dropped() {
        let permits = StreamPermits::new(1);
        let first = permits.hold(futures_util::stream::iter([1, 2])).unwrap();
        assert!(permits.hold(futures_util::stream::empty::<i32>()).is_err());
        drop(first);
        assert!(permits.admit().is_ok());
    }
}
