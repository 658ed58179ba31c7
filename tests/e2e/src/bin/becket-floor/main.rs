//! Measures what a stringer waits for: how fast a day's list is planned anew, and how soon the search for a plan ends once nobody
//! waits for it any more.
//!
//! Both services run in this process on loopback, with a database file in a temporary folder. Times are those of the caller, from
//! the request to the decoded answer.

mod day;
mod service;
mod stop;

use std::process::ExitCode;
use std::time::Duration;

use becket_service_kit::{Settings, init_telemetry};
use clap::Parser;
use hdrhistogram::Histogram;

pub(crate) type Failure = Box<dyn std::error::Error + Send + Sync>;

/// Plans a day of ten grands, then takes coils away from the running list and plans it anew, again and again; and drops calls of
/// PlanCuts to see how soon their work ends
#[derive(Debug, Clone, Parser)]
#[command(name = "becket-floor")]
struct Options {
    /// Plans made anew
    #[arg(long, default_value_t = 120, value_parser = clap::value_parser!(u32).range(1..=1000))]
    calls: u32,
    /// Searches that are dropped, of each size
    #[arg(long, default_value_t = 20, value_parser = clap::value_parser!(u32).range(1..=1000))]
    drops: u32,
}

/// Times of calls.
pub(crate) struct Times {
    what: &'static str,
    us: Histogram<u64>,
}

impl Times {
    pub(crate) fn of(what: &'static str) -> Result<Self, Failure> {
        Ok(Self { what, us: Histogram::new(3)? })
    }

    pub(crate) fn add(&mut self, took: Duration) -> Result<(), Failure> {
        Ok(self.us.record(u64::try_from(took.as_micros())?)?)
    }

    pub(crate) fn median(&self) -> Duration {
        Duration::from_micros(self.us.value_at_quantile(0.5))
    }

    fn row(&self) -> String {
        let ms = |quantile: f64| {
            let us = u32::try_from(self.us.value_at_quantile(quantile)).unwrap_or(u32::MAX);
            f64::from(us) / 1000.0
        };
        let (median, p99, most) = (ms(0.5), ms(0.99), ms(1.0));
        format!("| {} | {} | {median:.1} ms | {p99:.1} ms | {most:.1} ms |", self.what, self.us.len())
    }
}

fn main() -> ExitCode {
    let options = Options::parse();
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build();
    let done = runtime.map_err(Failure::from).and_then(|runtime| runtime.block_on(run(&options)));
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("becket-floor: {error}");
            ExitCode::FAILURE
        }
    }
}

async fn run(options: &Options) -> Result<(), Failure> {
    // What a service has to tell of a fault goes to standard error.
    init_telemetry(&Settings::load(None, [])?.telemetry)?;
    let day = day::measure(options.calls).await?;
    println!("{}\n", day.what);
    println!("| call | calls | median | 99th percentile | longest |\n|---|---:|---:|---:|---:|");
    for times in &day.times {
        println!("{}", times.row());
    }
    stop::measure(options.drops, |times| println!("{}", times.row())).await
}
