//! SpringService.

use tonic::{Request, Response, Status};
use wire::v1;
use wire::v1::load_at_length_request::Source;
use wire::v1::spring_service_server::SpringService;

use super::Door;
use crate::bench::Bench;

/// Samples that are reduced in a few milliseconds. They do not queue behind those that take long.
const SHORT: usize = 16_384;

/// Whether a reduction is known to be short. How long a stored run is shows only when it is read.
fn is_short(request: &v1::ReduceRunRequest) -> bool {
    match &request.source {
        Some(v1::reduce_run_request::Source::Samples(samples)) => samples.deflections.len() <= SHORT,
        Some(v1::reduce_run_request::Source::Run(_)) => false,
        Some(v1::reduce_run_request::Source::MeasuredRate(_)) | None => true,
    }
}

#[tonic::async_trait]
impl SpringService for Door {
    async fn reduce_run(
        &self,
        request: Request<v1::ReduceRunRequest>,
    ) -> Result<Response<v1::ReduceRunResponse>, Status> {
        if is_short(request.get_ref()) {
            return self.blocking(request, Bench::reduce_run).await;
        }
        self.computing(request, Bench::reduce_run).await
    }

    async fn load_at_length(
        &self,
        request: Request<v1::LoadAtLengthRequest>,
    ) -> Result<Response<v1::LoadAtLengthResponse>, Status> {
        // Of values it is a few formulas, for which another thread would cost more than they do.
        if matches!(request.get_ref().source, Some(Source::Values(_))) {
            return Ok(Response::new(self.bench().load_at_length(request.into_inner())?));
        }
        self.blocking(request, Bench::load_at_length).await
    }

    async fn judge_pair(
        &self,
        request: Request<v1::JudgePairRequest>,
    ) -> Result<Response<v1::JudgePairResponse>, Status> {
        self.computing(request, Bench::judge_pair).await
    }

    async fn fit_calibration(
        &self,
        request: Request<v1::FitCalibrationRequest>,
    ) -> Result<Response<v1::FitCalibrationResponse>, Status> {
        self.blocking(request, Bench::fit_calibration).await
    }

    async fn evaluate_helical(
        &self,
        request: Request<v1::EvaluateHelicalRequest>,
    ) -> Result<Response<v1::EvaluateHelicalResponse>, Status> {
        Ok(Response::new(self.bench().evaluate_helical(request.into_inner())?))
    }

    async fn evaluate_assembly(
        &self,
        request: Request<v1::EvaluateAssemblyRequest>,
    ) -> Result<Response<v1::EvaluateAssemblyResponse>, Status> {
        self.blocking(request, Bench::evaluate_assembly).await
    }

    async fn evaluate_gas_spring(
        &self,
        request: Request<v1::EvaluateGasSpringRequest>,
    ) -> Result<Response<v1::EvaluateGasSpringResponse>, Status> {
        self.blocking(request, Bench::evaluate_gas_spring).await
    }

    async fn compute_wheel_rate(
        &self,
        request: Request<v1::ComputeWheelRateRequest>,
    ) -> Result<Response<v1::ComputeWheelRateResponse>, Status> {
        self.blocking(request, Bench::compute_wheel_rate).await
    }
}
