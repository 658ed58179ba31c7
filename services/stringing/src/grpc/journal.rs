//! The journal over gRPC.

use becket_api::journal::journal_service_server::JournalService;
use becket_api::journal::{ListEntriesRequest, ListEntriesResponse};
use tonic::{Request, Response, Status};

use super::Handlers;

#[tonic::async_trait]
impl JournalService for Handlers {
    async fn list_entries(
        &self,
        request: Request<ListEntriesRequest>,
    ) -> Result<Response<ListEntriesResponse>, Status> {
        Ok(Response::new(self.app.list_entries(request.into_inner()).await?))
    }
}
