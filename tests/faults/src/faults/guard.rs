//! A service that tells callers apart by tokens with a time, on a clock that jumps.

use std::sync::Arc;
use std::time::Duration;

use becket_api::stringing::ListWiresRequest;
use becket_api::stringing::wire_service_client::WireServiceClient;
use becket_e2e::reason;
use becket_e2e::signer::{AUDIENCE, ISSUER, Signer};
use becket_service_kit::{
    AccessSettings, Clock, Gate, JwtSettings, LimitSettings, Protection, ServerParts, SystemClock, serve,
};
use tempfile::TempDir;
use tokio::net::TcpListener;
use tokio_util::sync::CancellationToken;
use tonic::service::Routes;
use tonic::transport::{Channel, Endpoint};
use tonic::{Code, Request, Status};

/// A token is valid for so long before and after the true time. Clocks jump by whole hours, so that whether one is valid is never a
/// matter of the minute for which provider and service may differ.
const VALID_S: i64 = 90 * 60;

/// The service, and the provider of the tokens.
pub(super) struct Guard<C> {
    clock: Arc<C>,
    wires: WireServiceClient<Channel>,
    signer: Signer,
    // Holds the key set.
    _folder: TempDir,
}

impl<C: Clock> Guard<C> {
    /// Serves with this clock until `stop` is cancelled.
    pub(super) async fn serve(
        store: Arc<dyn becket_stringing::Storage>,
        clock: &Arc<C>,
        limits: LimitSettings,
        stop: &CancellationToken,
    ) -> Self {
        let folder = tempfile::tempdir().expect("a folder can be made");
        let keys = folder.path().join("keys.json");
        let signer = Signer::new("k1");
        std::fs::write(&keys, signer.set()).expect("a file can be written");
        let settings = AccessSettings {
            tokens: None,
            jwt: Some(JwtSettings {
                keys: keys.display().to_string(),
                issuer: ISSUER.to_owned(),
                audience: AUDIENCE.to_owned(),
                roles_claim: "roles".to_owned(),
                refresh: Duration::from_secs(3600),
            }),
            reload_interval: Duration::from_secs(3600),
        };
        let gate = Gate::load(settings, Arc::clone(clock) as _).await.expect("the key set can be read");
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port is free");
        let url = format!("http://{}", listener.local_addr().expect("it is bound"));
        let mut routes = Routes::builder();
        let deps = becket_stringing::Deps { limits: limits.clone(), store, clock: Arc::clone(clock) as _ };
        becket_stringing::register(&mut routes, deps).await.expect("the store answers");
        let parts = ServerParts {
            routes: routes.routes(),
            listener,
            service_names: becket_stringing::SERVICE_NAMES.to_vec(),
            limits,
            protection: Protection { tls: None, gate: Some(gate) },
            local: None,
            shutdown: stop.clone(),
        };
        tokio::spawn(async move { serve(parts).await.expect("the guarded service runs") });
        let channel = Endpoint::from_shared(url).expect("an address").connect_lazy();
        Self { clock: Arc::clone(clock), wires: WireServiceClient::new(channel), signer, _folder: folder }
    }

    /// Shows tokens, and tells what is wrong with the answers: a token counts by the clock of the service, whatever that has done before.
    pub(super) async fn check(&self) -> Vec<String> {
        let true_s = SystemClock.now_us() / 1_000_000;
        let shown_s = self.clock.now_us() / 1_000_000;
        let by_true_time = self.signer.token(true_s - VALID_S, true_s + VALID_S);
        let by_its_time = self.signer.token(shown_s - VALID_S, shown_s + VALID_S);
        let is_valid = (shown_s - true_s).abs() <= VALID_S;
        let mut wrong = Vec::new();
        for (token, is_valid) in [(by_true_time, is_valid), (by_its_time, true)] {
            let answer = self.show(&token).await;
            let proper = match &answer {
                Ok(()) => is_valid,
                Err(status) => {
                    !is_valid && status.code() == Code::Unauthenticated && reason(status).is_some()
                }
            };
            if !proper {
                let off_s = shown_s - true_s;
                wrong.push(format!(
                    "a token, valid: {is_valid}, on a clock that is off by {off_s} s: {answer:?}"
                ));
            }
        }
        wrong
    }

    async fn show(&self, token: &str) -> Result<(), Status> {
        let mut request = Request::new(ListWiresRequest::default());
        let value = format!("Bearer {token}").parse().expect("a token is ASCII");
        request.metadata_mut().insert("authorization", value);
        self.wires.clone().list_wires(request).await.map(drop)
    }
}
