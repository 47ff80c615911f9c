//! SpringService.

use tonic::{Request, Response, Status};
use wire::v1;
use wire::v1::spring_service_server::SpringService;

use super::Door;
use crate::bench::Bench;

#[tonic::async_trait]
impl SpringService for Door {
    async fn reduce_run(
        &self,
        request: Request<v1::ReduceRunRequest>,
    ) -> Result<Response<v1::ReduceRunResponse>, Status> {
        self.blocking(request, Bench::reduce_run).await
    }

    async fn load_at_length(
        &self,
        request: Request<v1::LoadAtLengthRequest>,
    ) -> Result<Response<v1::LoadAtLengthResponse>, Status> {
        self.blocking(request, Bench::load_at_length).await
    }
}
