//! Scales over gRPC.

use becket_api::stringing::scale_service_server::ScaleService;
use becket_api::stringing::{
    CreateScaleRequest, CreateScaleResponse, GetScaleRequest, GetScaleResponse, ListScalesRequest,
    ListScalesResponse, ReleaseScaleRequest, ReleaseScaleResponse, UpdateScaleRequest, UpdateScaleResponse,
};
use becket_service_kit::CallContext;
use tonic::{Request, Response, Status};

use super::Handlers;

#[tonic::async_trait]
impl ScaleService for Handlers {
    async fn create_scale(
        &self,
        request: Request<CreateScaleRequest>,
    ) -> Result<Response<CreateScaleResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.create_scale(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn update_scale(
        &self,
        request: Request<UpdateScaleRequest>,
    ) -> Result<Response<UpdateScaleResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.update_scale(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn release_scale(
        &self,
        request: Request<ReleaseScaleRequest>,
    ) -> Result<Response<ReleaseScaleResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.release_scale(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn get_scale(
        &self,
        request: Request<GetScaleRequest>,
    ) -> Result<Response<GetScaleResponse>, Status> {
        Ok(Response::new(self.app.get_scale(request.into_inner()).await?))
    }

    async fn list_scales(
        &self,
        request: Request<ListScalesRequest>,
    ) -> Result<Response<ListScalesResponse>, Status> {
        Ok(Response::new(self.app.list_scales(request.into_inner()).await?))
    }
}
