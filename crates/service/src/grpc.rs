//! The gRPC doors: each call is handed to one operation of the bench, its error to one table of statuses.

mod rack;
mod run;
mod spring;
pub mod status;
mod valving;

use std::sync::Arc;

use tokio::sync::Semaphore;
use tonic::{Request, Response, Status};

use crate::bench::Bench;
use status::ServiceError;

/// Messages a door takes: the largest request is a quarter of a million samples with their times.
pub(crate) const MAX_REQUEST_BYTES: usize = 8 << 20;
/// A recorded block is at most 64 KiB stored; as sent it is at most 4,096 samples of 16 columns and a clock.
pub(crate) const MAX_STEP_BYTES: usize = 1 << 20;

/// Operations that wait for the store at a time; a group of commits is made of many.
const WAITING: usize = 256;
/// Reductions at a time: each may hold two million samples.
const COMPUTING: usize = 4;

/// A door to the bench.
#[derive(Clone)]
pub(crate) struct Door {
    bench: Arc<Bench>,
    /// Places for operations that wait for the store.
    waiting: Arc<Semaphore>,
    /// Places for operations that compute for long and hold many samples.
    computing: Arc<Semaphore>,
}

impl Door {
    pub(crate) fn new(bench: Arc<Bench>) -> Self {
        Self {
            bench,
            waiting: Arc::new(Semaphore::new(WAITING)),
            computing: Arc::new(Semaphore::new(COMPUTING)),
        }
    }

    /// Runs an operation that may wait for the store away from the async threads.
    async fn blocking<Q, R>(
        &self,
        request: Request<Q>,
        operation: impl FnOnce(&Bench, Q) -> Result<R, ServiceError> + Send + 'static,
    ) -> Result<Response<R>, Status>
    where
        Q: Send + 'static,
        R: Send + 'static,
    {
        self.within(&self.waiting, request, operation).await
    }

    /// Runs an operation once it has a place, and holds the place until it has ended: the caller's deadline ends the
    /// waiting, not the work.
    async fn within<Q, R>(
        &self,
        places: &Arc<Semaphore>,
        request: Request<Q>,
        operation: impl FnOnce(&Bench, Q) -> Result<R, ServiceError> + Send + 'static,
    ) -> Result<Response<R>, Status>
    where
        Q: Send + 'static,
        R: Send + 'static,
    {
        let place = Arc::clone(places)
            .acquire_owned()
            .await
            .map_err(ServiceError::internal)?;
        let bench = Arc::clone(&self.bench);
        let span = tracing::Span::current();
        let request = request.into_inner();
        let work = move || {
            let _place = place;
            span.in_scope(|| operation(&bench, request))
        };
        let done = tokio::task::spawn_blocking(work).await;
        match done {
            Ok(reply) => Ok(Response::new(reply?)),
            Err(error) => Err(ServiceError::Internal {
                context: error.to_string(),
            }
            .into()),
        }
    }
}
