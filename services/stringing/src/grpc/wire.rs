//! The wire catalogue over gRPC.

use becket_api::stringing::wire_service_server::WireService;
use becket_api::stringing::{
    GetWireRequest, GetWireResponse, ImportWiresRequest, ImportWiresResponse, ListWiresRequest,
    ListWiresResponse, UpdateWireRequest, UpdateWireResponse,
};
use becket_service_kit::CallContext;
use tonic::{Request, Response, Status};

use super::Handlers;

#[tonic::async_trait]
impl WireService for Handlers {
    async fn import_wires(
        &self,
        request: Request<ImportWiresRequest>,
    ) -> Result<Response<ImportWiresResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.import_wires(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn update_wire(
        &self,
        request: Request<UpdateWireRequest>,
    ) -> Result<Response<UpdateWireResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.update_wire(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn get_wire(&self, request: Request<GetWireRequest>) -> Result<Response<GetWireResponse>, Status> {
        Ok(Response::new(self.app.get_wire(request.into_inner()).await?))
    }

    async fn list_wires(
        &self,
        request: Request<ListWiresRequest>,
    ) -> Result<Response<ListWiresResponse>, Status> {
        Ok(Response::new(self.app.list_wires(request.into_inner()).await?))
    }
}
