//! The mix of three users on each engine: stations that confirm, an ERP that reads, purchasing that estimates.
//!
//! The replicas are processes of their own, the binary beside this program. In each round bare transactions, confirmations
//! alone and the whole mix are measured in turn, so that a machine that slows down slows all of them.

mod bare;
mod report;
mod shop;
mod users;

use std::time::{Duration, Instant};

use hdrhistogram::Histogram;

use crate::Failure;
use bare::Bare;
use shop::{Engine, Replicas};
use users::{Bench, Erp, Purchasing};

pub(crate) use report::Report;

/// Stations, each with a connection of its own, ERP readers and purchasers.
const STATIONS: usize = 8;
const READERS: usize = 2;
/// Longest latency that is told apart, in µs: a minute.
const LONGEST_US: u64 = 60_000_000;

/// Calls of one kind in one round.
#[derive(Debug, Clone)]
pub(crate) struct Sample {
    pub(crate) calls: u64,
    pub(crate) took: Duration,
    pub(crate) latency_us: Histogram<u64>,
}

impl Sample {
    fn new() -> Result<Self, Failure> {
        let latency_us = Histogram::new_with_bounds(1, LONGEST_US, 3)?;
        Ok(Self { calls: 0, took: Duration::ZERO, latency_us })
    }

    fn record(&mut self, sent: Instant) {
        self.calls += 1;
        self.latency_us.saturating_record(u64::try_from(sent.elapsed().as_micros()).unwrap_or(LONGEST_US));
    }

    fn add(&mut self, other: &Self) -> Result<(), Failure> {
        self.calls += other.calls;
        self.latency_us.add(&other.latency_us)?;
        Ok(())
    }

    pub(crate) fn per_second(&self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "a number of calls is far below 2^53")]
        let calls = self.calls as f64;
        calls / self.took.as_secs_f64().max(f64::MIN_POSITIVE)
    }
}

/// What was measured in one round.
#[derive(Debug, Clone)]
pub(crate) struct Round {
    pub(crate) bare: Sample,
    /// Confirmations while nobody else calls.
    pub(crate) alone: Sample,
    /// Confirmations, reads and estimates at the same time.
    pub(crate) confirms: Sample,
    pub(crate) reads: Sample,
    pub(crate) estimates: Sample,
}

/// Rounds on one engine with so many replicas.
#[derive(Debug)]
pub(crate) struct Case {
    pub(crate) engine: &'static str,
    pub(crate) replicas: usize,
    pub(crate) rounds: Vec<Round>,
}

/// Measures all cases, each for `slice` per measurement and round. Where a flush takes `flush_ms` longer, only PostgreSQL is measured.
pub(crate) async fn run(rounds: u32, slice: Duration, flush_ms: u32) -> Result<Report, Failure> {
    let mut cases = Vec::new();
    let all = [(Engine::Sqlite, 1), (Engine::Postgres, 1), (Engine::Postgres, 2)];
    for (engine, replicas) in
        all.into_iter().filter(|(engine, _)| flush_ms == 0 || *engine == Engine::Postgres)
    {
        eprintln!("{} with {replicas} replica(s)", engine.name());
        cases.push(case(engine, replicas, rounds, slice, flush_ms).await?);
    }
    Ok(Report { stations: STATIONS, readers: READERS, slice, flush_ms, cases })
}

async fn case(
    engine: Engine,
    count: usize,
    rounds: u32,
    slice: Duration,
    flush_ms: u32,
) -> Result<Case, Failure> {
    let replicas = Replicas::start(engine, count)?;
    replicas.load(STATIONS).await?;
    replicas.slow_flushes(flush_ms).await?;
    let bare = Bare::open(&replicas).await?;
    let mut benches = Vec::new();
    for number in 0..STATIONS {
        benches.push(Bench::new(replicas.client(number).await?, number));
    }
    let mut done = Vec::new();
    for _ in 0..rounds {
        for bench in &mut benches {
            // Outside what is measured.
            bench.prepare(slice).await?;
        }
        let bare = bare.measure(STATIONS, slice).await?;
        let alone = confirm(&mut benches, slice).await?;
        for bench in &mut benches {
            bench.prepare(slice).await?;
        }
        let (confirms, reads, estimates) = tokio::try_join!(
            confirm(&mut benches, slice),
            read(&replicas, slice),
            estimate(&replicas, slice)
        )?;
        done.push(Round { bare, alone, confirms, reads, estimates });
    }
    bare.close().await;
    Ok(Case { engine: engine.name(), replicas: count, rounds: done })
}

/// Adds up what callers measured side by side.
async fn gathered(
    calling: Vec<tokio::task::JoinHandle<Result<Sample, Failure>>>,
    begun: Instant,
) -> Result<Sample, Failure> {
    let mut sum = Sample::new()?;
    for caller in calling {
        sum.add(&caller.await??)?;
    }
    sum.took = begun.elapsed();
    Ok(sum)
}

async fn confirm(benches: &mut Vec<Bench>, slice: Duration) -> Result<Sample, Failure> {
    let begun = Instant::now();
    let calling: Vec<_> = benches
        .drain(..)
        .map(|mut bench| {
            tokio::spawn(async move {
                let sample = bench.confirm_until(begun + slice).await?;
                Ok::<_, Failure>((bench, sample))
            })
        })
        .collect();
    let mut sum = Sample::new()?;
    for caller in calling {
        let (bench, sample) = caller.await??;
        benches.push(bench);
        sum.add(&sample)?;
    }
    sum.took = begun.elapsed();
    Ok(sum)
}

async fn read(replicas: &Replicas, slice: Duration) -> Result<Sample, Failure> {
    let begun = Instant::now();
    let mut calling = Vec::new();
    for number in 0..READERS {
        let mut erp = Erp::new(replicas.client(number).await?);
        calling.push(tokio::spawn(async move { erp.read_until(begun + slice).await }));
    }
    gathered(calling, begun).await
}

async fn estimate(replicas: &Replicas, slice: Duration) -> Result<Sample, Failure> {
    let begun = Instant::now();
    let mut purchasing = Purchasing::new(replicas.client(0).await?)?;
    let calling = tokio::spawn(async move { purchasing.estimate_until(begun + slice).await });
    gathered(vec![calling], begun).await
}
