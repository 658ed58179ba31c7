//! Designs over gRPC.

use becket_api::stringing::design_service_server::DesignService;
use becket_api::stringing::{
    CompareSetsRequest, CompareSetsResponse, ComputeBandsRequest, ComputeBandsResponse,
    ComputeStretchRequest, ComputeStretchResponse, DesignBassRequest, DesignBassResponse,
    DesignPlainWiresRequest, DesignPlainWiresResponse, ListSpecialStringsRequest, ListSpecialStringsResponse,
    MatchReplacementRequest, MatchReplacementResponse,
};
use tonic::{Request, Response, Status};

use super::Handlers;

#[tonic::async_trait]
impl DesignService for Handlers {
    async fn design_bass(
        &self,
        request: Request<DesignBassRequest>,
    ) -> Result<Response<DesignBassResponse>, Status> {
        Ok(Response::new(self.app.design_bass(request.into_inner()).await?))
    }

    async fn design_plain_wires(
        &self,
        request: Request<DesignPlainWiresRequest>,
    ) -> Result<Response<DesignPlainWiresResponse>, Status> {
        Ok(Response::new(self.app.design_plain_wires(request.into_inner()).await?))
    }

    async fn match_replacement(
        &self,
        request: Request<MatchReplacementRequest>,
    ) -> Result<Response<MatchReplacementResponse>, Status> {
        Ok(Response::new(self.app.match_replacement(request.into_inner()).await?))
    }

    async fn compare_sets(
        &self,
        request: Request<CompareSetsRequest>,
    ) -> Result<Response<CompareSetsResponse>, Status> {
        Ok(Response::new(self.app.compare_sets(request.into_inner()).await?))
    }

    async fn compute_stretch(
        &self,
        request: Request<ComputeStretchRequest>,
    ) -> Result<Response<ComputeStretchResponse>, Status> {
        Ok(Response::new(self.app.compute_stretch(request.into_inner()).await?))
    }

    async fn compute_bands(
        &self,
        request: Request<ComputeBandsRequest>,
    ) -> Result<Response<ComputeBandsResponse>, Status> {
        Ok(Response::new(self.app.compute_bands(request.into_inner()).await?))
    }

    async fn list_special_strings(
        &self,
        request: Request<ListSpecialStringsRequest>,
    ) -> Result<Response<ListSpecialStringsResponse>, Status> {
        Ok(Response::new(self.app.list_special_strings(request.into_inner()).await?))
    }
}
