//! CalibrationService.

use tonic::{Request, Response, Status};
use wire::v1;
use wire::v1::calibration_service_server::CalibrationService;

use super::Door;
use crate::bench::Bench;

#[tonic::async_trait]
impl CalibrationService for Door {
    async fn create_tester(&self, request: Request<v1::CreateTesterRequest>) -> Result<Response<v1::Tester>, Status> {
        self.blocking(request, Bench::create_tester).await
    }

    async fn get_tester(&self, request: Request<v1::GetTesterRequest>) -> Result<Response<v1::Tester>, Status> {
        self.blocking(request, Bench::get_tester).await
    }

    async fn list_testers(
        &self,
        request: Request<v1::ListTestersRequest>,
    ) -> Result<Response<v1::ListTestersResponse>, Status> {
        self.blocking(request, Bench::list_testers).await
    }

    async fn update_tester(&self, request: Request<v1::UpdateTesterRequest>) -> Result<Response<v1::Tester>, Status> {
        self.blocking(request, Bench::update_tester).await
    }

    async fn delete_tester(&self, request: Request<v1::DeleteTesterRequest>) -> Result<Response<v1::Tester>, Status> {
        self.blocking(request, Bench::delete_tester).await
    }

    async fn undelete_tester(
        &self,
        request: Request<v1::UndeleteTesterRequest>,
    ) -> Result<Response<v1::Tester>, Status> {
        self.blocking(request, Bench::undelete_tester).await
    }

    async fn list_tester_revisions(
        &self,
        request: Request<v1::ListTesterRevisionsRequest>,
    ) -> Result<Response<v1::ListTesterRevisionsResponse>, Status> {
        self.blocking(request, Bench::list_tester_revisions).await
    }
}
