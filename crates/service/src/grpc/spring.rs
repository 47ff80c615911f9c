//! SpringService.

use tonic::{Request, Response, Status};
use wire::v1;
use wire::v1::load_at_length_request::Source;
use wire::v1::spring_service_server::SpringService;

use super::Door;
use crate::bench::Bench;

#[tonic::async_trait]
impl SpringService for Door {
    async fn reduce_run(
        &self,
        request: Request<v1::ReduceRunRequest>,
    ) -> Result<Response<v1::ReduceRunResponse>, Status> {
        self.within(&self.computing, request, Bench::reduce_run).await
    }

    async fn load_at_length(
        &self,
        request: Request<v1::LoadAtLengthRequest>,
    ) -> Result<Response<v1::LoadAtLengthResponse>, Status> {
        // Of values it is a few formulas, for which another thread would cost more than they do.
        if matches!(request.get_ref().source, Some(Source::Values(_))) {
            return Ok(Response::new(self.bench.load_at_length(request.into_inner())?));
        }
        self.blocking(request, Bench::load_at_length).await
    }
}
