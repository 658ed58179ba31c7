//! Measures how fast the service of string sets answers, beside a bare gRPC service that sends the same bytes ready-made.
//!
//! Both run in this process, each on a runtime of its own with the same number of threads, on loopback and free ports.
//! They are measured in turn, round by round, so that a machine that slows down slows both. Requests are sent without
//! decoding what comes back: what differs between the two is the service.
//!
//! Besides the rates, which also depend on what the callers and other programs take of the machine, the report has the time
//! that each service's own threads work for a call, those of its database among them.
//!
//! With `--mix` it measures the mix of three users on each engine instead (see `mix`). The run is bounded in time and in requests.

mod bare;
mod batch;
mod cpu;
mod measure;
mod mix;
mod report;
mod service;

use std::process::ExitCode;
use std::time::Duration;

use clap::{Parser, ValueEnum};

type Failure = Box<dyn std::error::Error + Send + Sync>;

/// Measures the string set of the demo's concert grand, of an open and a frozen serial and of its scale, against a bare service
/// with the same bytes
#[derive(Debug, Clone, Parser)]
#[command(name = "becket-load")]
struct Options {
    /// Length of the whole run
    #[arg(long, default_value_t = 10, value_parser = clap::value_parser!(u64).range(1..=600))]
    seconds: u64,
    /// Rounds; in each, all cases are measured
    #[arg(long, default_value_t = 5, value_parser = clap::value_parser!(u32).range(1..=50))]
    rounds: u32,
    /// Connections
    #[arg(long, default_value_t = 4, value_parser = clap::value_parser!(u32).range(1..=32))]
    connections: u32,
    /// Calls under way at once on each connection; with all connections at most 200
    #[arg(long, default_value_t = 4, value_parser = clap::value_parser!(u32).range(1..=100))]
    streams: u32,
    /// Most requests in the whole run
    #[arg(long, default_value_t = 2_000_000, value_parser = clap::value_parser!(u64).range(1..=50_000_000))]
    requests: u64,
    /// Threads of each runtime: of the service, of the bare service, of the callers
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u64).range(1..=64))]
    threads: u64,
    /// Measure ComputeJobSets of so many serials instead, on all cores, beside the same computation in this process
    #[arg(long, value_parser = clap::value_parser!(u64).range(1..=20_000))]
    batch: Option<u64>,
    /// Of a batch: on each of the instruments something was measured that no other has, so that no two sets are alike
    #[arg(long, requires = "batch")]
    measured: bool,
    /// Measure the three users' mix instead, stations, ERP and purchasing, on each engine, beside bare transactions; --seconds and
    /// --rounds hold for each engine
    #[arg(long, conflicts_with_all = ["batch", "format"])]
    mix: bool,
    /// With --mix, and on PostgreSQL only: let every flush of the log take so many ms longer, as on a disk that writes through
    #[arg(long, default_value_t = 0, value_parser = clap::value_parser!(u32).range(0..=100), requires = "mix")]
    flush_ms: u32,
    /// Form of the report
    #[arg(long, value_enum, default_value_t = Format::Table)]
    format: Format,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    Table,
    Json,
}

impl Options {
    /// Time for one case in one round.
    fn slice(&self) -> Duration {
        let slices = self.rounds.saturating_mul(u32::try_from(measure::CASES.len()).unwrap_or(u32::MAX));
        Duration::from_secs(self.seconds) / slices.max(1)
    }
}

fn main() -> ExitCode {
    let options = Options::parse();
    match run(&options) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("becket-load: {error}");
            ExitCode::FAILURE
        }
    }
}

fn run(options: &Options) -> Result<(), Failure> {
    if options.connections.saturating_mul(options.streams) > 200 {
        return Err("connections times streams must not be above 200".into());
    }
    if let Some(serials) = options.batch {
        let report = batch::run(usize::try_from(serials)?, options.rounds, options.measured)?;
        match options.format {
            Format::Table => println!("{report}"),
            Format::Json => println!("{:#}", report.json()),
        }
        return Ok(());
    }
    if options.mix {
        // Three measurements in each round.
        let slice = Duration::from_secs((options.seconds / u64::from(options.rounds) / 3).max(1));
        let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build()?;
        println!("{}", runtime.block_on(mix::run(options.rounds, slice, options.flush_ms))?);
        return Ok(());
    }
    let threads = usize::try_from(options.threads)?;
    let runtime = |name: &str| {
        tokio::runtime::Builder::new_multi_thread()
            .worker_threads(threads)
            .thread_name(name)
            .enable_all()
            .build()
    };
    let (of_service, of_bare, of_callers) =
        (runtime(cpu::SERVICE)?, runtime(cpu::BARE)?, runtime(cpu::CALLERS)?);
    let folder = tempfile::tempdir()?;
    let service = of_service.block_on(service::Service::start(folder.path()))?;
    let prepared = of_callers.block_on(service::prepare(service.url()))?;
    let bare = of_bare.block_on(bare::start(prepared.clone()))?;
    let rounds = of_callers.block_on(measure::rounds(options, service.url(), &bare, &prepared))?;
    of_service.block_on(service.stop())?;
    let report = report::Report::of(options, &prepared, &rounds);
    match options.format {
        Format::Table => println!("{report}"),
        Format::Json => println!("{:#}", report.json()),
    }
    Ok(())
}
