//! Cut lists over gRPC.

use becket_api::cutting::cut_list_service_server::CutListService;
use becket_api::cutting::{
    CancelCutListRequest, CancelCutListResponse, ConfirmStepRequest, ConfirmStepResponse,
    FinishCutListRequest, FinishCutListResponse, GetCutListRequest, GetCutListResponse, GetWorkSheetRequest,
    GetWorkSheetResponse, ListCutListsRequest, ListCutListsResponse, PlanCutListRequest, PlanCutListResponse,
    ReplanCutListRequest, ReplanCutListResponse, ReportRunOutRequest, ReportRunOutResponse,
    ReportSpoiledPieceRequest, ReportSpoiledPieceResponse, StartCutListRequest, StartCutListResponse,
    WatchCutListRequest,
};
use becket_service_kit::CallContext;
use tonic::{Request, Response, Status};

use super::Handlers;
use crate::use_cases::WatchStream;

#[tonic::async_trait]
impl CutListService for Handlers {
    type WatchCutListStream = WatchStream;

    async fn plan_cut_list(
        &self,
        request: Request<PlanCutListRequest>,
    ) -> Result<Response<PlanCutListResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.plan_cut_list(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn start_cut_list(
        &self,
        request: Request<StartCutListRequest>,
    ) -> Result<Response<StartCutListResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.start_cut_list(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn confirm_step(
        &self,
        request: Request<ConfirmStepRequest>,
    ) -> Result<Response<ConfirmStepResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.confirm_step(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn report_spoiled_piece(
        &self,
        request: Request<ReportSpoiledPieceRequest>,
    ) -> Result<Response<ReportSpoiledPieceResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.report_spoiled_piece(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn report_run_out(
        &self,
        request: Request<ReportRunOutRequest>,
    ) -> Result<Response<ReportRunOutResponse>, Status> {
        let call = CallContext::of(&request)?;
        Ok(Response::new(self.app.report_run_out(&call, request.into_inner()).await?))
    }

    async fn replan_cut_list(
        &self,
        request: Request<ReplanCutListRequest>,
    ) -> Result<Response<ReplanCutListResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.replan_cut_list(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn finish_cut_list(
        &self,
        request: Request<FinishCutListRequest>,
    ) -> Result<Response<FinishCutListResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.finish_cut_list(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn cancel_cut_list(
        &self,
        request: Request<CancelCutListRequest>,
    ) -> Result<Response<CancelCutListResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.cancel_cut_list(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn get_cut_list(
        &self,
        request: Request<GetCutListRequest>,
    ) -> Result<Response<GetCutListResponse>, Status> {
        Ok(Response::new(self.app.get_cut_list(request.into_inner()).await?))
    }

    async fn get_work_sheet(
        &self,
        request: Request<GetWorkSheetRequest>,
    ) -> Result<Response<GetWorkSheetResponse>, Status> {
        Ok(Response::new(self.app.get_work_sheet(request.into_inner()).await?))
    }

    async fn list_cut_lists(
        &self,
        request: Request<ListCutListsRequest>,
    ) -> Result<Response<ListCutListsResponse>, Status> {
        Ok(Response::new(self.app.list_cut_lists(request.into_inner()).await?))
    }

    async fn watch_cut_list(
        &self,
        request: Request<WatchCutListRequest>,
    ) -> Result<Response<Self::WatchCutListStream>, Status> {
        Ok(Response::new(std::sync::Arc::clone(&self.app).watch_cut_list(request.into_inner()).await?))
    }
}
