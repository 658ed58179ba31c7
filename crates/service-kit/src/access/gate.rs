//! Who calls, and whether it may.

use std::sync::{Arc, PoisonError, RwLock};
use std::time::Duration;

use becket_access::{Caller, JwtError, JwtVerifier, Role, RoleSet, TokenList};
use becket_api::errors::ErrorReason;
use http::HeaderMap;
use http::header::AUTHORIZATION;
use tokio::time::Instant;
use tonic::Status;

use super::keys::{KeySource, KeysError};
use crate::clock::Clock;
use crate::errors::StatusBuilder;
use crate::listening::Peer;
use crate::settings::AccessSettings;

/// Methods under this prefix are open to all: whoever watches over a service needs no secret for it.
const OPEN: &str = "/grpc.health.v1.Health/";
/// A key id that is not known leads to a new look at the provider's keys, but not more often than this.
const LEAST_BETWEEN_LOOKS: Duration = Duration::from_secs(20);

/// Why callers cannot be told apart.
#[derive(Debug, thiserror::Error)]
pub enum GateError {
    /// The list of tokens.
    #[error("{path}: {why}")]
    Tokens {
        /// Its file.
        path: String,
        /// What is wrong with it.
        why: String,
    },
    /// The keys of the identity provider.
    #[error(transparent)]
    Keys(#[from] KeysError),
}

/// Checks every call before it reaches a service.
pub struct Gate {
    settings: AccessSettings,
    clock: Arc<dyn Clock>,
    tokens: RwLock<Arc<TokenList>>,
    jwt: Option<Provider>,
}

struct Provider {
    source: KeySource,
    verifier: RwLock<Arc<JwtVerifier>>,
    last_look: tokio::sync::Mutex<Instant>,
}

impl std::fmt::Debug for Gate {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Gate").field("settings", &self.settings).finish_non_exhaustive()
    }
}

impl Gate {
    /// Reads tokens and keys.
    ///
    /// # Errors
    /// [`GateError`].
    pub async fn load(settings: AccessSettings, clock: Arc<dyn Clock>) -> Result<Self, GateError> {
        let tokens = RwLock::new(Arc::new(read_tokens(&settings)?));
        let jwt = match &settings.jwt {
            None => None,
            Some(jwt) => {
                let source = KeySource::new(jwt);
                let verifier = RwLock::new(Arc::new(source.verifier().await?));
                Some(Provider { source, verifier, last_look: tokio::sync::Mutex::new(Instant::now()) })
            }
        };
        Ok(Self { settings, clock, tokens, jwt })
    }

    /// Lets a call pass, and says who calls; nobody is named where none needs to be.
    pub(crate) async fn pass(
        &self,
        path: &str,
        headers: &HeaderMap,
        peer: Option<&Peer>,
    ) -> Result<Option<Caller>, Status> {
        if path.starts_with(OPEN) {
            return Ok(None);
        }
        let caller = self.caller(headers, peer).await?;
        if caller.may_call(path) {
            return Ok(Some(caller));
        }
        let message = format!("{} ({}) may not call {path}", caller.name, caller.roles);
        let allowed = becket_access::roles_of(path).unwrap_or_default().to_string();
        Err(StatusBuilder::new(ErrorReason::NotPermitted, message).meta("roles_allowed", allowed).build())
    }

    async fn caller(&self, headers: &HeaderMap, peer: Option<&Peer>) -> Result<Caller, Status> {
        if peer.is_some_and(|peer| peer.same_process) {
            return Ok(Caller { name: "becket".to_owned(), roles: RoleSet::of(&[Role::Service]) });
        }
        let tokens = Arc::clone(&self.tokens.read().unwrap_or_else(PoisonError::into_inner));
        if let Some(token) = bearer(headers)? {
            if let Some(holder) = tokens.holder(token) {
                return Ok(holder.clone());
            }
            if !TokenList::looks_like_one(token)
                && let Some(provider) = &self.jwt
            {
                return provider.caller(token, self.clock.now_us() / 1_000_000).await;
            }
            return Err(unknown("the token is not known"));
        }
        let certificate = peer.and_then(|peer| peer.certificate.as_ref());
        match certificate.map(|certificate| tokens.certified(certificate)) {
            Some(Some(holder)) => Ok(holder.clone()),
            Some(None) => Err(unknown("the client certificate is not listed, and there is no token")),
            None => Err(unknown("there is no token: send \"authorization: Bearer …\"")),
        }
    }

    /// How often files are looked at.
    pub(crate) fn reload_interval(&self) -> Duration {
        self.settings.reload_interval
    }

    /// Looks again and again whether tokens or keys have changed. It ends only when it is dropped.
    pub async fn keep_fresh(&self) {
        let mut tokens = super::watch::Files::of(self.settings.tokens.clone().into_iter().collect());
        let mut keys = super::watch::Files::of(self.jwt.iter().filter_map(|jwt| jwt.source.file()).collect());
        loop {
            tokio::time::sleep(self.settings.reload_interval).await;
            if tokens.changed() {
                self.reload_tokens();
            }
            if let Some(provider) = &self.jwt
                && (keys.changed() || provider.is_due().await)
            {
                provider.look().await;
            }
        }
    }

    fn reload_tokens(&self) {
        match read_tokens(&self.settings) {
            Ok(fresh) => {
                tracing::info!(
                    tokens = fresh.len().0,
                    certificates = fresh.len().1,
                    "the list of tokens was read again"
                );
                *self.tokens.write().unwrap_or_else(PoisonError::into_inner) = Arc::new(fresh);
            }
            Err(error) => tracing::error!(%error, "the list of tokens is faulty; the former one stays"),
        }
    }
}

impl Provider {
    async fn caller(&self, token: &str, now_s: i64) -> Result<Caller, Status> {
        match self.verifier().caller(token, now_s) {
            // The provider may have a new key.
            Err(JwtError::UnknownKey) if self.may_look().await => {
                self.look().await;
                self.verifier().caller(token, now_s)
            }
            decided => decided,
        }
        .map_err(|error| unknown(&error.to_string()))
    }

    fn verifier(&self) -> Arc<JwtVerifier> {
        Arc::clone(&self.verifier.read().unwrap_or_else(PoisonError::into_inner))
    }

    async fn may_look(&self) -> bool {
        self.last_look.lock().await.elapsed() >= LEAST_BETWEEN_LOOKS
    }

    async fn is_due(&self) -> bool {
        self.source.is_remote() && self.last_look.lock().await.elapsed() >= self.source.refresh()
    }

    /// Reads the keys again; if that fails the former ones stay.
    async fn look(&self) {
        let mut last = self.last_look.lock().await;
        *last = Instant::now();
        match self.source.verifier().await {
            Ok(fresh) => *self.verifier.write().unwrap_or_else(PoisonError::into_inner) = Arc::new(fresh),
            Err(error) => tracing::error!(%error, "the provider's keys cannot be read; the former ones stay"),
        }
    }
}

fn read_tokens(settings: &AccessSettings) -> Result<TokenList, GateError> {
    let Some(path) = &settings.tokens else { return Ok(TokenList::default()) };
    let error = |why: String| GateError::Tokens { path: path.display().to_string(), why };
    let text = std::fs::read_to_string(path).map_err(|failed| error(failed.to_string()))?;
    TokenList::read(&text).map_err(|fault| error(fault.to_string()))
}

/// The token of an `authorization` header of the scheme Bearer (RFC 6750, 2.1); the scheme's letter case is free.
fn bearer(headers: &HeaderMap) -> Result<Option<&str>, Status> {
    let Some(value) = headers.get(AUTHORIZATION) else { return Ok(None) };
    let parts = value.to_str().ok().and_then(|text| text.split_once(' '));
    match parts {
        Some((scheme, token)) if scheme.eq_ignore_ascii_case("bearer") => Ok(Some(token.trim())),
        _ => Err(unknown("the header \"authorization\" is not of the form \"Bearer …\"")),
    }
}

fn unknown(why: &str) -> Status {
    StatusBuilder::new(ErrorReason::NotAuthenticated, format!("it is not known who calls: {why}")).build()
}
