//! The way from one service of becket to another.

use std::path::PathBuf;
use std::time::Duration;

use tokio::io::DuplexStream;
use tokio::sync::mpsc;
use tonic::metadata::{Ascii, MetadataValue};
use tonic::transport::{Certificate, Channel, ClientTlsConfig, Endpoint};

use crate::secret::Secret;
use crate::settings::LimitSettings;

/// Time to build up a connection.
const CONNECT_TIMEOUT: Duration = Duration::from_secs(2);
/// How often a connection is asked whether it is still there, and how long the answer may take. Shorter than for callers: a network that
/// forgot the one connection to the other service would hold up every call until this is noticed.
const ALIVE_EVERY: Duration = Duration::from_secs(2);
const ALIVE_WITHIN: Duration = Duration::from_secs(2);
/// Bytes that a connection within the process holds in each direction.
const LOCAL_BUFFER: usize = 256 * 1024;

/// How a service is reached.
#[derive(Debug, Clone)]
pub enum ServiceLink {
    /// Over the network, or another process of this machine.
    Remote(RemoteService),
    /// In the same process, without a socket.
    Local(LocalService),
}

/// A service at an address.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RemoteService {
    /// Such as `https://strings.shop.example:7421`.
    pub endpoint: String,
    /// Authority of its certificate, in PEM; absent, those of the system.
    pub ca_pem: Option<Vec<u8>>,
    /// Token that this service shows.
    pub token: Option<Secret>,
}

/// A service of the same process.
#[derive(Debug, Clone)]
pub struct LocalService(mpsc::Sender<DuplexStream>);

/// Where connections from within the process come in.
#[derive(Debug)]
pub struct LocalDoor(mpsc::Receiver<DuplexStream>);

/// Why there is no way to a service.
#[derive(Debug, thiserror::Error)]
#[error("{endpoint:?} is no address of a service: {why}")]
pub struct LinkError {
    /// The address given.
    pub endpoint: String,
    /// What is wrong with it.
    pub why: String,
}

/// A way into the server of this process, and the door where it arrives.
#[must_use]
pub fn local_service() -> (LocalService, LocalDoor) {
    let (sender, receiver) = mpsc::channel(8);
    (LocalService(sender), LocalDoor(receiver))
}

impl LocalDoor {
    /// The next connection; `None` if nobody can come any more.
    pub(crate) async fn next(&mut self) -> Option<DuplexStream> {
        self.0.recv().await
    }
}

impl ServiceLink {
    /// A service at an address, without encryption and token.
    #[must_use]
    pub fn at(endpoint: impl Into<String>) -> Self {
        Self::Remote(RemoteService { endpoint: endpoint.into(), ca_pem: None, token: None })
    }

    /// A channel that connects when it is first used, and again when the connection is lost.
    ///
    /// # Errors
    /// [`LinkError`] if the address is none, or the authority's certificate cannot be used.
    pub fn channel(&self, limits: &LimitSettings) -> Result<Channel, LinkError> {
        match self {
            Self::Remote(remote) => remote.channel(limits),
            Self::Local(local) => Ok(local.channel()),
        }
    }

    /// What goes with every call as `authorization`.
    ///
    /// # Errors
    /// [`LinkError`] if the token has characters that cannot be sent.
    pub fn authorization(&self) -> Result<Option<MetadataValue<Ascii>>, LinkError> {
        let Self::Remote(RemoteService { endpoint, token: Some(token), .. }) = self else { return Ok(None) };
        let mut value =
            MetadataValue::try_from(format!("Bearer {}", token.reveal())).map_err(|_| LinkError {
                endpoint: endpoint.clone(),
                why: "the token for it has characters that cannot be sent".to_owned(),
            })?;
        value.set_sensitive(true);
        Ok(Some(value))
    }
}

impl RemoteService {
    /// Reads the files of authority and token.
    ///
    /// # Errors
    /// [`LinkError`] that names the file.
    pub fn read(endpoint: String, ca: Option<&PathBuf>, token: Option<&PathBuf>) -> Result<Self, LinkError> {
        let read = |path: &PathBuf| {
            std::fs::read(path).map_err(|error| LinkError {
                endpoint: endpoint.clone(),
                why: format!("{}: {error}", path.display()),
            })
        };
        let ca_pem = ca.map(read).transpose()?;
        let token = token.map(read).transpose()?.map(|bytes| Secret::new(&String::from_utf8_lossy(&bytes)));
        Ok(Self { endpoint, ca_pem, token })
    }

    fn channel(&self, limits: &LimitSettings) -> Result<Channel, LinkError> {
        let error =
            |why: &dyn std::fmt::Display| LinkError { endpoint: self.endpoint.clone(), why: why.to_string() };
        let mut endpoint = Endpoint::from_shared(self.endpoint.clone())
            .map_err(|invalid| error(&invalid))?
            .connect_timeout(CONNECT_TIMEOUT)
            .tcp_nodelay(true)
            .http2_keep_alive_interval(ALIVE_EVERY.min(limits.keepalive_interval))
            .keep_alive_timeout(ALIVE_WITHIN.min(limits.keepalive_timeout))
            .keep_alive_while_idle(true);
        if self.endpoint.starts_with("https://") {
            endpoint =
                endpoint.tls_config(client_tls(self.ca_pem.as_deref())).map_err(|invalid| error(&invalid))?;
        }
        Ok(endpoint.connect_lazy())
    }
}

/// How a client checks a server: against an authority in PEM, or those of the system.
#[must_use]
pub fn client_tls(ca_pem: Option<&[u8]>) -> ClientTlsConfig {
    match ca_pem {
        Some(pem) => ClientTlsConfig::new().ca_certificate(Certificate::from_pem(pem)),
        None => ClientTlsConfig::new().with_native_roots(),
    }
}

impl LocalService {
    fn channel(&self) -> Channel {
        let way = self.0.clone();
        // The address is never looked up; the connector knows where to go.
        Endpoint::from_static("http://same-process").connect_with_connector_lazy(tower::service_fn(
            move |_: http::Uri| {
                let way = way.clone();
                async move {
                    let (here, there) = tokio::io::duplex(LOCAL_BUFFER);
                    way.send(there).await.map_err(|_| std::io::Error::other("the server has ended"))?;
                    Ok::<_, std::io::Error>(hyper_util::rt::TokioIo::new(here))
                }
            },
        ))
    }
}
