//! Serving the service until it is told to stop.

use std::sync::Arc;

use becket_api::stringing;
use becket_api::stringing::design_service_server::DesignServiceServer;
use becket_api::stringing::job_service_server::JobServiceServer;
use becket_api::stringing::scale_service_server::ScaleServiceServer;
use becket_api::stringing::winding_order_service_server::WindingOrderServiceServer;
use becket_api::stringing::wire_service_server::WireServiceServer;
use becket_service_kit::{Clock, LimitSettings, Protection, ServeError, ServerParts, serve};
use becket_store::StoreError;
use tokio::net::TcpListener;
use tokio_util::sync::CancellationToken;
use tonic::service::RoutesBuilder;

use crate::app::{App, Storage};
use crate::grpc::{Handlers, ReadyAnswers};

/// Full names of the services that are served.
pub const SERVICE_NAMES: [&str; 6] = [
    stringing::wire_service_server::SERVICE_NAME,
    stringing::scale_service_server::SERVICE_NAME,
    stringing::job_service_server::SERVICE_NAME,
    stringing::string_set_service_server::SERVICE_NAME,
    stringing::winding_order_service_server::SERVICE_NAME,
    stringing::design_service_server::SERVICE_NAME,
];

/// What the service is made of.
pub struct Parts {
    /// Limits of messages, calls and time.
    pub limits: LimitSettings,
    /// The bound listener.
    pub listener: TcpListener,
    /// Where everything is kept.
    pub store: Arc<dyn Storage>,
    /// The time of day.
    pub clock: Arc<dyn Clock>,
    /// Cancelled when the service is to stop.
    pub shutdown: CancellationToken,
}

/// Why the service did not start or ended in failure.
#[derive(Debug, thiserror::Error)]
pub enum RunError {
    /// The store does not answer.
    #[error("the store does not answer: {0}")]
    Store(#[from] StoreError),
    /// The server failed.
    #[error(transparent)]
    Serve(#[from] ServeError),
}

/// What the handlers work with, where other services share the listener.
pub struct Deps {
    /// Limits of messages and computations.
    pub limits: LimitSettings,
    /// Where everything is kept.
    pub store: Arc<dyn Storage>,
    /// The time of day.
    pub clock: Arc<dyn Clock>,
}

/// Serves until `shutdown` is cancelled and all calls have ended, or the grace period is over. Health says
/// SERVING only after the store has answered.
///
/// # Errors
/// [`RunError`].
pub async fn run(parts: Parts) -> Result<(), RunError> {
    let Parts { limits, listener, store, clock, shutdown } = parts;
    let mut routes = RoutesBuilder::default();
    becket_journal::register(&mut routes, &limits, Arc::clone(&store) as _).await?;
    register(&mut routes, Deps { limits: limits.clone(), store, clock }).await?;
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

/// Adds the handlers, with their message limits, to the routes of a listener; [`SERVICE_NAMES`] are then to
/// be served by it.
///
/// # Errors
/// [`RunError::Store`] if the store does not answer.
pub async fn register(routes: &mut RoutesBuilder, deps: Deps) -> Result<(), RunError> {
    let Deps { limits, store, clock } = deps;
    store.check().await?;
    let app = App::new(store, clock, limits.max_computations).await?;
    let handlers = Handlers::new(Arc::new(app));
    let (received, sent) = (limits.max_request_bytes, limits.max_response_bytes);
    macro_rules! limited {
        ($server:ident) => {
            $server::new(handlers.clone()).max_decoding_message_size(received).max_encoding_message_size(sent)
        };
    }
    routes
        .add_service(limited!(WireServiceServer))
        .add_service(limited!(ScaleServiceServer))
        .add_service(limited!(JobServiceServer))
        .add_service(ReadyAnswers::new(&handlers, &limits))
        .add_service(limited!(WindingOrderServiceServer))
        .add_service(limited!(DesignServiceServer));
    Ok(())
}
