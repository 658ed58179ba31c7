//! Settings of who may connect and call.

use std::path::PathBuf;
use std::time::Duration;

use super::reader::Reader;

const MINUTE: Duration = Duration::from_secs(60);

/// Sections `[tls]` and `[access]`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SecuritySettings {
    /// Encryption; absent, connections are plain.
    pub tls: Option<TlsSettings>,
    /// Authentication; absent, whoever can connect may call everything.
    pub access: Option<AccessSettings>,
}

/// Section `[tls]`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TlsSettings {
    /// PEM file with the certificate of the server and those that lead to its authority.
    pub certificate: PathBuf,
    /// PEM file with its key.
    pub key: PathBuf,
    /// PEM file with authorities of clients; with it every client must show a certificate of one of them.
    pub client_ca: Option<PathBuf>,
}

/// Section `[access]`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AccessSettings {
    /// File that lists static tokens and client certificates.
    pub tokens: Option<PathBuf>,
    /// JSON Web Tokens of an identity provider.
    pub jwt: Option<JwtSettings>,
    /// How often the file of tokens, certificates and key files are looked at.
    pub reload_interval: Duration,
}

/// The keys `jwt_…` of section `[access]`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JwtSettings {
    /// Path of a key set, or its URL.
    pub keys: String,
    /// Issuer that tokens must name.
    pub issuer: String,
    /// Audience that tokens must name.
    pub audience: String,
    /// Claim with the roles.
    pub roles_claim: String,
    /// How often a key set is fetched from a URL.
    pub refresh: Duration,
}

impl SecuritySettings {
    /// Neither encryption nor authentication; for loopback only.
    pub const OPEN: Self = Self { tls: None, access: None };

    /// What must be set before anybody but this machine may connect; `None` if nothing is missing.
    #[must_use]
    pub fn lacking(&self) -> Option<String> {
        let mut lacking = Vec::new();
        if self.tls.is_none() {
            lacking.push("tls.certificate and tls.key, so that connections are encrypted");
        }
        if self.access.is_none() {
            lacking.push("access.tokens or access.jwt_keys, so that callers are known");
        }
        (!lacking.is_empty()).then(|| format!("set {}", lacking.join(", and ")))
    }

    pub(super) fn read(reader: &mut Reader) -> Option<Self> {
        let tls = read_tls(reader);
        let access = read_access(reader);
        Some(Self { tls: tls?, access: access? })
    }
}

/// The outer option says whether the values are allowed, the inner one whether there are any.
fn read_tls(reader: &mut Reader) -> Option<Option<TlsSettings>> {
    let certificate = reader.optional_text("tls.certificate");
    let key = reader.optional_text("tls.key");
    let client_ca = reader.optional_text("tls.client_ca");
    let (certificate, key, client_ca) = (certificate?, key?, client_ca?);
    match (certificate, key) {
        (Some(certificate), Some(key)) => Some(Some(TlsSettings {
            certificate: certificate.into(),
            key: key.into(),
            client_ca: client_ca.map(PathBuf::from),
        })),
        (None, None) if client_ca.is_none() => Some(None),
        (certificate, key) => {
            for (name, value) in [("tls.certificate", certificate), ("tls.key", key)] {
                if value.is_none() {
                    reader.note(
                        name,
                        "must be set too, where any of tls.certificate, tls.key and tls.client_ca is",
                    );
                }
            }
            None
        }
    }
}

fn read_access(reader: &mut Reader) -> Option<Option<AccessSettings>> {
    let tokens = reader.optional_text("access.tokens");
    let keys = reader.optional_text("access.jwt_keys");
    let issuer = reader.optional_text("access.jwt_issuer");
    let audience = reader.text("access.jwt_audience");
    let roles_claim = reader.text("access.jwt_roles_claim");
    let refresh = reader.duration("access.jwt_refresh", MINUTE..=24 * 60 * MINUTE);
    let reload_interval = reader.duration("access.reload_interval", Duration::from_secs(1)..=60 * MINUTE);
    let (tokens, keys, issuer) = (tokens?, keys?, issuer?);
    let jwt = match (keys, issuer) {
        (Some(keys), Some(issuer)) => {
            if keys.starts_with("http://") {
                reader.note(
                    "access.jwt_keys",
                    "must be a path or begin with https://, or anybody on the way could put in a key",
                );
                return None;
            }
            Some(JwtSettings {
                keys,
                issuer,
                audience: audience?,
                roles_claim: roles_claim?,
                refresh: refresh?,
            })
        }
        (None, None) => None,
        (keys, _) => {
            let missing = if keys.is_none() { "access.jwt_keys" } else { "access.jwt_issuer" };
            reader.note(missing, "must be set too: access.jwt_keys and access.jwt_issuer go together");
            return None;
        }
    };
    if tokens.is_none() && jwt.is_none() {
        return Some(None);
    }
    let tokens = tokens.map(PathBuf::from);
    Some(Some(AccessSettings { tokens, jwt, reload_interval: reload_interval? }))
}
