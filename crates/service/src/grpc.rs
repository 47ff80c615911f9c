//! The gRPC doors: each call is handed to one operation of the bench, its error to one table of statuses.

mod rack;
mod run;
mod spring;
pub mod status;

use std::sync::Arc;

use tonic::{Request, Response, Status};

use crate::bench::Bench;
use status::ServiceError;

/// Messages a door takes: the largest request is a quarter of a million samples with their times.
pub(crate) const MAX_REQUEST_BYTES: usize = 8 << 20;
/// A recorded block is at most 64 KiB stored; as sent it is at most 4,096 samples of 16 columns and a clock.
pub(crate) const MAX_STEP_BYTES: usize = 1 << 20;

/// A door to the bench.
#[derive(Clone)]
pub(crate) struct Door {
    bench: Arc<Bench>,
}

impl Door {
    pub(crate) fn new(bench: Arc<Bench>) -> Self {
        Self { bench }
    }

    /// Runs an operation away from the async threads: it may wait for the store or compute for long.
    async fn blocking<Q, R>(
        &self,
        request: Request<Q>,
        operation: impl FnOnce(&Bench, Q) -> Result<R, ServiceError> + Send + 'static,
    ) -> Result<Response<R>, Status>
    where
        Q: Send + 'static,
        R: Send + 'static,
    {
        let bench = Arc::clone(&self.bench);
        let span = tracing::Span::current();
        let request = request.into_inner();
        let done = tokio::task::spawn_blocking(move || span.in_scope(|| operation(&bench, request))).await;
        match done {
            Ok(reply) => Ok(Response::new(reply?)),
            Err(error) => Err(ServiceError::Internal {
                context: error.to_string(),
            }
            .into()),
        }
    }
}
