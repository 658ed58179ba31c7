//! Runs faults and prints a table of what was seen. `tests/faults/run` builds the binary and calls it.

use std::path::PathBuf;
use std::process::ExitCode;
use std::time::Instant;

use becket_faults::{Outcome, faults, table};
use clap::{Parser, ValueEnum};

/// Injects faults while stations book, and looks for everything that was acknowledged.
#[derive(Debug, Parser)]
struct Arguments {
    /// Which fault.
    #[arg(value_enum, default_value = "all")]
    fault: Fault,
    /// How often each is injected; without it as often as docs/faults.md tells.
    #[arg(long)]
    rounds: Option<usize>,
    /// On which engine only.
    #[arg(long, value_enum)]
    engine: Option<Engine>,
    /// From which number the random moments follow.
    #[arg(long, default_value_t = 20_261_201)]
    seed: u64,
    /// The becket binary under test.
    #[arg(long)]
    binary: PathBuf,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Fault {
    All,
    Kill,
    Postgres,
    Failover,
    Network,
    Disk,
    Slow,
    Clock,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Engine {
    Sqlite,
    Postgresql,
}

impl Arguments {
    fn wants(&self, fault: Fault, engine: Engine) -> bool {
        (self.fault == Fault::All || self.fault == fault) && self.engine.is_none_or(|only| only == engine)
    }

    fn rounds(&self, usual: usize) -> usize {
        self.rounds.unwrap_or(usual)
    }
}

/// When a fault began, and how busy the machine was then.
struct Began {
    at: Instant,
    load: String,
}

impl Began {
    fn now() -> Self {
        Self { at: Instant::now(), load: load() }
    }

    fn tell(&self, outcome: &Outcome) {
        let Outcome { fault, engine, rounds, .. } = outcome;
        let (seconds, before, after) = (self.at.elapsed().as_secs(), &self.load, load());
        eprintln!(
            "{fault} ({engine}): {rounds} rounds in {seconds} s; load average {before} before, {after} after"
        );
    }
}

/// The load average of the last minute, as Linux tells it.
fn load() -> String {
    let told = std::fs::read_to_string("/proc/loadavg").unwrap_or_default();
    told.split(' ').next().unwrap_or_default().to_owned()
}

#[tokio::main]
async fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let (binary, seed) = (arguments.binary.as_path(), arguments.seed);
    let mut outcomes: Vec<Outcome> = Vec::new();
    macro_rules! try_out {
        ($fault:ident on $engine:ident: $run:ident, $usual:expr) => {
            if arguments.wants(Fault::$fault, Engine::$engine) {
                let began = Began::now();
                let outcome = faults::$run(binary, arguments.rounds($usual), seed).await;
                began.tell(&outcome);
                outcomes.push(outcome);
            }
        };
        ($fault:ident on $engine:ident: $run:ident, $usual:expr, if a_disk_can_be_mounted) => {
            if arguments.wants(Fault::$fault, Engine::$engine) {
                let began = Began::now();
                match faults::$run(binary, arguments.rounds($usual), seed).await {
                    Some(outcome) => {
                        began.tell(&outcome);
                        outcomes.push(outcome);
                    }
                    None => eprintln!("disk full: left out, since only the superuser can mount a small disk"),
                }
            }
        };
    }
    try_out!(Kill on Sqlite: kill_sqlite, 200);
    try_out!(Kill on Postgresql: kill_postgres_replica, 200);
    try_out!(Postgres on Postgresql: crash, 50);
    try_out!(Failover on Postgresql: failover, 20);
    try_out!(Network on Sqlite: network, 30);
    try_out!(Slow on Postgresql: slow_database, 30);
    try_out!(Clock on Sqlite: clock_sqlite, 50);
    try_out!(Clock on Postgresql: clock_postgres, 50);
    try_out!(Disk on Sqlite: disk_sqlite, 20, if a_disk_can_be_mounted);
    try_out!(Disk on Postgresql: disk_postgres, 20, if a_disk_can_be_mounted);
    println!("{}", table(&outcomes));
    let faults: Vec<String> = outcomes.iter().map(Outcome::faults).filter(|text| !text.is_empty()).collect();
    for fault in &faults {
        eprintln!("{fault}");
    }
    if faults.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
