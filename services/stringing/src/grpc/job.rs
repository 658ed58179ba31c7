//! Jobs over gRPC.

use becket_api::stringing::job_service_server::JobService;
use becket_api::stringing::{
    AmendJobRequest, AmendJobResponse, CloseJobRequest, CloseJobResponse, GetJobRequest, GetJobResponse,
    ListJobsRequest, ListJobsResponse, OpenJobRequest, OpenJobResponse,
};
use becket_service_kit::CallContext;
use tonic::{Request, Response, Status};

use super::Handlers;

#[tonic::async_trait]
impl JobService for Handlers {
    async fn open_job(&self, request: Request<OpenJobRequest>) -> Result<Response<OpenJobResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.open_job(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn amend_job(
        &self,
        request: Request<AmendJobRequest>,
    ) -> Result<Response<AmendJobResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.amend_job(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn close_job(
        &self,
        request: Request<CloseJobRequest>,
    ) -> Result<Response<CloseJobResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.close_job(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn get_job(&self, request: Request<GetJobRequest>) -> Result<Response<GetJobResponse>, Status> {
        Ok(Response::new(self.app.get_job(request.into_inner()).await?))
    }

    async fn list_jobs(
        &self,
        request: Request<ListJobsRequest>,
    ) -> Result<Response<ListJobsResponse>, Status> {
        Ok(Response::new(self.app.list_jobs(request.into_inner()).await?))
    }
}
