//! String sets over gRPC.

use becket_api::stringing::string_set_service_server::StringSetService;
use becket_api::stringing::{
    ComputeStringSetRequest, ComputeStringSetResponse, FreezeStringSetRequest, FreezeStringSetResponse,
    GetStringSetRequest, GetStringSetResponse,
};
use becket_service_kit::CallContext;
use tonic::{Request, Response, Status};

use super::Handlers;

#[tonic::async_trait]
impl StringSetService for Handlers {
    async fn compute_string_set(
        &self,
        request: Request<ComputeStringSetRequest>,
    ) -> Result<Response<ComputeStringSetResponse>, Status> {
        Ok(Response::new(self.app.compute_string_set(request.into_inner()).await?))
    }

    async fn get_string_set(
        &self,
        request: Request<GetStringSetRequest>,
    ) -> Result<Response<GetStringSetResponse>, Status> {
        Ok(Response::new(self.app.get_string_set(request.into_inner()).await?))
    }

    async fn freeze_string_set(
        &self,
        request: Request<FreezeStringSetRequest>,
    ) -> Result<Response<FreezeStringSetResponse>, Status> {
        let call = CallContext::of(&request)?;
        Ok(Response::new(self.app.freeze_string_set(&call, request.into_inner()).await?))
    }
}
