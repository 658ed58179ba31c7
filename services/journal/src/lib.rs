//! The journal service: every change that was ever made, read page by page.
//!
//! Both services write the journal of their database and let it be read; so it is here, and whoever puts services on a
//! listener registers it once. It only reads, and knows nothing of what the entries are about.

mod changes;
mod error;
mod list_entries;

use std::sync::Arc;

use becket_api::journal::journal_service_server::{self, JournalService, JournalServiceServer};
use becket_api::journal::{ListEntriesRequest, ListEntriesResponse};
use becket_api::tokens::PageTokens;
use becket_service_kit::LimitSettings;
use becket_store::{JournalStore, StoreError};
use tonic::service::RoutesBuilder;
use tonic::{Request, Response, Status};

/// Full name of the service.
pub const SERVICE_NAME: &str = journal_service_server::SERVICE_NAME;

/// Reads one journal.
struct Journal {
    store: Arc<dyn JournalStore>,
    tokens: PageTokens,
}

#[tonic::async_trait]
impl JournalService for Journal {
    async fn list_entries(
        &self,
        request: Request<ListEntriesRequest>,
    ) -> Result<Response<ListEntriesResponse>, Status> {
        Ok(Response::new(self.entries(request.into_inner()).await?))
    }
}

/// Puts the service on a listener; [`SERVICE_NAME`] is then to be served by it.
///
/// # Errors
/// [`StoreError`] if the store does not answer.
pub async fn register(
    routes: &mut RoutesBuilder,
    limits: &LimitSettings,
    store: Arc<dyn JournalStore>,
) -> Result<(), StoreError> {
    let tokens = PageTokens::new(store.token_key().await?);
    let server = JournalServiceServer::new(Journal { store, tokens })
        .max_decoding_message_size(limits.max_request_bytes)
        .max_encoding_message_size(limits.max_response_bytes);
    routes.add_service(server);
    Ok(())
}
