//! What happened in the shop, told to other programs as CloudEvents: as a stream that they read, and by HTTP to where they listen.
//!
//! The journal is the only source. Every change has its entry there, in the same transaction, and entries become visible in the
//! order of their sequence on every engine; so a reader who stands at a sequence misses nothing by reading on from it, at whatever replica.
//! `events` decides which entries are told and what is shown of them, `position` what a resume token means, `watch` is the stream, and `webhooks`
//! tells receivers by HTTP. News of the store only wake readers early; a reader that hears nothing looks for itself once a second.
//!
//! The service changes nothing of the shop but the list of those receivers.

mod error;
mod events;
mod filter;
mod position;
mod wake;
mod watch;
mod webhooks;

use std::sync::Arc;

use becket_api::feed::WatchEventsRequest;
use becket_api::feed::feed_service_server::{self, FeedService, FeedServiceServer};
use becket_api::feed::webhook_service_server::{self, WebhookServiceServer};
use becket_api::tokens::PageTokens;
use becket_service_kit::{Clock, FeedSettings, LimitSettings, WebhookSettings};
use becket_store::{StoreError, WebhookStore};
use tonic::service::RoutesBuilder;
use tonic::{Request, Response, Status};

use crate::wake::Wakes;
use crate::watch::EventStream;
use crate::webhooks::{Poster, Receivers, Sender, Teller};

pub use crate::webhooks::TrustError;

/// Full names of the services that are served.
pub const SERVICE_NAMES: [&str; 2] =
    [feed_service_server::SERVICE_NAME, webhook_service_server::SERVICE_NAME];

/// What the service needs.
#[derive(Clone)]
pub struct Deps {
    /// Limits of messages.
    pub limits: LimitSettings,
    /// How far back events are told, and how long a reader may rest.
    pub settings: FeedSettings,
    /// How receivers are told by HTTP.
    pub webhooks: WebhookSettings,
    /// Where the journal and the receivers are.
    pub store: Arc<dyn WebhookStore>,
    /// The time of day.
    pub clock: Arc<dyn Clock>,
    /// Tells this process from other replicas, and from itself before a restart.
    pub replica: String,
}

/// Why the service does not start.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// The store does not answer.
    #[error("the store does not answer: {0}")]
    Store(#[from] StoreError),
    /// Certificates of receivers cannot be checked.
    #[error(transparent)]
    Trust(#[from] TrustError),
}

/// What the handlers share.
struct Feed {
    store: Arc<dyn WebhookStore>,
    clock: Arc<dyn Clock>,
    settings: FeedSettings,
    tokens: PageTokens,
    source: String,
    wakes: Wakes,
    /// Tells receivers for as long as the service runs.
    _sender: Sender,
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

/// Puts the service beside others on one listener, and begins to tell receivers; [`SERVICE_NAMES`] are then to be served by it.
///
/// # Errors
/// [`StartError`].
pub async fn register(routes: &mut RoutesBuilder, deps: Deps) -> Result<(), StartError> {
    let Deps { limits, settings, webhooks, store, clock, replica } = deps;
    let key = store.token_key().await?;
    let (tokens, source) = (PageTokens::new(key), events::source_of(&key));
    let wakes = Wakes::start(Arc::clone(&store) as _);
    let teller = Teller {
        store: Arc::clone(&store),
        clock: Arc::clone(&clock),
        poster: Poster::new(&webhooks)?,
        settings: webhooks,
        source: source.clone(),
        holder: replica,
    };
    let sender = Sender::start(teller, wakes.reader());
    let receivers =
        Receivers { store: Arc::clone(&store), clock: Arc::clone(&clock), tokens: tokens.clone() };
    let feed = Feed { store, clock, settings, tokens, source, wakes, _sender: sender };
    let (received, sent) = (limits.max_request_bytes, limits.max_response_bytes);
    let feed = FeedServiceServer::new(Handlers(Arc::new(feed)));
    let receivers = WebhookServiceServer::new(receivers);
    routes
        .add_service(feed.max_decoding_message_size(received).max_encoding_message_size(sent))
        .add_service(receivers.max_decoding_message_size(received).max_encoding_message_size(sent));
    Ok(())
}
