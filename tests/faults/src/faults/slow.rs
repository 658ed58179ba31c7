//! A database that answers late: every message on the way to PostgreSQL and back takes its time, or none arrives at all.

use std::path::Path;
use std::time::{Duration, Instant};

use becket_api::cutting::ListCutListsRequest;
use becket_e2e::raw::{RawClient, methods};
use becket_e2e::reason;
use becket_test_postgres::Server as Postgres;
use prost::Message as _;
use tokio::task::JoinSet;
use tonic::Code;

use super::Trial;
use crate::proxy::{Proxy, Weather};
use crate::report::Outcome;
use crate::site::Site;

/// How long the database stays slow.
const LASTS: Duration = Duration::from_secs(3);
/// Deadline of a read that is sent meanwhile, and how much later the answer may come on a busy machine.
const DEADLINE: Duration = Duration::from_secs(1);
const LATE: Duration = Duration::from_secs(1);
/// Reads at the same moment, more than the service takes.
const STORM: usize = 200;
/// What the service takes, so that some are turned away.
const TAKEN: &str = "[limits]\nmax_concurrent_requests = 64";

/// Two replicas reach their database over a way that gets slow and then stands still.
pub async fn slow_database(binary: &Path, rounds: usize, seed: u64) -> Outcome {
    let postgres = Postgres::start();
    let direct = postgres.database();
    let folder = tempfile::tempdir().expect("a folder can be made");
    let proxy = Proxy::postgres(folder.path(), postgres.folder());
    let url = direct.replace(&postgres.folder().display().to_string(), &folder.path().display().to_string());
    let site = Site::postgres(binary, &url, 2, TAKEN);
    let mut trial = Trial::begin("a database that answers late", site.engine(), site.doors(), seed).await;
    for round in 0..rounds {
        let time = trial.moment(Duration::from_millis(800));
        trial.work(time).await;
        let slow = [Duration::from_millis(50), Duration::from_millis(400)][round % 2];
        let weather = if round % 3 == 2 { Weather::HalfOpen } else { Weather::Slow(slow) };
        proxy.set(weather);
        let begun = Instant::now();
        while begun.elapsed() < LASTS {
            trial.outcome.other.extend(storm(&site.url(0), weather).await);
        }
        proxy.set(Weather::Fair);
        trial.settle(Instant::now(), &site).await;
        if trial.is_lost() {
            break;
        }
    }
    trial.end()
}

/// Many reads at once: each ends in time, done or refused with a code that says so. Returns what is wrong with the first that is not.
async fn storm(url: &str, weather: Weather) -> Option<String> {
    let client = RawClient::new(url).expect("an address");
    let method = methods().expect("descriptors").into_iter().find(|m| m.path.ends_with("/ListCutLists"));
    let method = method.expect("the method is there");
    let body = prost::bytes::Bytes::from(ListCutListsRequest::default().encode_to_vec());
    let mut calls = JoinSet::new();
    for _ in 0..STORM {
        let (client, method, body) = (client.clone(), method.clone(), body.clone());
        calls.spawn(async move {
            let call = client.call(&method, body, Some(DEADLINE));
            let Ok(answer) = tokio::time::timeout(DEADLINE + LATE, call).await else {
                return Some(format!("{weather:?}: no answer within {:?}", DEADLINE + LATE));
            };
            let status = answer.err()?;
            let codes = [Code::Unavailable, Code::DeadlineExceeded, Code::ResourceExhausted];
            let told = codes.contains(&status.code()) && reason(&status).is_some();
            (!told).then(|| format!("{weather:?}: {status:?}"))
        });
    }
    calls.join_all().await.into_iter().flatten().next()
}
