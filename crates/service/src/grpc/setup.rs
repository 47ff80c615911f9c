//! SetupService.

use tonic::{Request, Response, Status};
use wire::v1;
use wire::v1::setup_service_server::SetupService;

use super::Door;
use crate::bench::Bench;

#[tonic::async_trait]
impl SetupService for Door {
    async fn read_sag(&self, request: Request<v1::ReadSagRequest>) -> Result<Response<v1::ReadSagResponse>, Status> {
        self.computing(request, Bench::read_sag).await
    }

    async fn choose_spring(
        &self,
        request: Request<v1::ChooseSpringRequest>,
    ) -> Result<Response<v1::ChooseSpringResponse>, Status> {
        self.computing(request, Bench::choose_spring).await
    }

    async fn evaluate_response(
        &self,
        request: Request<v1::EvaluateResponseRequest>,
    ) -> Result<Response<v1::EvaluateResponseResponse>, Status> {
        self.computing(request, Bench::evaluate_response).await
    }

    async fn forecast_limits(
        &self,
        request: Request<v1::ForecastLimitsRequest>,
    ) -> Result<Response<v1::ForecastLimitsResponse>, Status> {
        self.computing(request, Bench::forecast_limits).await
    }

    async fn render_job_sheet(
        &self,
        request: Request<v1::RenderJobSheetRequest>,
    ) -> Result<Response<v1::RenderJobSheetResponse>, Status> {
        self.computing(request, Bench::render_job_sheet).await
    }

    async fn judge_setup(
        &self,
        request: Request<v1::JudgeSetupRequest>,
    ) -> Result<Response<v1::JudgeSetupResponse>, Status> {
        self.computing(request, Bench::judge_setup).await
    }
}
