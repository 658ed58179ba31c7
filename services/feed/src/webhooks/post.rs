//! Posting one event.

use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use becket_service_kit::WebhookSettings;
use http::header::{CONTENT_TYPE, HOST, RETRY_AFTER, USER_AGENT};
use http::{Request, StatusCode};
use http_body_util::Full;
use hyper::body::Bytes;
use hyper::client::conn::http1;
use hyper_util::rt::TokioIo;
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, ServerName};
use rustls::{ClientConfig, RootCertStore};
use rustls_platform_verifier::BuilderVerifierExt as _;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpStream;
use tokio::task::JoinSet;
use tokio_rustls::TlsConnector;

use super::target::Target;

/// The header of signatures.
const SIGNATURE: &str = "becket-signature";

/// Why events cannot be posted over TLS.
#[derive(Debug, thiserror::Error)]
pub enum TrustError {
    /// The file of authorities.
    #[error("webhooks.ca: {path} has no certificates that can be used: {why}")]
    File {
        /// The file.
        path: String,
        /// What is wrong.
        why: String,
    },
    /// The system's authorities, or the library.
    #[error("certificates of receivers cannot be checked: {0}")]
    Tls(#[from] rustls::Error),
}

/// What a receiver answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Reply {
    pub(crate) status: StatusCode,
    /// How long it asks to wait.
    pub(crate) retry_after: Option<Duration>,
}

/// Posts events, each on a connection of its own.
pub(crate) struct Poster {
    tls: TlsConnector,
    timeout: Duration,
    private_allowed: bool,
}

trait Stream: AsyncRead + AsyncWrite + Unpin + Send {}

impl<T: AsyncRead + AsyncWrite + Unpin + Send> Stream for T {}

impl Poster {
    pub(crate) fn new(settings: &WebhookSettings) -> Result<Self, TrustError> {
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        let builder = ClientConfig::builder_with_provider(provider).with_safe_default_protocol_versions()?;
        let config = match &settings.ca {
            None => builder.with_platform_verifier()?.with_no_client_auth(),
            Some(path) => builder.with_root_certificates(roots(path)?).with_no_client_auth(),
        };
        Ok(Self {
            tls: TlsConnector::from(Arc::new(config)),
            timeout: settings.timeout,
            private_allowed: settings.allow_private_addresses,
        })
    }

    /// Posts, and returns what was answered before the time was over; else why there is no answer. Redirections are answers and not followed, and the
    /// body of an answer is not read.
    pub(crate) async fn post(
        &self,
        target: &Target,
        signature: &str,
        body: Vec<u8>,
    ) -> Result<Reply, String> {
        match tokio::time::timeout(self.timeout, self.exchange(target, signature, body)).await {
            Ok(reply) => reply,
            Err(_) => Err(format!("no answer within {} ms", self.timeout.as_millis())),
        }
    }

    async fn exchange(&self, target: &Target, signature: &str, body: Vec<u8>) -> Result<Reply, String> {
        let stream = self.connect(target).await?;
        let (mut sender, connection) =
            http1::handshake(TokioIo::new(stream)).await.map_err(|error| error.to_string())?;
        // Ends with this call, however it ends.
        let mut driver = JoinSet::new();
        driver.spawn(connection);
        let request = Request::post(target.path.as_str())
            .header(HOST, &target.authority)
            .header(CONTENT_TYPE, becket_api::cloud_event::MEDIA_TYPE)
            .header(USER_AGENT, "becket")
            .header(SIGNATURE, signature)
            .body(Full::new(Bytes::from(body)))
            .map_err(|error| error.to_string())?;
        let answer = sender.send_request(request).await.map_err(|error| format!("no answer: {error}"))?;
        let retry_after =
            answer.headers().get(RETRY_AFTER).and_then(|value| value.to_str().ok()?.parse().ok());
        Ok(Reply { status: answer.status(), retry_after: retry_after.map(Duration::from_secs) })
    }

    async fn connect(&self, target: &Target) -> Result<Box<dyn Stream>, String> {
        let address = self.address(target).await?;
        let stream = TcpStream::connect(address).await.map_err(|error| format!("no connection: {error}"))?;
        if !target.encrypted {
            return Ok(Box::new(stream));
        }
        let name = ServerName::try_from(target.host.clone()).map_err(|error| error.to_string())?;
        let stream = self.tls.connect(name, stream).await.map_err(|error| format!("no TLS: {error}"))?;
        Ok(Box::new(stream))
    }

    /// The first address to which the host leads and that may be reached.
    async fn address(&self, target: &Target) -> Result<SocketAddr, String> {
        let found = tokio::net::lookup_host((target.host.as_str(), target.port)).await;
        let mut found = found.map_err(|error| format!("the host is not found: {error}"))?;
        found
            .find(|address| target.may_reach(address.ip(), self.private_allowed))
            .ok_or_else(|| "the host leads only to addresses that must not be called".to_owned())
    }
}

fn roots(path: &Path) -> Result<RootCertStore, TrustError> {
    let fault = |why: String| TrustError::File { path: path.display().to_string(), why };
    let mut roots = RootCertStore::empty();
    for certificate in CertificateDer::pem_file_iter(path).map_err(|error| fault(error.to_string()))? {
        roots.add(certificate.map_err(|error| fault(error.to_string()))?)?;
    }
    if roots.is_empty() {
        return Err(fault("there are none in it".to_owned()));
    }
    Ok(roots)
}
