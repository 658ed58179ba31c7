//! The composition root: puts the services together. `store.rs` beside it names the engines.

use std::{
    net::{Ipv4Addr, SocketAddr, SocketAddrV4},
    path::Path,
    sync::Arc,
};

use becket_service_kit::{
    Clock, Gate, LocalDoor, Protection, RemoteService, SecuritySettings, ServerParts, ServiceLink, Settings,
    SystemClock, Upkeep, init_telemetry, local_service, serve,
};
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

/// Binds an address. One that can be reached from other machines needs encryption and authentication.
///
/// # Errors
/// [`Failure::Usage`] for an address that others can reach unprotected, [`Failure::Start`] for one that is in use.
pub(crate) async fn bind(address: SocketAddr, security: &SecuritySettings) -> Result<TcpListener, Failure> {
    if let Some(lacking) = security.lacking().filter(|_| !address.ip().is_loopback()) {
        return Err(Failure::Usage(format!(
            "{address} can be reached from other machines: in the settings, {lacking}; or listen on a loopback address \
             such as 127.0.0.1:{}",
            address.port()
        )));
    }
    TcpListener::bind(address)
        .await
        .map_err(|error| Failure::Start(format!("{address} cannot be listened on: {error}")))
}

/// Binds the loopback address, or a free port beside it.
///
/// # Errors
/// As [`bind`].
pub(crate) async fn bind_near(address: SocketAddr) -> Result<TcpListener, Failure> {
    match bind(address, &SecuritySettings::OPEN).await {
        Err(Failure::Start(_)) => bind(SocketAddr::new(address.ip(), 0), &SecuritySettings::OPEN).await,
        other => other,
    }
}

/// A server that runs.
#[derive(Debug)]
pub(crate) struct Server {
    address: SocketAddr,
    encrypted: bool,
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
    let (link, local) = way_to_stringing(services, &settings)?;
    let (routes, service_names) = routes(services, &settings, &store, link).await?;
    let protection = protection(settings.security).await?;
    let encrypted = protection.tls.is_some();
    let parts = ServerParts {
        routes,
        listener,
        service_names,
        limits: settings.limits,
        protection,
        local,
        shutdown: shutdown.clone(),
    };
    let upkeep = settings
        .store
        .answer_retention
        .map(|kept| Upkeep::start(store.journal(), Arc::new(SystemClock), kept));
    let serving = tokio::spawn(async move {
        let ended = serve(parts).await.map_err(cannot_serve);
        drop(upkeep);
        store.close().await;
        ended
    });
    Ok(Server { address, encrypted, shutdown, serving })
}

/// How the cutting service reaches the stringing service: without a socket if both run here.
fn way_to_stringing(
    services: Services,
    settings: &Settings,
) -> Result<(ServiceLink, Option<LocalDoor>), Failure> {
    if services == Services::Both {
        let (service, door) = local_service();
        return Ok((ServiceLink::Local(service), Some(door)));
    }
    let cutting = &settings.cutting;
    let (ca, token) = (cutting.stringing_ca.as_ref(), cutting.stringing_token.as_ref());
    let remote = RemoteService::read(cutting.stringing_endpoint.clone(), ca, token).map_err(cannot_serve)?;
    Ok((ServiceLink::Remote(remote), None))
}

async fn protection(security: SecuritySettings) -> Result<Protection, Failure> {
    let gate = match security.access {
        None => None,
        Some(access) => Some(Gate::load(access, Arc::new(SystemClock)).await.map_err(cannot_serve)?),
    };
    Ok(Protection { tls: security.tls, gate })
}

impl Server {
    /// Where it is reached.
    pub(crate) fn url(&self) -> String {
        format!("{}://{}", if self.encrypted { "https" } else { "http" }, self.address)
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
    pub(crate) async fn until_told_to_stop(self) -> Result<(), Failure> {
        self.until(told_to_stop()?).await
    }

    /// Serves until `told` is ready, or the server fails.
    ///
    /// # Errors
    /// As [`Server::stop`].
    pub(crate) async fn until(
        mut self,
        told: impl Future<Output = Result<(), Failure>>,
    ) -> Result<(), Failure> {
        tokio::select! {
            failed = &mut self.serving => return ended(failed),
            told = told => told?,
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
    stringing: ServiceLink,
) -> Result<(tonic::service::Routes, Vec<&'static str>), Failure> {
    let clock: Arc<dyn Clock> = Arc::new(SystemClock);
    let mut routes = RoutesBuilder::default();
    becket_journal::register(&mut routes, &settings.limits, store.journal()).await.map_err(cannot_serve)?;
    let mut names = vec![becket_journal::SERVICE_NAME];
    let deps = becket_feed::Deps {
        limits: settings.limits.clone(),
        settings: settings.feed.clone(),
        webhooks: settings.webhooks.clone(),
        store: store.webhooks(),
        clock: Arc::clone(&clock),
        replica: uuid::Uuid::new_v4().to_string(),
    };
    becket_feed::register(&mut routes, deps).await.map_err(cannot_serve)?;
    names.extend(becket_feed::SERVICE_NAMES);
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
            stringing,
        };
        becket_cutting::register(&mut routes, deps).await.map_err(cannot_serve)?;
        names.extend(becket_cutting::SERVICE_NAMES);
    }
    Ok((routes.routes(), names))
}

/// Catches the signals that end a process, from now on: interrupt, and terminate where there is such a thing. What is returned waits for
/// one.
///
/// # Errors
/// [`Failure::Start`] if they cannot be caught.
pub(crate) fn told_to_stop() -> Result<impl Future<Output = Result<(), Failure>>, Failure> {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        let mut interrupt = signal(SignalKind::interrupt()).map_err(cannot_serve)?;
        let mut terminate = signal(SignalKind::terminate()).map_err(cannot_serve)?;
        Ok(async move {
            tokio::select! {
                _ = interrupt.recv() => Ok(()),
                _ = terminate.recv() => Ok(()),
            }
        })
    }
    #[cfg(not(unix))]
    Ok(async { tokio::signal::ctrl_c().await.map_err(cannot_serve) })
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
