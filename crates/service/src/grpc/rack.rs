//! RackService.

use tonic::{Request, Response, Status};
use wire::v1;
use wire::v1::rack_service_server::RackService;

use super::Door;
use crate::bench::Bench;

#[tonic::async_trait]
impl RackService for Door {
    async fn create_spring(&self, request: Request<v1::CreateSpringRequest>) -> Result<Response<v1::Spring>, Status> {
        self.blocking(request, Bench::create_spring).await
    }

    async fn get_spring(&self, request: Request<v1::GetSpringRequest>) -> Result<Response<v1::Spring>, Status> {
        if let Some(found) = self.bench().get_spring_at_once(request.get_ref()) {
            return Ok(Response::new(found?));
        }
        self.blocking(request, Bench::get_spring).await
    }

    async fn list_springs(
        &self,
        request: Request<v1::ListSpringsRequest>,
    ) -> Result<Response<v1::ListSpringsResponse>, Status> {
        self.blocking(request, Bench::list_springs).await
    }

    async fn update_spring(&self, request: Request<v1::UpdateSpringRequest>) -> Result<Response<v1::Spring>, Status> {
        self.blocking(request, Bench::update_spring).await
    }

    async fn delete_spring(&self, request: Request<v1::DeleteSpringRequest>) -> Result<Response<v1::Spring>, Status> {
        self.blocking(request, Bench::delete_spring).await
    }

    async fn undelete_spring(
        &self,
        request: Request<v1::UndeleteSpringRequest>,
    ) -> Result<Response<v1::Spring>, Status> {
        self.blocking(request, Bench::undelete_spring).await
    }

    async fn list_spring_revisions(
        &self,
        request: Request<v1::ListSpringRevisionsRequest>,
    ) -> Result<Response<v1::ListSpringRevisionsResponse>, Status> {
        self.blocking(request, Bench::list_spring_revisions).await
    }
}
