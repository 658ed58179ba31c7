//! Rounds of measurement.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use becket_e2e::raw::RawCodec;
use hdrhistogram::Histogram;
use http::uri::PathAndQuery;
use prost::bytes::Bytes;
use tokio::task::JoinSet;
use tonic::Request;
use tonic::client::Grpc;
use tonic::transport::{Channel, Endpoint};

use crate::service::{Exchange, Prepared};
use crate::{Failure, Options, bare, cpu};

const GET_STRING_SET: &str = "/becket.stringing.v1.StringSetService/GetStringSet";
const COMPUTE_STRING_SET: &str = "/becket.stringing.v1.StringSetService/ComputeStringSet";
/// Longest latency that is told apart, in µs: a minute.
const LONGEST_US: u64 = 60_000_000;
/// Calls of each worker before anything is counted, so that connections and caches are warm.
const WARM_UP: u32 = 20;

/// What is measured. The cases of one pair differ in the service only.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Case {
    Open,
    BareOpen,
    Frozen,
    BareFrozen,
    Computed,
    BareComputed,
}

/// All cases in the order of the report; odd rounds go through them backwards.
pub(crate) const CASES: [Case; 6] =
    [Case::Open, Case::BareOpen, Case::Frozen, Case::BareFrozen, Case::Computed, Case::BareComputed];

/// What came of one case in one round.
#[derive(Debug, Clone)]
pub(crate) struct Sample {
    pub(crate) requests: u64,
    pub(crate) took: Duration,
    pub(crate) latency_us: Histogram<u64>,
    /// Time that the threads of the service that answers have worked, if it is known.
    pub(crate) worked: Option<Duration>,
}

impl Sample {
    /// Time that the service works for a call, in µs.
    pub(crate) fn cpu_us(&self) -> Option<f64> {
        #[expect(clippy::cast_precision_loss, reason = "a number of requests is far below 2^53")]
        let requests = self.requests as f64;
        Some(1e6 * self.worked?.as_secs_f64() / requests)
    }

    pub(crate) fn per_second(&self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "a number of requests is far below 2^53")]
        let requests = self.requests as f64;
        requests / self.took.as_secs_f64()
    }
}

/// Samples of one round, in the order of [`CASES`].
pub(crate) type Round = Vec<Sample>;

/// Where a case is measured and with what.
struct Target {
    connections: Vec<Channel>,
    path: &'static str,
    exchange: Exchange,
    /// Name of the threads of the service that answers.
    threads: &'static str,
}

async fn connections(url: &str, count: u32) -> Result<Vec<Channel>, Failure> {
    let mut connections = Vec::new();
    for _ in 0..count {
        connections.push(Endpoint::from_shared(url.to_owned())?.tcp_nodelay(true).connect().await?);
    }
    Ok(connections)
}

/// Measures all rounds.
pub(crate) async fn rounds(
    options: &Options,
    service: &str,
    bare: &str,
    prepared: &Prepared,
) -> Result<Vec<Round>, Failure> {
    let (service, bare) =
        (connections(service, options.connections).await?, connections(bare, options.connections).await?);
    let target = |case| {
        let (connections, path, exchange) = match case {
            Case::Open => (&service, GET_STRING_SET, &prepared.open),
            Case::BareOpen => (&bare, bare::OPEN, &prepared.open),
            Case::Frozen => (&service, GET_STRING_SET, &prepared.frozen),
            Case::BareFrozen => (&bare, bare::FROZEN, &prepared.frozen),
            Case::Computed => (&service, COMPUTE_STRING_SET, &prepared.computed),
            Case::BareComputed => (&bare, bare::COMPUTED, &prepared.computed),
        };
        let threads = match case {
            Case::Open | Case::Frozen | Case::Computed => cpu::SERVICE,
            Case::BareOpen | Case::BareFrozen | Case::BareComputed => cpu::BARE,
        };
        Target { connections: connections.clone(), path, exchange: exchange.clone(), threads }
    };
    let left = Arc::new(AtomicU64::new(options.requests));
    for case in CASES {
        measure(&target(case), options, Limit::Calls(WARM_UP), &Arc::new(AtomicU64::new(u64::MAX))).await?;
    }
    let mut rounds = Vec::new();
    for number in 0..options.rounds {
        let mut round = Vec::new();
        let backwards = number % 2 == 1;
        for at in 0..CASES.len() {
            let case = CASES[if backwards { CASES.len() - 1 - at } else { at }];
            round.push(measure(&target(case), options, Limit::Time(options.slice()), &left).await?);
        }
        if backwards {
            round.reverse();
        }
        if round.iter().any(|sample| sample.requests == 0) {
            break; // The number of requests is used up.
        }
        rounds.push(round);
    }
    if rounds.is_empty() { Err("too few requests allowed for one round".into()) } else { Ok(rounds) }
}

#[derive(Debug, Clone, Copy)]
enum Limit {
    Calls(u32),
    Time(Duration),
}

/// Lets all workers call until the limit and sums up.
async fn measure(
    target: &Target,
    options: &Options,
    limit: Limit,
    left: &Arc<AtomicU64>,
) -> Result<Sample, Failure> {
    let (begin, before) = (Instant::now(), cpu::worked(target.threads));
    let mut workers = JoinSet::new();
    for connection in &target.connections {
        for _ in 0..options.streams {
            let (connection, left) = (connection.clone(), Arc::clone(left));
            workers.spawn(work(connection, target.path, target.exchange.clone(), limit, begin, left));
        }
    }
    let mut latency_us = Histogram::new_with_bounds(1, LONGEST_US, 3)?;
    while let Some(done) = workers.join_next().await {
        latency_us.add(done??)?;
    }
    let took = begin.elapsed();
    let worked = cpu::worked(target.threads).zip(before).map(|(after, before)| after.saturating_sub(before));
    Ok(Sample { requests: latency_us.len(), took, latency_us, worked })
}

/// Calls one after the other. Each answer must have the length that is due, the first and the last every byte.
async fn work(
    connection: Channel,
    path: &'static str,
    exchange: Exchange,
    limit: Limit,
    begin: Instant,
    left: Arc<AtomicU64>,
) -> Result<Histogram<u64>, Failure> {
    let mut grpc = Grpc::new(connection);
    let mut latency_us = Histogram::new_with_bounds(1, LONGEST_US, 3)?;
    let mut last = None;
    for calls in 0_u32.. {
        let over = match limit {
            Limit::Calls(most) => calls >= most,
            Limit::Time(most) => begin.elapsed() >= most,
        };
        let counted = |left: u64| left.checked_sub(1);
        if over || left.fetch_update(Ordering::Relaxed, Ordering::Relaxed, counted).is_err() {
            break;
        }
        let sent = Instant::now();
        grpc.ready().await?;
        let path = PathAndQuery::from_static(path);
        let answer = grpc.unary(Request::new(exchange.request.clone()), path, RawCodec).await?;
        let answer: Bytes = answer.into_inner();
        latency_us.saturating_record(u64::try_from(sent.elapsed().as_micros())?);
        if answer.len() != exchange.answer.len() || (calls == 0 && answer != exchange.answer) {
            return Err("an answer is not the one that is due".into());
        }
        last = Some(answer);
    }
    if last.is_some_and(|last| last != exchange.answer) {
        return Err("an answer is not the one that is due".into());
    }
    Ok(latency_us)
}
