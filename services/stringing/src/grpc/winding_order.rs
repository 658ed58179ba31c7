//! The winder's orders over gRPC.

use becket_api::stringing::winding_order_service_server::WindingOrderService;
use becket_api::stringing::{
    GetWindingOrderRequest, GetWindingOrderResponse, ListWindingOrdersRequest, ListWindingOrdersResponse,
    ReleaseWindingOrderRequest, ReleaseWindingOrderResponse,
};
use becket_service_kit::CallContext;
use tonic::{Request, Response, Status};

use super::Handlers;

#[tonic::async_trait]
impl WindingOrderService for Handlers {
    async fn release_winding_order(
        &self,
        request: Request<ReleaseWindingOrderRequest>,
    ) -> Result<Response<ReleaseWindingOrderResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.release_winding_order(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn get_winding_order(
        &self,
        request: Request<GetWindingOrderRequest>,
    ) -> Result<Response<GetWindingOrderResponse>, Status> {
        Ok(Response::new(self.app.get_winding_order(request.into_inner()).await?))
    }

    async fn list_winding_orders(
        &self,
        request: Request<ListWindingOrdersRequest>,
    ) -> Result<Response<ListWindingOrdersResponse>, Status> {
        Ok(Response::new(self.app.list_winding_orders(request.into_inner()).await?))
    }
}
