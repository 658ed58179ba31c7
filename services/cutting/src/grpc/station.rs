//! Stations over gRPC.

use becket_api::cutting::station_service_server::StationService;
use becket_api::cutting::{
    GetStationRequest, GetStationResponse, ListStationsRequest, ListStationsResponse, SaveStationRequest,
    SaveStationResponse, UnmountCoilRequest, UnmountCoilResponse,
};
use becket_service_kit::CallContext;
use tonic::{Request, Response, Status};

use super::Handlers;

#[tonic::async_trait]
impl StationService for Handlers {
    async fn save_station(
        &self,
        request: Request<SaveStationRequest>,
    ) -> Result<Response<SaveStationResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.save_station(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn get_station(
        &self,
        request: Request<GetStationRequest>,
    ) -> Result<Response<GetStationResponse>, Status> {
        Ok(Response::new(self.app.get_station(request.into_inner()).await?))
    }

    async fn unmount_coil(
        &self,
        request: Request<UnmountCoilRequest>,
    ) -> Result<Response<UnmountCoilResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.unmount_coil(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn list_stations(
        &self,
        request: Request<ListStationsRequest>,
    ) -> Result<Response<ListStationsResponse>, Status> {
        Ok(Response::new(self.app.list_stations(request.into_inner()).await?))
    }
}
