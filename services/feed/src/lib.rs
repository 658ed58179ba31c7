//! The feed: what happened in the shop, told to other programs as CloudEvents.
//!
//! The journal is the feed's only source. Every change has its entry there, in the same transaction, and entries become visible in the
//! order of their sequence on every engine; so a reader who stands at a sequence misses nothing by reading on from it, at whatever replica.
//! `events` decides which entries are told and what is shown of them, `position` what a resume token means, and `watch` is the stream.
//! News of the store only wake readers early; a reader that hears nothing looks for itself once a second.
//!
//! The service changes nothing of the shop.

mod error;
mod events;
mod filter;
mod position;
mod wake;
mod watch;

use std::sync::Arc;

use becket_api::feed::WatchEventsRequest;
use becket_api::feed::feed_service_server::{self, FeedService, FeedServiceServer};
use becket_api::tokens::PageTokens;
use becket_service_kit::{Clock, FeedSettings, LimitSettings};
use becket_store::{JournalStore, StoreError};
use tonic::service::RoutesBuilder;
use tonic::{Request, Response, Status};

use crate::wake::Wakes;
use crate::watch::EventStream;

/// Full names of the services that are served.
pub const SERVICE_NAMES: [&str; 1] = [feed_service_server::SERVICE_NAME];

/// What the service needs.
#[derive(Clone)]
pub struct Deps {
    /// Limits of messages.
    pub limits: LimitSettings,
    /// How far back events are told, and how long a reader may rest.
    pub settings: FeedSettings,
    /// Where the journal is.
    pub store: Arc<dyn JournalStore>,
    /// The time of day.
    pub clock: Arc<dyn Clock>,
}

/// What the handlers share.
struct Feed {
    store: Arc<dyn JournalStore>,
    clock: Arc<dyn Clock>,
    settings: FeedSettings,
    tokens: PageTokens,
    source: String,
    wakes: Wakes,
}

/// The handlers.
struct Handlers(Arc<Feed>);

#[tonic::async_trait]
impl FeedService for Handlers {
    type WatchEventsStream = EventStream;

    async fn watch_events(
        &self,
        request: Request<WatchEventsRequest>,
    ) -> Result<Response<EventStream>, Status> {
        Ok(Response::new(Arc::clone(&self.0).watch_events(request.into_inner()).await?))
    }
}

/// Puts the service beside others on one listener; [`SERVICE_NAMES`] are then to be served by it.
///
/// # Errors
/// [`StoreError`] if the store does not answer.
pub async fn register(routes: &mut RoutesBuilder, deps: Deps) -> Result<(), StoreError> {
    let Deps { limits, settings, store, clock } = deps;
    let key = store.token_key().await?;
    let feed = Feed {
        tokens: PageTokens::new(key),
        source: events::source_of(&key),
        wakes: Wakes::start(Arc::clone(&store)),
        store,
        clock,
        settings,
    };
    let server = FeedServiceServer::new(Handlers(Arc::new(feed)))
        .max_decoding_message_size(limits.max_request_bytes)
        .max_encoding_message_size(limits.max_response_bytes);
    routes.add_service(server);
    Ok(())
}
