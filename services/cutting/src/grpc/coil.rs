//! Coils over gRPC.

use becket_api::cutting::coil_service_server::CoilService;
use becket_api::cutting::{
    DecideCoilEvidenceRequest, DecideCoilEvidenceResponse, GetCoilRequest, GetCoilResponse,
    ListCoilEvidenceRequest, ListCoilEvidenceResponse, ListCoilsRequest, ListCoilsResponse,
    ListStockRulesRequest, ListStockRulesResponse, ReceiveCoilsRequest, ReceiveCoilsResponse,
    ReturnCoilRequest, ReturnCoilResponse, ScrapCoilRequest, ScrapCoilResponse, SetAsideCoilRequest,
    SetAsideCoilResponse, SetStockRuleRequest, SetStockRuleResponse, WeighCoilRequest, WeighCoilResponse,
};
use becket_service_kit::CallContext;
use tonic::{Request, Response, Status};

use super::Handlers;

#[tonic::async_trait]
impl CoilService for Handlers {
    async fn receive_coils(
        &self,
        request: Request<ReceiveCoilsRequest>,
    ) -> Result<Response<ReceiveCoilsResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.receive_coils(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn weigh_coil(
        &self,
        request: Request<WeighCoilRequest>,
    ) -> Result<Response<WeighCoilResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.weigh_coil(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn decide_coil_evidence(
        &self,
        request: Request<DecideCoilEvidenceRequest>,
    ) -> Result<Response<DecideCoilEvidenceResponse>, Status> {
        let call = CallContext::of(&request)?;
        Ok(Response::new(self.app.decide_coil_evidence(&call, request.into_inner()).await?))
    }

    async fn list_coil_evidence(
        &self,
        request: Request<ListCoilEvidenceRequest>,
    ) -> Result<Response<ListCoilEvidenceResponse>, Status> {
        Ok(Response::new(self.app.list_coil_evidence(request.into_inner()).await?))
    }

    async fn set_aside_coil(
        &self,
        request: Request<SetAsideCoilRequest>,
    ) -> Result<Response<SetAsideCoilResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.set_aside_coil(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn return_coil(
        &self,
        request: Request<ReturnCoilRequest>,
    ) -> Result<Response<ReturnCoilResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.return_coil(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn scrap_coil(
        &self,
        request: Request<ScrapCoilRequest>,
    ) -> Result<Response<ScrapCoilResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.scrap_coil(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn get_coil(&self, request: Request<GetCoilRequest>) -> Result<Response<GetCoilResponse>, Status> {
        Ok(Response::new(self.app.get_coil(request.into_inner()).await?))
    }

    async fn list_coils(
        &self,
        request: Request<ListCoilsRequest>,
    ) -> Result<Response<ListCoilsResponse>, Status> {
        Ok(Response::new(self.app.list_coils(request.into_inner()).await?))
    }

    async fn set_stock_rule(
        &self,
        request: Request<SetStockRuleRequest>,
    ) -> Result<Response<SetStockRuleResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.set_stock_rule(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn list_stock_rules(
        &self,
        request: Request<ListStockRulesRequest>,
    ) -> Result<Response<ListStockRulesResponse>, Status> {
        Ok(Response::new(self.app.list_stock_rules(request.into_inner()).await?))
    }
}
