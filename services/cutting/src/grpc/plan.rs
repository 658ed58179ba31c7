//! Plans without a store over gRPC.

use becket_api::cutting::plan_service_server::PlanService;
use becket_api::cutting::{PlanCutsRequest, PlanCutsResponse};
use becket_service_kit::CallContext;
use tonic::{Request, Response, Status};

use super::Handlers;

#[tonic::async_trait]
impl PlanService for Handlers {
    async fn plan_cuts(
        &self,
        request: Request<PlanCutsRequest>,
    ) -> Result<Response<PlanCutsResponse>, Status> {
        let call = CallContext::of(&request)?;
        Ok(Response::new(self.app.plan_cuts(&call, request.into_inner()).await?))
    }
}
