//! The composition root: puts the services together. `store.rs` beside it names the engines.

use std::{
    net::{Ipv4Addr, SocketAddr, SocketAddrV4},
    path::Path,
    sync::Arc,
};

use becket_service_kit::{Clock, ServerParts, Settings, SystemClock, init_telemetry, serve};
use tokio::{net::TcpListener, task::JoinHandle};
use tokio_util::sync::CancellationToken;
use tonic::service::RoutesBuilder;

use crate::{errors::Failure, store::Store};

/// Where both services listen if nothing else is said; the default of `--server` is the same.
pub(crate) const DEFAULT_LISTEN: SocketAddr = SocketAddr::V4(SocketAddrV4::new(Ipv4Addr::LOCALHOST, 7420));

/// The address of a server on [`DEFAULT_LISTEN`].
pub(crate) fn default_url() -> String {
    format!("http://{DEFAULT_LISTEN}")
}

/// Which services run in this process.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Services {
    /// Both, on one listener.
    Both,
    /// The stringing service alone.
    Stringing,
    /// The cutting service alone.
    Cutting,
}

/// Reads the settings: compiled in, from a file, from the environment.
///
/// # Errors
/// [`Failure::Start`] with every problem.
pub(crate) fn settings(file: Option<&Path>) -> Result<Settings, Failure> {
    Settings::load(file, std::env::vars()).map_err(cannot_serve)
}

/// The settings of the tour: those compiled in, whatever the environment says.
///
/// # Errors
/// [`Failure::Start`].
pub(crate) fn quiet_settings() -> Result<Settings, Failure> {
    Settings::load(None, []).map_err(cannot_serve)
}

/// Sets up the log of the process.
///
/// # Errors
/// [`Failure::Start`] for a wrong filter.
pub(crate) fn log(settings: &Settings) -> Result<(), Failure> {
    init_telemetry(&settings.telemetry).map_err(cannot_serve)
}

/// Binds an address of this machine; the connection is not encrypted, so others are refused.
///
/// # Errors
/// [`Failure::Usage`] for an address that others can reach, [`Failure::Start`] for one that is in use.
pub(crate) async fn bind(address: SocketAddr) -> Result<TcpListener, Failure> {
    if !address.ip().is_loopback() {
        return Err(Failure::Usage(format!(
            "{address} can be reached from other machines, and the connection is not encrypted: listen on a loopback \
             address such as 127.0.0.1:{}",
            address.port()
        )));
    }
    TcpListener::bind(address)
        .await
        .map_err(|error| Failure::Start(format!("{address} cannot be listened on: {error}")))
}

/// Binds the address, or a free port beside it.
///
/// # Errors
/// As [`bind`].
pub(crate) async fn bind_near(address: SocketAddr) -> Result<TcpListener, Failure> {
    match bind(address).await {
        Err(Failure::Start(_)) => bind(SocketAddr::new(address.ip(), 0)).await,
        other => other,
    }
}

/// A server that runs.
#[derive(Debug)]
pub(crate) struct Server {
    address: SocketAddr,
    shutdown: CancellationToken,
    serving: JoinHandle<Result<(), Failure>>,
}

/// Opens the data and starts to serve.
///
/// # Errors
/// [`Failure::Start`].
pub(crate) async fn start(
    services: Services,
    settings: Settings,
    data: &Path,
    listener: TcpListener,
) -> Result<Server, Failure> {
    let address = listener.local_addr().map_err(cannot_serve)?;
    let store = Store::open(data, &settings).await?;
    let shutdown = CancellationToken::new();
    let endpoint = match services {
        Services::Both => format!("http://{address}"),
        Services::Stringing | Services::Cutting => settings.cutting.stringing_endpoint.clone(),
    };
    let (routes, service_names) = routes(services, &settings, &store, endpoint).await?;
    let parts =
        ServerParts { routes, listener, service_names, limits: settings.limits, shutdown: shutdown.clone() };
    let serving = tokio::spawn(async move {
        let ended = serve(parts).await.map_err(cannot_serve);
        store.close().await;
        ended
    });
    Ok(Server { address, shutdown, serving })
}

impl Server {
    /// Where it is reached.
    pub(crate) fn url(&self) -> String {
        format!("http://{}", self.address)
    }

    /// Stops it and waits until calls under way have ended.
    ///
    /// # Errors
    /// [`Failure::Start`] if it failed while it ran.
    pub(crate) async fn stop(self) -> Result<(), Failure> {
        self.shutdown.cancel();
        ended(self.serving.await)
    }

    /// Serves until the process is interrupted or terminated, or the server fails.
    ///
    /// # Errors
    /// As [`Server::stop`].
    pub(crate) async fn until_told_to_stop(mut self) -> Result<(), Failure> {
        tokio::select! {
            failed = &mut self.serving => return ended(failed),
            told = told_to_stop() => told?,
        }
        self.stop().await
    }
}

fn ended(joined: Result<Result<(), Failure>, tokio::task::JoinError>) -> Result<(), Failure> {
    joined.unwrap_or_else(|error| Err(cannot_serve(error)))
}

/// The handlers of the services that run here, and their full names.
async fn routes(
    services: Services,
    settings: &Settings,
    store: &Store,
    stringing_endpoint: String,
) -> Result<(tonic::service::Routes, Vec<&'static str>), Failure> {
    let clock: Arc<dyn Clock> = Arc::new(SystemClock);
    let mut routes = RoutesBuilder::default();
    becket_journal::register(&mut routes, &settings.limits, store.journal()).await.map_err(cannot_serve)?;
    let mut names = vec![becket_journal::SERVICE_NAME];
    if services != Services::Cutting {
        let deps = becket_stringing::Deps {
            limits: settings.limits.clone(),
            store: store.stringing(),
            clock: Arc::clone(&clock),
        };
        becket_stringing::register(&mut routes, deps).await.map_err(cannot_serve)?;
        names.extend(becket_stringing::SERVICE_NAMES);
    }
    if services != Services::Stringing {
        let deps = becket_cutting::Deps {
            limits: settings.limits.clone(),
            store: store.cutting(),
            clock,
            stringing_endpoint,
        };
        becket_cutting::register(&mut routes, deps).await.map_err(cannot_serve)?;
        names.extend(becket_cutting::SERVICE_NAMES);
    }
    Ok((routes.routes(), names))
}

/// Waits for the signals that end a process: interrupt, and terminate where there is such a thing.
async fn told_to_stop() -> Result<(), Failure> {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        let mut terminate = signal(SignalKind::terminate()).map_err(cannot_serve)?;
        tokio::select! {
            interrupted = tokio::signal::ctrl_c() => interrupted.map_err(cannot_serve),
            _ = terminate.recv() => Ok(()),
        }
    }
    #[cfg(not(unix))]
    tokio::signal::ctrl_c().await.map_err(cannot_serve)
}

/// An error that keeps the server from running, with its causes.
pub(crate) fn cannot_serve(error: impl std::error::Error) -> Failure {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(error) = cause {
        let more = error.to_string();
        // Some libraries repeat the cause in their own text.
        if !text.contains(&more) {
            text = format!("{text}: {more}");
        }
        cause = error.source();
    }
    Failure::Start(text)
}
