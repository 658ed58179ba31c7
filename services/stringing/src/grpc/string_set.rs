//! String sets over gRPC.

use becket_api::stringing::string_set_service_server::StringSetService;
use becket_api::stringing::{
    ComputeJobSetsRequest, ComputeJobSetsResponse, ComputePartialsRequest, ComputePartialsResponse,
    ComputeStringSetRequest, ComputeStringSetResponse, FreezeStringSetRequest, FreezeStringSetResponse,
    GetStringSetRequest, GetStringSetResponse,
};
use becket_service_kit::{CallContext, Deadline};
use futures_util::StreamExt;
use futures_util::stream::BoxStream;
use tonic::{Request, Response, Status};

use super::Handlers;
use crate::frame::message_of;
use crate::write::decode;

// The server asks for every method. Those whose answers are kept are served by `ReadyAnswers`, which sends the same answers as
// bytes; no call over the network gets to theirs here.
#[tonic::async_trait]
impl StringSetService for Handlers {
    type ComputeJobSetsStream = BoxStream<'static, Result<ComputeJobSetsResponse, Status>>;

    async fn compute_string_set(
        &self,
        request: Request<ComputeStringSetRequest>,
    ) -> Result<Response<ComputeStringSetResponse>, Status> {
        Ok(Response::new(decode(message_of(&self.app.compute_string_set(request.into_inner()).await?))?))
    }

    async fn get_string_set(
        &self,
        request: Request<GetStringSetRequest>,
    ) -> Result<Response<GetStringSetResponse>, Status> {
        Ok(Response::new(decode(message_of(&self.app.get_string_set(request.into_inner()).await?))?))
    }

    async fn freeze_string_set(
        &self,
        request: Request<FreezeStringSetRequest>,
    ) -> Result<Response<FreezeStringSetResponse>, Status> {
        let call = CallContext::of(&request)?;
        let request = request.into_inner();
        let write = self.app.freeze_string_set(&call, request.clone());
        Ok(Response::new(self.app.end(&call, request, write).await?))
    }

    async fn compute_partials(
        &self,
        request: Request<ComputePartialsRequest>,
    ) -> Result<Response<ComputePartialsResponse>, Status> {
        Ok(Response::new(self.app.compute_partials(request.into_inner()).await?))
    }

    async fn compute_job_sets(
        &self,
        request: Request<ComputeJobSetsRequest>,
    ) -> Result<Response<Self::ComputeJobSetsStream>, Status> {
        let deadline = Deadline::stated(&request);
        let app = std::sync::Arc::clone(&self.app);
        let sets = app.compute_job_sets(request.into_inner(), deadline)?;
        Ok(Response::new(sets.map(|set| Ok(decode(&set?)?)).boxed()))
    }
}
