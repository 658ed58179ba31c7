//! A gRPC server with safe defaults.

use std::sync::Arc;

use tokio::net::TcpListener;
use tokio_util::sync::CancellationToken;
use tonic::service::Routes;
use tonic::transport::Server;
use tonic_health::ServingStatus;
use tonic_health::server::HealthReporter;

use crate::access::{Files, Gate};
use crate::admission::Admission;
use crate::edge::{EdgeLayer, EdgeRules};
use crate::link::LocalDoor;
use crate::listening::{Listening, TlsError, TlsKeys, connections};
use crate::settings::{LimitSettings, TlsSettings};

/// Largest set of headers of a call, in bytes.
const MAX_HEADER_BYTES: u32 = 16 * 1024;

/// Streams that a client may have reset before the server has seen them.
const MAX_RESET_STREAMS: usize = 20;
/// How often certificates are looked at where no settings of callers say it.
const LOOK: std::time::Duration = std::time::Duration::from_secs(5);

/// What a server is made of.
#[derive(Debug)]
pub struct ServerParts {
    /// The services. Each must have its message limits set from [`LimitSettings`].
    pub routes: Routes,
    /// The bound listener.
    pub listener: TcpListener,
    /// Full names of the services, such as `becket.stringing.v1.WireService`, for health and reflection.
    pub service_names: Vec<&'static str>,
    /// Limits.
    pub limits: LimitSettings,
    /// Who may connect and call.
    pub protection: Protection,
    /// Where services of the same process come in, if there are any.
    pub local: Option<LocalDoor>,
    /// Cancelled when the server is to stop.
    pub shutdown: CancellationToken,
}

/// What keeps out whoever should not come in.
#[derive(Debug, Default)]
pub struct Protection {
    /// Certificates; absent, connections are plain.
    pub tls: Option<TlsSettings>,
    /// The check of callers; absent, whoever can connect may call everything.
    pub gate: Option<Gate>,
}

/// Why a server did not start or ended in failure.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// The descriptors for reflection are damaged.
    #[error("reflection cannot be set up: {0}")]
    Reflection(#[from] tonic_reflection::server::Error),
    /// Certificates cannot be used.
    #[error(transparent)]
    Tls(#[from] TlsError),
    /// The transport failed.
    #[error("the server failed: {0}")]
    Transport(#[from] tonic::transport::Error),
}

/// Serves until `shutdown` is cancelled and all calls have ended, or the grace period is over.
///
/// Besides the given routes it serves health (the named services and the server as a whole, "", say SERVING
/// from the moment calls are taken, and NOT_SERVING from the beginning of the shutdown) and reflection in its
/// versions v1 and v1alpha.
///
/// At shutdown the listener is closed, streams that wait for news end with UNAVAILABLE, calls being worked on
/// go on for [`LimitSettings::shutdown_grace`]; what is then still open is cut off.
///
/// # Errors
/// [`ServeError`].
pub async fn serve(parts: ServerParts) -> Result<(), ServeError> {
    let ServerParts { routes, listener, service_names, limits, protection, local, shutdown } = parts;
    let tls = protection.tls.map(TlsKeys::load).transpose()?.map(Arc::new);
    let gate = protection.gate.map(Arc::new);
    // The library's reporter says SERVING for "" by itself.
    let (health, health_service) = tonic_health::server::health_reporter();
    report(&health, &service_names, ServingStatus::NotServing).await;
    let routes = with_reflection(routes.add_service(health_service), &service_names)?;
    let draining = CancellationToken::new();
    let cut = CancellationToken::new();
    // Whatever ends the serving, no connection and no task outlives it.
    let _cut_at_end = cut.clone().drop_guard();
    keep_fresh(gate.clone(), tls.clone(), &cut);
    let rules = Arc::new(EdgeRules {
        admission: Admission::new(limits.max_concurrent_requests, limits.max_requests_per_caller),
        gate,
        default_deadline: limits.default_deadline,
        longest_deadline: limits.longest_deadline,
        draining: draining.clone(),
    });
    let listening = Listening {
        tls,
        patience: limits.handshake_timeout,
        most: limits.max_connections,
        most_of_one: limits.max_connections_per_address,
    };
    let connections = connections(listening, listener, local, shutdown.clone(), cut.clone());
    report(&health, &service_names, ServingStatus::Serving).await;
    let serving = builder(&limits)
        .layer(EdgeLayer(rules))
        .add_routes(routes)
        .serve_with_incoming_shutdown(connections, draining.clone().cancelled_owned());
    // Beside the serving and not within: the library forgets its signal when there are no more connections to take, which may come first.
    let hard_stop = async {
        shutdown.cancelled().await;
        report(&health, &service_names, ServingStatus::NotServing).await;
        draining.cancel();
        tokio::time::sleep(limits.shutdown_grace).await;
    };
    tokio::select! {
        ended = serving => ended.map_err(ServeError::from),
        () = hard_stop => {
            tracing::warn!(grace = ?limits.shutdown_grace, "calls were cut off at the end of the grace period");
            Ok(())
        }
    }
}

/// The transport with its limits.
fn builder(limits: &LimitSettings) -> Server {
    Server::builder()
        .max_concurrent_streams(limits.max_streams_per_connection)
        .http2_keepalive_interval(Some(limits.keepalive_interval))
        .http2_keepalive_timeout(Some(limits.keepalive_timeout))
        .http2_max_header_list_size(MAX_HEADER_BYTES)
        // A client that opens streams and resets them at once makes work without waiting for it (CVE-2023-44487); one that
        // has this many such streams unanswered is disconnected.
        .http2_max_pending_accept_reset_streams(Some(MAX_RESET_STREAMS))
        .max_connection_age(limits.connection_age)
}

/// Reports one status for all services and for the server as a whole.
async fn report(health: &HealthReporter, service_names: &[&'static str], status: ServingStatus) {
    health.set_service_status("", status).await;
    for name in service_names {
        health.set_service_status(name, status).await;
    }
}

/// Adds reflection in both versions; it lists only the services that this server has.
fn with_reflection(routes: Routes, service_names: &[&'static str]) -> Result<Routes, ServeError> {
    let configure = || {
        service_names.iter().fold(
            tonic_reflection::server::Builder::configure()
                .register_encoded_file_descriptor_set(becket_api::DESCRIPTORS)
                .register_encoded_file_descriptor_set(tonic_health::pb::FILE_DESCRIPTOR_SET)
                .with_service_name("grpc.health.v1.Health"),
            |builder, name| builder.with_service_name(*name),
        )
    };
    Ok(routes.add_service(configure().build_v1()?).add_service(configure().build_v1alpha()?))
}

/// Reads tokens, keys and certificates again when they change, until `end` is cancelled.
fn keep_fresh(gate: Option<Arc<Gate>>, tls: Option<Arc<TlsKeys>>, end: &CancellationToken) {
    let mut look = LOOK;
    if let Some(gate) = gate {
        look = gate.reload_interval();
        let end = end.clone();
        tokio::spawn(async move { end.run_until_cancelled(gate.keep_fresh()).await });
    }
    if let Some(tls) = tls {
        let end = end.clone();
        tokio::spawn(async move { end.run_until_cancelled(keep_certificates(&tls, look)).await });
    }
}

async fn keep_certificates(tls: &TlsKeys, look: std::time::Duration) {
    let mut files = Files::of(tls.files());
    loop {
        tokio::time::sleep(look).await;
        if files.changed() {
            match tls.reload() {
                Ok(()) => tracing::info!("certificates were read again"),
                Err(error) => tracing::error!(%error, "certificates cannot be used; the former ones stay"),
            }
        }
    }
}
