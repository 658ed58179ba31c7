//! Serving the service until it is told to stop.

use std::sync::Arc;

use becket_api::cutting::coil_service_server::{self, CoilServiceServer};
use becket_api::cutting::cut_list_service_server::{self, CutListServiceServer};
use becket_api::cutting::plan_service_server::{self, PlanServiceServer};
use becket_api::cutting::purchasing_service_server::{self, PurchasingServiceServer};
use becket_api::cutting::record_service_server::{self, RecordServiceServer};
use becket_api::cutting::station_service_server::{self, StationServiceServer};
use becket_service_kit::{
    Clock, LimitSettings, LinkError, Protection, ServeError, ServerParts, ServiceLink, serve,
};
use becket_store::StoreError;
use tokio::net::TcpListener;
use tokio_util::sync::CancellationToken;
use tonic::service::{Routes, RoutesBuilder};

use crate::app::{App, Storage};
use crate::grpc::Handlers;
use crate::upstream::StringingClient;

/// Full names of the services that are served.
pub const SERVICE_NAMES: [&str; 6] = [
    coil_service_server::SERVICE_NAME,
    station_service_server::SERVICE_NAME,
    cut_list_service_server::SERVICE_NAME,
    plan_service_server::SERVICE_NAME,
    purchasing_service_server::SERVICE_NAME,
    record_service_server::SERVICE_NAME,
];

/// Largest request and answer of PlanCuts in bytes, whatever the settings allow for other calls; its proto file says so.
const PLAN_MESSAGE_BYTES: usize = 256 << 20;

/// What the service needs besides a listener.
#[derive(Clone)]
pub struct Deps {
    /// Limits of messages, calls and time.
    pub limits: LimitSettings,
    /// Where everything is kept.
    pub store: Arc<dyn Storage>,
    /// The time of day.
    pub clock: Arc<dyn Clock>,
    /// How the stringing service is reached. It need not be there yet.
    pub stringing: ServiceLink,
}

/// What the service is made of when it has a process of its own.
pub struct Parts {
    /// What it needs.
    pub deps: Deps,
    /// The bound listener.
    pub listener: TcpListener,
    /// Cancelled when the service is to stop.
    pub shutdown: CancellationToken,
}

/// Why the service did not start or ended in failure.
#[derive(Debug, thiserror::Error)]
pub enum RunError {
    /// The store does not answer.
    #[error("the store does not answer: {0}")]
    Store(#[from] StoreError),
    /// There is no way to the stringing service.
    #[error("the stringing service: {0}")]
    Link(#[from] LinkError),
    /// The server failed.
    #[error(transparent)]
    Serve(#[from] ServeError),
}

/// Puts the service beside others on one listener. Health and reflection are told of it by [`SERVICE_NAMES`].
///
/// # Errors
/// [`RunError::Store`], [`RunError::Link`].
pub async fn register(routes: &mut RoutesBuilder, deps: Deps) -> Result<(), RunError> {
    let Deps { limits, store, clock, stringing } = deps;
    store.check().await?;
    let stringing = StringingClient::lazy(&stringing, &limits)?;
    let app = App::new(store, clock, stringing, limits.max_computations).await?;
    let handlers = Handlers::new(Arc::new(app));
    let (received, sent) = (limits.max_request_bytes, limits.max_response_bytes);
    macro_rules! limited {
        ($server:ident) => {
            $server::new(handlers.clone()).max_decoding_message_size(received).max_encoding_message_size(sent)
        };
    }
    // Two million pieces with names of their own need more than any other message.
    let plans = PlanServiceServer::new(handlers.clone())
        .max_decoding_message_size(received.max(PLAN_MESSAGE_BYTES))
        .max_encoding_message_size(sent.max(PLAN_MESSAGE_BYTES));
    routes
        .add_service(limited!(CoilServiceServer))
        .add_service(limited!(StationServiceServer))
        .add_service(limited!(CutListServiceServer))
        .add_service(plans)
        .add_service(limited!(PurchasingServiceServer))
        .add_service(limited!(RecordServiceServer));
    Ok(())
}

/// Serves this service and the journal until `shutdown` is cancelled and all calls have ended, or the grace period is over. Health says SERVING only
/// after the store has answered; whether the stringing service answers is told by each call that needs it.
///
/// # Errors
/// [`RunError`].
pub async fn run(parts: Parts) -> Result<(), RunError> {
    let Parts { deps, listener, shutdown } = parts;
    let limits = deps.limits.clone();
    let mut routes = Routes::builder();
    becket_journal::register(&mut routes, &limits, Arc::clone(&deps.store) as _).await?;
    register(&mut routes, deps).await?;
    let service_names = [&SERVICE_NAMES[..], &[becket_journal::SERVICE_NAME]].concat();
    let routes = routes.routes();
    Ok(serve(ServerParts {
        routes,
        listener,
        service_names,
        limits,
        protection: Protection::default(),
        local: None,
        shutdown,
    })
    .await?)
}
