//! The server's certificates, read again when their files change.

use std::io::BufReader;
use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError, RwLock};

use rustls::crypto::ring;
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::server::WebPkiClientVerifier;
use rustls::{RootCertStore, ServerConfig};

use crate::settings::TlsSettings;

/// Why the certificates cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum TlsError {
    /// A file cannot be read.
    #[error("{}: {why}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        why: String,
    },
    /// Certificate and key do not go together, or are of a kind that is not supported.
    #[error("certificate, key and authorities cannot be used: {0}")]
    Unusable(String),
}

/// The configuration that new connections get.
#[derive(Debug)]
pub(crate) struct TlsKeys {
    settings: TlsSettings,
    current: RwLock<Arc<ServerConfig>>,
}

impl TlsKeys {
    /// Reads the files.
    pub(crate) fn load(settings: TlsSettings) -> Result<Self, TlsError> {
        let current = RwLock::new(Arc::new(configuration(&settings)?));
        Ok(Self { settings, current })
    }

    /// The files whose change calls for [`Self::reload`].
    pub(crate) fn files(&self) -> Vec<PathBuf> {
        let TlsSettings { certificate, key, client_ca } = &self.settings;
        [certificate, key].into_iter().chain(client_ca).cloned().collect()
    }

    /// Reads the files again; if they cannot be used the former ones stay.
    pub(crate) fn reload(&self) -> Result<(), TlsError> {
        let fresh = Arc::new(configuration(&self.settings)?);
        *self.current.write().unwrap_or_else(PoisonError::into_inner) = fresh;
        Ok(())
    }

    pub(crate) fn current(&self) -> Arc<ServerConfig> {
        Arc::clone(&self.current.read().unwrap_or_else(PoisonError::into_inner))
    }
}

fn configuration(settings: &TlsSettings) -> Result<ServerConfig, TlsError> {
    let chain = certificates(&settings.certificate)?;
    let key = PrivateKeyDer::from_pem_file(&settings.key).map_err(|error| file(&settings.key, error))?;
    let unusable = |error: &dyn std::fmt::Display| TlsError::Unusable(error.to_string());
    let provider = Arc::new(ring::default_provider());
    let builder = ServerConfig::builder_with_provider(Arc::clone(&provider))
        .with_safe_default_protocol_versions()
        .map_err(|error| unusable(&error))?;
    let builder = match &settings.client_ca {
        None => builder.with_no_client_auth(),
        Some(path) => {
            let mut authorities = RootCertStore::empty();
            for certificate in certificates(path)? {
                authorities.add(certificate).map_err(|error| file(path, error))?;
            }
            let verifier = WebPkiClientVerifier::builder_with_provider(Arc::new(authorities), provider)
                .build()
                .map_err(|error| unusable(&error))?;
            builder.with_client_cert_verifier(verifier)
        }
    };
    let mut configuration = builder.with_single_cert(chain, key).map_err(|error| unusable(&error))?;
    configuration.alpn_protocols = vec![b"h2".to_vec()];
    Ok(configuration)
}

fn certificates(path: &Path) -> Result<Vec<CertificateDer<'static>>, TlsError> {
    let opened = std::fs::File::open(path).map_err(|error| file(path, error))?;
    let found: Result<Vec<_>, _> = CertificateDer::pem_reader_iter(BufReader::new(opened)).collect();
    let found = found.map_err(|error| file(path, error))?;
    if found.is_empty() { Err(file(path, "there is no certificate in it")) } else { Ok(found) }
}

fn file(path: &Path, why: impl std::fmt::Display) -> TlsError {
    TlsError::File { path: path.to_owned(), why: why.to_string() }
}
