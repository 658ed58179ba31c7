//! What shows a server who calls, and the caller which server it is.

use std::path::Path;

use becket_service_kit::{Secret, client_tls};
use tonic::metadata::{Ascii, MetadataValue};
use tonic::transport::{ClientTlsConfig, Identity};

use crate::{cli::Global, errors::Failure};

/// The header that carries the token, if there is one.
///
/// # Errors
/// [`Failure::File`], [`Failure::Usage`] for a token that cannot be sent; the text does not show it.
pub(super) fn authorization(global: &Global) -> Result<Option<MetadataValue<Ascii>>, Failure> {
    let Some(path) = &global.token_file else { return Ok(None) };
    let token = Secret::new(&String::from_utf8_lossy(&read(path)?));
    let mut value = MetadataValue::try_from(format!("Bearer {}", token.reveal())).map_err(|_| {
        Failure::Usage(format!("the token in {} has characters that cannot be sent", path.display()))
    })?;
    value.set_sensitive(true);
    Ok(Some(value))
}

/// How a server is checked and, if it asks, how this client shows who it is.
///
/// # Errors
/// [`Failure::File`].
pub(super) fn tls(global: &Global) -> Result<Option<ClientTlsConfig>, Failure> {
    let urls = [Some(&global.server), global.stringing.as_ref(), global.cutting.as_ref()];
    if !urls.into_iter().flatten().any(|url| url.starts_with("https://")) {
        return Ok(None);
    }
    let ca = global.ca.as_deref().map(read).transpose()?;
    let mut tls = client_tls(ca.as_deref());
    if let Some(path) = &global.client_certificate {
        let pem = read(path)?;
        tls = tls.identity(Identity::from_pem(&pem, &pem));
    }
    Ok(Some(tls))
}

fn read(path: &Path) -> Result<Vec<u8>, Failure> {
    std::fs::read(path).map_err(|error| Failure::File { path: path.to_owned(), why: error.to_string() })
}
