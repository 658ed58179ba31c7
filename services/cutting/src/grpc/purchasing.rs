//! Purchasing over gRPC.

use becket_api::cutting::purchasing_service_server::PurchasingService;
use becket_api::cutting::{EstimateWireRequest, EstimateWireResponse};
use becket_service_kit::CallContext;
use tonic::{Request, Response, Status};

use super::Handlers;

#[tonic::async_trait]
impl PurchasingService for Handlers {
    async fn estimate_wire(
        &self,
        request: Request<EstimateWireRequest>,
    ) -> Result<Response<EstimateWireResponse>, Status> {
        let call = CallContext::of(&request)?;
        Ok(Response::new(self.app.estimate_wire(&call, request.into_inner()).await?))
    }
}
