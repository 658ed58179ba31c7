//! The network between the two services: cut, slow, or half-open.

use std::net::SocketAddr;
use std::path::Path;
use std::time::{Duration, Instant};

use becket_api::cutting::EstimateWireRequest;
use becket_e2e::raw::{Method, RawClient, methods};
use becket_e2e::{Server, Shop, demo, reason};
use prost::Message as _;
use tonic::Code;

use super::Trial;
use crate::proxy::{Proxy, Weather};
use crate::report::Outcome;
use crate::site::Databases;

/// How long each weather lasts.
const LASTS: Duration = Duration::from_millis(2500);
/// Deadline of a question that is asked meanwhile, and how much later the answer may come on a busy machine.
const DEADLINE: Duration = Duration::from_secs(1);
const LATE: Duration = Duration::from_secs(1);
/// How long the services may take to find each other again.
const RECOVERED_WITHIN: Duration = Duration::from_secs(10);

/// Each service has a process and data of its own, and the way from one to the other breaks in turns.
pub async fn network(binary: &Path, rounds: usize, seed: u64) -> Outcome {
    let folder = tempfile::tempdir().expect("a folder can be made");
    let free = "127.0.0.1:0";
    let stringing =
        Server::with(binary, &folder.path().join("strings"), &["--only", "stringing", "--listen", free]);
    let target: SocketAddr = stringing.address().parse().expect("an address");
    let (proxy, way) = Proxy::tcp(target).await;
    let way = format!("http://{way}");
    let of_cutting = ["--only", "cutting", "--listen", free, "--stringing-endpoint", &way];
    let cutting = Server::with(binary, &folder.path().join("cuts"), &of_cutting);
    let doors = vec![Shop::lazy(stringing.url(), cutting.url()).expect("addresses")];
    let mut trial = Trial::begin_split("network between the services", "SQLite", doors, seed).await;
    let probe = Probe::new(cutting.url());
    let named = ["strings", "cuts"].map(|data| ("--data", folder.path().join(data))).to_vec();
    let databases = Databases { binary: binary.to_owned(), named };
    for round in 0..rounds {
        let weather = match round % 3 {
            0 => Weather::Cut,
            1 => Weather::Slow(Duration::from_millis(400)),
            _ => Weather::HalfOpen,
        };
        let time = trial.moment(Duration::from_millis(800));
        trial.work(time).await;
        proxy.set(weather);
        let begun = Instant::now();
        while begun.elapsed() < LASTS {
            trial.outcome.other.extend(probe.ask(weather).await);
        }
        proxy.set(Weather::Fair);
        let fair = Instant::now();
        trial.outcome.other.extend(probe.answered_again(weather).await);
        trial.settle(fair, &databases).await;
        if trial.is_lost() {
            break;
        }
    }
    trial.outcome.fault = format!("{} (cut, slow, half-open)", trial.outcome.fault);
    trial.end()
}

/// A question to the cutting service that it cannot answer without the stringing service. The client keeps no time of its own, so that the
/// server's is seen.
struct Probe {
    client: RawClient,
    method: Method,
    body: prost::bytes::Bytes,
}

impl Probe {
    fn new(url: &str) -> Self {
        let method = methods().expect("descriptors").into_iter().find(|m| m.path.ends_with("/EstimateWire"));
        let lines = demo::schedule().expect("the demo can be read");
        let request = EstimateWireRequest { lines, ..EstimateWireRequest::default() };
        Self {
            client: RawClient::new(url).expect("an address"),
            method: method.expect("the method is there"),
            body: request.encode_to_vec().into(),
        }
    }

    /// Asks until there is an answer: stations get along without the other service for most steps, estimates do not.
    async fn answered_again(&self, weather: Weather) -> Option<String> {
        let fair = Instant::now();
        while fair.elapsed() < RECOVERED_WITHIN {
            let call = self.client.call(&self.method, self.body.clone(), Some(DEADLINE));
            if call.await.is_ok() {
                return None;
            }
        }
        Some(format!("{weather:?}: the services have not found each other within {RECOVERED_WITHIN:?}"))
    }

    /// Asks once, and tells what is wrong with the answer: that it came late, or with a code that does not say what to do.
    async fn ask(&self, weather: Weather) -> Option<String> {
        let asked = Instant::now();
        let call = self.client.call(&self.method, self.body.clone(), Some(DEADLINE));
        let Ok(answer) = tokio::time::timeout(DEADLINE + LATE, call).await else {
            return Some(format!("{weather:?}: no answer within {:?}", DEADLINE + LATE));
        };
        // Not to keep the machine busy with refusals.
        tokio::time::sleep(Duration::from_millis(50)).await;
        match answer {
            Ok(_) if weather == Weather::Fair || matches!(weather, Weather::Slow(_)) => None,
            Ok(_) => Some(format!("{weather:?}: answered without the other service")),
            Err(status) => {
                let proper = matches!(status.code(), Code::Unavailable | Code::DeadlineExceeded);
                let told = proper && reason(&status).is_some();
                (!told).then(|| format!("{weather:?}: after {:?} {status:?}", asked.elapsed()))
            }
        }
    }
}
