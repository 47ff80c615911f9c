//! ValvingService.

use tonic::{Request, Response, Status};
use wire::v1;
use wire::v1::valving_service_server::ValvingService;

use super::Door;
use crate::bench::Bench;

#[tonic::async_trait]
impl ValvingService for Door {
    async fn solve_stack(
        &self,
        request: Request<v1::SolveStackRequest>,
    ) -> Result<Response<v1::SolveStackResponse>, Status> {
        self.computing(request, Bench::solve_stack).await
    }
}
