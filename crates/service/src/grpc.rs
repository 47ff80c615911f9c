//! The gRPC doors: each call is handed to one operation of the bench, its error to one table of statuses.

mod book;
mod calibration;
mod drawer;
mod rack;
mod run;
mod setup;
mod spring;
pub mod status;
mod valving;

use std::sync::Arc;

use tonic::{Request, Response, Status};

use crate::bench::Bench;
use crate::places::Places;
use status::ServiceError;

/// Messages a door takes: the largest request is a quarter of a million samples with their times.
pub(crate) const MAX_REQUEST_BYTES: usize = 8 << 20;
/// A recorded block is at most 64 KiB stored; as sent it is at most 4,096 samples of 16 columns and a clock.
pub(crate) const MAX_STEP_BYTES: usize = 1 << 20;

/// A door to the bench.
#[derive(Clone)]
pub(crate) struct Door {
    places: Places,
}

impl Door {
    pub(crate) fn new(places: Places) -> Self {
        Self { places }
    }

    fn bench(&self) -> &Arc<Bench> {
        self.places.bench()
    }

    /// An operation that may wait for the store.
    async fn blocking<Q, R>(
        &self,
        request: Request<Q>,
        operation: impl FnOnce(&Bench, Q) -> Result<R, ServiceError> + Send + 'static,
    ) -> Result<Response<R>, Status>
    where
        Q: Send + 'static,
        R: Send + 'static,
    {
        let request = request.into_inner();
        Ok(Response::new(
            self.places.wait(move |bench| operation(bench, request)).await?,
        ))
    }

    /// An operation that may compute for long.
    async fn computing<Q, R>(
        &self,
        request: Request<Q>,
        operation: impl FnOnce(&Bench, Q) -> Result<R, ServiceError> + Send + 'static,
    ) -> Result<Response<R>, Status>
    where
        Q: Send + 'static,
        R: Send + 'static,
    {
        let request = request.into_inner();
        Ok(Response::new(
            self.places.compute(move |bench| operation(bench, request)).await?,
        ))
    }
}
