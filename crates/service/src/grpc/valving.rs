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

    async fn compare_stacks(
        &self,
        request: Request<v1::CompareStacksRequest>,
    ) -> Result<Response<v1::CompareStacksResponse>, Status> {
        self.computing(request, Bench::compare_stacks).await
    }

    async fn evaluate_damper(
        &self,
        request: Request<v1::EvaluateDamperRequest>,
    ) -> Result<Response<v1::EvaluateDamperResponse>, Status> {
        self.computing(request, Bench::evaluate_damper).await
    }

    async fn evaluate_oil(
        &self,
        request: Request<v1::EvaluateOilRequest>,
    ) -> Result<Response<v1::EvaluateOilResponse>, Status> {
        // A few formulas, for which another thread would cost more than they do.
        Ok(Response::new(self.bench().evaluate_oil(request.into_inner())?))
    }
}
