//! Posting one event.

use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use async_trait::async_trait;
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

/// Finds the addresses to which a name leads at the moment.
#[async_trait]
trait Resolve: Send + Sync {
    async fn resolve(&self, host: &str, port: u16) -> std::io::Result<Vec<SocketAddr>>;
}

/// What the machine says.
struct System;

#[async_trait]
impl Resolve for System {
    async fn resolve(&self, host: &str, port: u16) -> std::io::Result<Vec<SocketAddr>> {
        Ok(tokio::net::lookup_host((host, port)).await?.collect())
    }
}

/// Posts events, each on a connection of its own.
pub(crate) struct Poster {
    resolver: Box<dyn Resolve>,
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
            resolver: Box::new(System),
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

    /// The first address to which the host leads and that may be reached. It is asked for once, and the connection is made to it and not to the
    /// name, which may lead elsewhere a moment later.
    async fn address(&self, target: &Target) -> Result<SocketAddr, String> {
        let found = self.resolver.resolve(&target.host, target.port).await;
        found
            .map_err(|error| format!("the host is not found: {error}"))?
            .into_iter()
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

#[cfg(test)]
mod tests {
    use std::collections::VecDeque;
    use std::sync::Mutex;

    use becket_e2e::receiver::Receiver;
    use becket_service_kit::Settings;

    use super::*;

    /// Answers each question with the next of these, and nothing after the last.
    struct Scripted(Mutex<VecDeque<Vec<SocketAddr>>>);

    #[async_trait]
    impl Resolve for Arc<Scripted> {
        async fn resolve(&self, _: &str, _: u16) -> std::io::Result<Vec<SocketAddr>> {
            self.0.lock().unwrap().pop_front().ok_or_else(|| std::io::Error::other("asked too often"))
        }
    }

    fn scripted(answers: &[&[SocketAddr]]) -> (Poster, Arc<Scripted>) {
        let answers = answers.iter().map(|addresses| addresses.to_vec()).collect();
        let script = Arc::new(Scripted(Mutex::new(answers)));
        let poster = Poster::new(&Settings::load(None, []).unwrap().webhooks).unwrap();
        (Poster { resolver: Box::new(Arc::clone(&script)), ..poster }, script)
    }

    fn target(url: &str) -> Target {
        Target::read(url).unwrap()
    }

    const WITHIN: Duration = Duration::from_secs(30);

    #[tokio::test]
    async fn the_address_that_was_looked_at_is_called() {
        let mut receiver = Receiver::start().await;
        let here: SocketAddr = receiver.url()["http://".len()..].trim_end_matches("/becket").parse().unwrap();
        let (private, cloud) = ("10.0.0.1:80".parse().unwrap(), "169.254.169.254:80".parse().unwrap());
        // The name leads to forbidden addresses, too, and only to those a moment later.
        let (poster, script) = scripted(&[&[cloud, private, here], &[cloud]]);
        let target = target(&format!("http://localhost:{}/x", here.port()));
        let reply = poster.post(&target, "s", b"{}".to_vec()).await.unwrap();
        assert_eq!(reply.status, StatusCode::OK);
        assert!(receiver.next(WITHIN).await.unwrap().head.starts_with("POST /x HTTP/1.1"));
        assert_eq!(script.0.lock().unwrap().len(), 1, "it was asked once");
        // Now it leads to those alone.
        let refused = poster.post(&target, "s", b"{}".to_vec()).await.unwrap_err();
        assert_eq!(refused, "the host leads only to addresses that must not be called");
    }

    #[tokio::test]
    async fn a_name_that_leads_inside_is_not_called() {
        let mut receiver = Receiver::start().await;
        let here: SocketAddr = receiver.url()["http://".len()..].trim_end_matches("/becket").parse().unwrap();
        let (poster, _) = scripted(&[&[here], &[here]]);
        for scheme_port in ["", ":8443"] {
            let target = target(&format!("https://erp.example{scheme_port}/x"));
            let refused = poster.post(&target, "s", Vec::new()).await.unwrap_err();
            assert_eq!(refused, "the host leads only to addresses that must not be called");
        }
        assert_eq!(receiver.next(Duration::from_millis(200)).await, None);
    }
}
