//! BookService.

use tonic::{Request, Response, Status};
use wire::v1;
use wire::v1::book_service_server::BookService;

use super::Door;
use crate::bench::Bench;

#[tonic::async_trait]
impl BookService for Door {
    async fn create_rider(&self, request: Request<v1::CreateRiderRequest>) -> Result<Response<v1::Rider>, Status> {
        self.blocking(request, Bench::create_rider).await
    }

    async fn get_rider(&self, request: Request<v1::GetRiderRequest>) -> Result<Response<v1::Rider>, Status> {
        self.blocking(request, Bench::get_rider).await
    }

    async fn list_riders(
        &self,
        request: Request<v1::ListRidersRequest>,
    ) -> Result<Response<v1::ListRidersResponse>, Status> {
        self.blocking(request, Bench::list_riders).await
    }

    async fn update_rider(&self, request: Request<v1::UpdateRiderRequest>) -> Result<Response<v1::Rider>, Status> {
        self.blocking(request, Bench::update_rider).await
    }

    async fn delete_rider(&self, request: Request<v1::DeleteRiderRequest>) -> Result<Response<v1::Rider>, Status> {
        self.blocking(request, Bench::delete_rider).await
    }

    async fn undelete_rider(&self, request: Request<v1::UndeleteRiderRequest>) -> Result<Response<v1::Rider>, Status> {
        self.blocking(request, Bench::undelete_rider).await
    }

    async fn erase_rider(
        &self,
        request: Request<v1::EraseRiderRequest>,
    ) -> Result<Response<v1::EraseRiderResponse>, Status> {
        self.blocking(request, Bench::erase_rider).await
    }

    async fn create_machine(
        &self,
        request: Request<v1::CreateMachineRequest>,
    ) -> Result<Response<v1::Machine>, Status> {
        self.blocking(request, Bench::create_machine).await
    }

    async fn get_machine(&self, request: Request<v1::GetMachineRequest>) -> Result<Response<v1::Machine>, Status> {
        self.blocking(request, Bench::get_machine).await
    }

    async fn list_machines(
        &self,
        request: Request<v1::ListMachinesRequest>,
    ) -> Result<Response<v1::ListMachinesResponse>, Status> {
        self.blocking(request, Bench::list_machines).await
    }

    async fn update_machine(
        &self,
        request: Request<v1::UpdateMachineRequest>,
    ) -> Result<Response<v1::Machine>, Status> {
        self.blocking(request, Bench::update_machine).await
    }

    async fn delete_machine(
        &self,
        request: Request<v1::DeleteMachineRequest>,
    ) -> Result<Response<v1::Machine>, Status> {
        self.blocking(request, Bench::delete_machine).await
    }

    async fn undelete_machine(
        &self,
        request: Request<v1::UndeleteMachineRequest>,
    ) -> Result<Response<v1::Machine>, Status> {
        self.blocking(request, Bench::undelete_machine).await
    }

    async fn list_machine_revisions(
        &self,
        request: Request<v1::ListMachineRevisionsRequest>,
    ) -> Result<Response<v1::ListMachineRevisionsResponse>, Status> {
        self.blocking(request, Bench::list_machine_revisions).await
    }

    async fn create_setup(&self, request: Request<v1::CreateSetupRequest>) -> Result<Response<v1::Setup>, Status> {
        self.blocking(request, Bench::create_setup).await
    }

    async fn get_setup(&self, request: Request<v1::GetSetupRequest>) -> Result<Response<v1::Setup>, Status> {
        self.blocking(request, Bench::get_setup).await
    }

    async fn list_setups(
        &self,
        request: Request<v1::ListSetupsRequest>,
    ) -> Result<Response<v1::ListSetupsResponse>, Status> {
        self.blocking(request, Bench::list_setups).await
    }

    async fn update_setup(&self, request: Request<v1::UpdateSetupRequest>) -> Result<Response<v1::Setup>, Status> {
        self.blocking(request, Bench::update_setup).await
    }

    async fn delete_setup(&self, request: Request<v1::DeleteSetupRequest>) -> Result<Response<v1::Setup>, Status> {
        self.blocking(request, Bench::delete_setup).await
    }

    async fn undelete_setup(&self, request: Request<v1::UndeleteSetupRequest>) -> Result<Response<v1::Setup>, Status> {
        self.blocking(request, Bench::undelete_setup).await
    }

    async fn list_setup_revisions(
        &self,
        request: Request<v1::ListSetupRevisionsRequest>,
    ) -> Result<Response<v1::ListSetupRevisionsResponse>, Status> {
        self.blocking(request, Bench::list_setup_revisions).await
    }

    async fn create_job_sheet(
        &self,
        request: Request<v1::CreateJobSheetRequest>,
    ) -> Result<Response<v1::JobSheet>, Status> {
        self.blocking(request, Bench::create_job_sheet).await
    }

    async fn get_job_sheet(&self, request: Request<v1::GetJobSheetRequest>) -> Result<Response<v1::JobSheet>, Status> {
        self.blocking(request, Bench::get_job_sheet).await
    }

    async fn list_job_sheets(
        &self,
        request: Request<v1::ListJobSheetsRequest>,
    ) -> Result<Response<v1::ListJobSheetsResponse>, Status> {
        self.blocking(request, Bench::list_job_sheets).await
    }

    async fn update_job_sheet(
        &self,
        request: Request<v1::UpdateJobSheetRequest>,
    ) -> Result<Response<v1::JobSheet>, Status> {
        self.blocking(request, Bench::update_job_sheet).await
    }

    async fn delete_job_sheet(
        &self,
        request: Request<v1::DeleteJobSheetRequest>,
    ) -> Result<Response<v1::JobSheet>, Status> {
        self.blocking(request, Bench::delete_job_sheet).await
    }

    async fn undelete_job_sheet(
        &self,
        request: Request<v1::UndeleteJobSheetRequest>,
    ) -> Result<Response<v1::JobSheet>, Status> {
        self.blocking(request, Bench::undelete_job_sheet).await
    }

    async fn list_job_sheet_revisions(
        &self,
        request: Request<v1::ListJobSheetRevisionsRequest>,
    ) -> Result<Response<v1::ListJobSheetRevisionsResponse>, Status> {
        self.blocking(request, Bench::list_job_sheet_revisions).await
    }

    async fn get_rule_table(
        &self,
        request: Request<v1::GetRuleTableRequest>,
    ) -> Result<Response<v1::RuleTable>, Status> {
        self.blocking(request, Bench::get_rule_table).await
    }

    async fn update_rule_table(
        &self,
        request: Request<v1::UpdateRuleTableRequest>,
    ) -> Result<Response<v1::RuleTable>, Status> {
        self.blocking(request, Bench::update_rule_table).await
    }

    async fn get_price_list(
        &self,
        request: Request<v1::GetPriceListRequest>,
    ) -> Result<Response<v1::PriceList>, Status> {
        self.blocking(request, Bench::get_price_list).await
    }

    async fn update_price_list(
        &self,
        request: Request<v1::UpdatePriceListRequest>,
    ) -> Result<Response<v1::PriceList>, Status> {
        self.blocking(request, Bench::update_price_list).await
    }

    async fn follow_machine(
        &self,
        request: Request<v1::FollowMachineRequest>,
    ) -> Result<Response<v1::FollowMachineResponse>, Status> {
        self.computing(request, Bench::follow_machine).await
    }

    async fn compare_setups(
        &self,
        request: Request<v1::CompareSetupsRequest>,
    ) -> Result<Response<v1::CompareSetupsResponse>, Status> {
        self.computing(request, Bench::compare_setups).await
    }
}
