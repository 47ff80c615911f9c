//! Places for work that blocks a thread. Every door shares them, so that a page cannot take what the API needs.

use std::sync::Arc;

use tokio::sync::Semaphore;

use crate::bench::Bench;
use crate::error::ServiceError;

/// Operations that wait for the store at a time; a group of commits is made of many.
const WAITING: usize = 256;
/// Reductions at a time: each may hold two million samples.
const COMPUTING: usize = 4;

/// The bench, and the places its operations take.
#[derive(Clone)]
pub(crate) struct Places {
    bench: Arc<Bench>,
    /// For operations that wait for the store.
    waiting: Arc<Semaphore>,
    /// For operations that compute for long and hold many samples.
    computing: Arc<Semaphore>,
}

impl Places {
    pub(crate) fn new(bench: Arc<Bench>) -> Self {
        Self {
            bench,
            waiting: Arc::new(Semaphore::new(WAITING)),
            computing: Arc::new(Semaphore::new(COMPUTING)),
        }
    }

    /// The bench, for what does not block: streams, and answers at once.
    pub(crate) fn bench(&self) -> &Arc<Bench> {
        &self.bench
    }

    /// Runs an operation that may wait for the store away from the async threads.
    pub(crate) async fn wait<R: Send + 'static>(
        &self,
        operation: impl FnOnce(&Bench) -> Result<R, ServiceError> + Send + 'static,
    ) -> Result<R, ServiceError> {
        self.within(&self.waiting, operation).await
    }

    /// Runs an operation that may compute for long away from the async threads.
    pub(crate) async fn compute<R: Send + 'static>(
        &self,
        operation: impl FnOnce(&Bench) -> Result<R, ServiceError> + Send + 'static,
    ) -> Result<R, ServiceError> {
        self.within(&self.computing, operation).await
    }

    /// Runs an operation once it has a place, and holds the place until it has ended: the caller's deadline ends the
    /// waiting, not the work.
    async fn within<R: Send + 'static>(
        &self,
        places: &Arc<Semaphore>,
        operation: impl FnOnce(&Bench) -> Result<R, ServiceError> + Send + 'static,
    ) -> Result<R, ServiceError> {
        let place = Arc::clone(places)
            .acquire_owned()
            .await
            .map_err(ServiceError::internal)?;
        let bench = Arc::clone(&self.bench);
        let span = tracing::Span::current();
        let work = move || {
            let _place = place;
            span.in_scope(|| operation(&bench))
        };
        tokio::task::spawn_blocking(work)
            .await
            .map_err(ServiceError::internal)?
    }
}
