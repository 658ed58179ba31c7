//! The keys of an identity provider, from a file or a URL.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use becket_access::{JwtError, JwtRules, JwtVerifier};

use crate::settings::JwtSettings;

/// Longest key set that is read, in bytes.
const LONGEST: u64 = 256 * 1024;
/// Time for a provider to answer.
const PATIENCE: Duration = Duration::from_secs(5);

/// Why there are no keys.
#[derive(Debug, thiserror::Error)]
pub enum KeysError {
    /// The file or the provider.
    #[error("the key set {from} cannot be had: {why}")]
    Unreachable {
        /// Path or URL.
        from: String,
        /// What happened.
        why: String,
    },
    /// What is there is no key set.
    #[error("{from}: {why}")]
    Faulty {
        /// Path or URL.
        from: String,
        /// What is wrong.
        why: JwtError,
    },
}

/// Where the keys are.
pub(crate) struct KeySource {
    settings: JwtSettings,
    agent: ureq::Agent,
}

impl KeySource {
    pub(crate) fn new(settings: &JwtSettings) -> Self {
        let tls = ureq::tls::TlsConfig::builder()
            .provider(ureq::tls::TlsProvider::Rustls)
            .unversioned_rustls_crypto_provider(Arc::new(rustls::crypto::ring::default_provider()))
            .root_certs(ureq::tls::RootCerts::PlatformVerifier)
            .build();
        let agent = ureq::Agent::config_builder()
            .https_only(true)
            .max_redirects(0)
            .timeout_global(Some(PATIENCE))
            .tls_config(tls)
            .build()
            .new_agent();
        Self { settings: settings.clone(), agent }
    }

    pub(crate) fn is_remote(&self) -> bool {
        self.settings.keys.starts_with("https://")
    }

    pub(crate) fn refresh(&self) -> Duration {
        self.settings.refresh
    }

    /// The file, if it is one.
    pub(crate) fn file(&self) -> Option<PathBuf> {
        (!self.is_remote()).then(|| PathBuf::from(&self.settings.keys))
    }

    /// Reads the keys.
    pub(crate) async fn verifier(&self) -> Result<JwtVerifier, KeysError> {
        let from = self.settings.keys.clone();
        let (agent, remote) = (self.agent.clone(), self.is_remote());
        let read = move || {
            if remote {
                fetch(&agent, &from)
            } else {
                std::fs::read_to_string(&from).map_err(|e| e.to_string())
            }
        };
        // Both files and the network may block.
        let text =
            tokio::task::spawn_blocking(read).await.map_err(|error| error.to_string()).and_then(|text| text);
        let from = || self.settings.keys.clone();
        let text = text.map_err(|why| KeysError::Unreachable { from: from(), why })?;
        let JwtSettings { issuer, audience, roles_claim, .. } = self.settings.clone();
        JwtVerifier::new(JwtRules { issuer, audience, roles_claim }, &text)
            .map_err(|why| KeysError::Faulty { from: from(), why })
    }
}

fn fetch(agent: &ureq::Agent, url: &str) -> Result<String, String> {
    let mut answer = agent.get(url).call().map_err(|error| error.to_string())?;
    answer.body_mut().with_config().limit(LONGEST).read_to_string().map_err(|error| error.to_string())
}
