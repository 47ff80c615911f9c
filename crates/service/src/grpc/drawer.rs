//! DrawerService.

use tonic::{Request, Response, Status};
use wire::v1;
use wire::v1::drawer_service_server::DrawerService;

use super::Door;
use crate::bench::Bench;

#[tonic::async_trait]
impl DrawerService for Door {
    async fn create_shim_lot(
        &self,
        request: Request<v1::CreateShimLotRequest>,
    ) -> Result<Response<v1::ShimLot>, Status> {
        self.blocking(request, Bench::create_shim_lot).await
    }

    async fn get_shim_lot(&self, request: Request<v1::GetShimLotRequest>) -> Result<Response<v1::ShimLot>, Status> {
        self.blocking(request, Bench::get_shim_lot).await
    }

    async fn list_shim_lots(
        &self,
        request: Request<v1::ListShimLotsRequest>,
    ) -> Result<Response<v1::ListShimLotsResponse>, Status> {
        self.blocking(request, Bench::list_shim_lots).await
    }

    async fn update_shim_lot(
        &self,
        request: Request<v1::UpdateShimLotRequest>,
    ) -> Result<Response<v1::ShimLot>, Status> {
        self.blocking(request, Bench::update_shim_lot).await
    }

    async fn delete_shim_lot(
        &self,
        request: Request<v1::DeleteShimLotRequest>,
    ) -> Result<Response<v1::ShimLot>, Status> {
        self.blocking(request, Bench::delete_shim_lot).await
    }

    async fn undelete_shim_lot(
        &self,
        request: Request<v1::UndeleteShimLotRequest>,
    ) -> Result<Response<v1::ShimLot>, Status> {
        self.blocking(request, Bench::undelete_shim_lot).await
    }

    async fn list_shim_lot_revisions(
        &self,
        request: Request<v1::ListShimLotRevisionsRequest>,
    ) -> Result<Response<v1::ListShimLotRevisionsResponse>, Status> {
        self.blocking(request, Bench::list_shim_lot_revisions).await
    }

    async fn adjust_shim_count(
        &self,
        request: Request<v1::AdjustShimCountRequest>,
    ) -> Result<Response<v1::ShimLot>, Status> {
        self.blocking(request, Bench::adjust_shim_count).await
    }

    async fn create_stack(&self, request: Request<v1::CreateStackRequest>) -> Result<Response<v1::Stack>, Status> {
        self.blocking(request, Bench::create_stack).await
    }

    async fn get_stack(&self, request: Request<v1::GetStackRequest>) -> Result<Response<v1::Stack>, Status> {
        self.blocking(request, Bench::get_stack).await
    }

    async fn list_stacks(
        &self,
        request: Request<v1::ListStacksRequest>,
    ) -> Result<Response<v1::ListStacksResponse>, Status> {
        self.blocking(request, Bench::list_stacks).await
    }

    async fn update_stack(&self, request: Request<v1::UpdateStackRequest>) -> Result<Response<v1::Stack>, Status> {
        self.blocking(request, Bench::update_stack).await
    }

    async fn delete_stack(&self, request: Request<v1::DeleteStackRequest>) -> Result<Response<v1::Stack>, Status> {
        self.blocking(request, Bench::delete_stack).await
    }

    async fn undelete_stack(&self, request: Request<v1::UndeleteStackRequest>) -> Result<Response<v1::Stack>, Status> {
        self.blocking(request, Bench::undelete_stack).await
    }

    async fn list_stack_revisions(
        &self,
        request: Request<v1::ListStackRevisionsRequest>,
    ) -> Result<Response<v1::ListStackRevisionsResponse>, Status> {
        self.blocking(request, Bench::list_stack_revisions).await
    }

    async fn build_stack(&self, request: Request<v1::BuildStackRequest>) -> Result<Response<v1::Stack>, Status> {
        self.blocking(request, Bench::build_stack).await
    }

    async fn unbuild_stack(&self, request: Request<v1::UnbuildStackRequest>) -> Result<Response<v1::Stack>, Status> {
        self.blocking(request, Bench::unbuild_stack).await
    }

    async fn create_damper(&self, request: Request<v1::CreateDamperRequest>) -> Result<Response<v1::Damper>, Status> {
        self.blocking(request, Bench::create_damper).await
    }

    async fn get_damper(&self, request: Request<v1::GetDamperRequest>) -> Result<Response<v1::Damper>, Status> {
        self.blocking(request, Bench::get_damper).await
    }

    async fn list_dampers(
        &self,
        request: Request<v1::ListDampersRequest>,
    ) -> Result<Response<v1::ListDampersResponse>, Status> {
        self.blocking(request, Bench::list_dampers).await
    }

    async fn update_damper(&self, request: Request<v1::UpdateDamperRequest>) -> Result<Response<v1::Damper>, Status> {
        self.blocking(request, Bench::update_damper).await
    }

    async fn delete_damper(&self, request: Request<v1::DeleteDamperRequest>) -> Result<Response<v1::Damper>, Status> {
        self.blocking(request, Bench::delete_damper).await
    }

    async fn undelete_damper(
        &self,
        request: Request<v1::UndeleteDamperRequest>,
    ) -> Result<Response<v1::Damper>, Status> {
        self.blocking(request, Bench::undelete_damper).await
    }

    async fn list_damper_revisions(
        &self,
        request: Request<v1::ListDamperRevisionsRequest>,
    ) -> Result<Response<v1::ListDamperRevisionsResponse>, Status> {
        self.blocking(request, Bench::list_damper_revisions).await
    }
}
