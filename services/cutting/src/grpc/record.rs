//! Records over gRPC.

use becket_api::cutting::record_service_server::RecordService;
use becket_api::cutting::{
    GetSerialRecordRequest, GetSerialRecordResponse, ListLotSerialsRequest, ListLotSerialsResponse,
};
use becket_service_kit::CallContext;
use tonic::{Request, Response, Status};

use super::Handlers;

#[tonic::async_trait]
impl RecordService for Handlers {
    async fn get_serial_record(
        &self,
        request: Request<GetSerialRecordRequest>,
    ) -> Result<Response<GetSerialRecordResponse>, Status> {
        let call = CallContext::of(&request)?;
        Ok(Response::new(self.app.get_serial_record(&call, request.into_inner()).await?))
    }

    async fn list_lot_serials(
        &self,
        request: Request<ListLotSerialsRequest>,
    ) -> Result<Response<ListLotSerialsResponse>, Status> {
        Ok(Response::new(self.app.list_lot_serials(request.into_inner()).await?))
    }
}
