//! Measures how soon readers of the feed at two replicas hear of a change that is made at one of them.
//!
//! It starts a PostgreSQL server in a temporary folder and two replicas of the built binary, opens jobs at the first replica at a steady
//! rate, and reads the feed at both. The moment of the commit lies between the sending of the call and its answer, so two times are told for each
//! event: from the sending, which is too long by the work of the write, and from the answer, which is too short by the way of the answer.
//!
//! The run is bounded in time and stays on loopback.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use becket_api::cloud_event::to_json;
use becket_api::feed::{StartPosition, WatchEventsRequest};
use becket_api::stringing::Job;
use becket_e2e::{Server, Shop, demo};
use becket_test_postgres::Server as Postgres;
use clap::Parser;
use hdrhistogram::Histogram;

type Failure = Box<dyn std::error::Error + Send + Sync>;

/// Measures the time from a change to its delivery by the feed, on two replicas and PostgreSQL
#[derive(Debug, Clone, Parser)]
#[command(name = "becket-latency")]
struct Options {
    /// The built binary
    #[arg(long, default_value = "target/release/becket")]
    becket: PathBuf,
    /// How long jobs are opened
    #[arg(long, default_value_t = 20, value_parser = clap::value_parser!(u64).range(1..=600))]
    seconds: u64,
    /// Jobs in a second
    #[arg(long, default_value_t = 20, value_parser = clap::value_parser!(u64).range(1..=500))]
    rate: u64,
}

/// When the call of each job was sent and answered.
type Calls = Arc<Mutex<HashMap<String, (Instant, Instant)>>>;
/// When each job was delivered.
type Arrivals = HashMap<String, Instant>;

fn main() -> ExitCode {
    let options = Options::parse();
    let run = tokio::runtime::Builder::new_multi_thread().enable_all().build();
    match run.map_err(Failure::from).and_then(|runtime| runtime.block_on(measure(&options))) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::FAILURE
        }
    }
}

async fn measure(options: &Options) -> Result<(), Failure> {
    let folder = tempfile::tempdir()?;
    let postgres = Postgres::start();
    let config = folder.path().join("becket.toml");
    let url = postgres.database();
    std::fs::write(&config, format!("[store]\nengine = \"postgres\"\n[store.postgres]\nurl = \"{url}\"\n"))?;
    let migrated = Command::new(&options.becket).arg("migrate").arg("--config").arg(&config).output()?;
    if !migrated.status.success() {
        return Err(String::from_utf8_lossy(&migrated.stderr).into_owned().into());
    }
    let serve = |name: &str| start(&options.becket, &folder.path().join(name), &config);
    let (a, b) = (serve("a"), serve("b"));
    let mut shop = Shop::connect(a.url()).await?;
    shop.load().await?;
    let readers = [tokio::spawn(read(a.url().to_owned())), tokio::spawn(read(b.url().to_owned()))];
    // Both readers listen before the first job.
    tokio::time::sleep(Duration::from_secs(2)).await;
    let calls = write(&shop, options).await?;
    shop.open_job(job("last")?).await?;
    let known = calls.lock().unwrap_or_else(PoisonError::into_inner).clone();
    println!(
        "| reader at | from | events | median ms | 99 % ms | longest ms |\n|---|---|---:|---:|---:|---:|"
    );
    for (place, reader) in ["the writing replica", "the other replica"].into_iter().zip(readers) {
        let arrivals = tokio::time::timeout(Duration::from_secs(60), reader).await???;
        if known.keys().any(|serial| !arrivals.contains_key(serial)) {
            return Err(format!("a reader at {place} missed an event").into());
        }
        report(place, "the call's sending", &known, &arrivals, |(sent, _)| sent)?;
        report(place, "its answer", &known, &arrivals, |(_, answered)| answered)?;
    }
    Ok(())
}

fn start(binary: &Path, data: &Path, config: &Path) -> Server {
    let listen = ["--listen", "127.0.0.1:0", "--config"].map(PathBuf::from);
    Server::with(binary, data, &[&listen[..], &[config.to_owned()]].concat())
}

fn job(serial: &str) -> Result<Job, Failure> {
    let mut job = demo::jobs()?.into_iter().next().ok_or("the demo has no jobs")?;
    job.serial_id = serial.to_owned();
    Ok(job)
}

/// Opens jobs at a steady rate, whether earlier ones are answered or not.
async fn write(shop: &Shop, options: &Options) -> Result<Calls, Failure> {
    let calls = Calls::default();
    let mut writing = tokio::task::JoinSet::new();
    let mut ticks = tokio::time::interval(Duration::from_secs(1) / u32::try_from(options.rate)?);
    for number in 0..options.seconds * options.rate {
        ticks.tick().await;
        let (mut shop, calls, serial) = (shop.clone(), Arc::clone(&calls), format!("N-{number:06}"));
        let job = job(&serial)?;
        writing.spawn(async move {
            let sent = Instant::now();
            shop.open_job(job).await?;
            calls.lock().unwrap_or_else(PoisonError::into_inner).insert(serial, (sent, Instant::now()));
            Ok::<_, demo::DemoError>(())
        });
    }
    while let Some(written) = writing.join_next().await {
        written??;
    }
    Ok(calls)
}

/// Reads until the last job.
async fn read(url: String) -> Result<Arrivals, Failure> {
    let mut shop = Shop::connect(&url).await?;
    let request = WatchEventsRequest {
        start_position: StartPosition::Now.into(),
        types: vec!["becket.job.opened.v1".to_owned()],
        ..WatchEventsRequest::default()
    };
    let mut stream = shop.feed.watch_events(request).await?.into_inner();
    let mut arrivals = Arrivals::new();
    while let Some(message) = stream.message().await? {
        let now = Instant::now();
        let Some(event) = message.event else { continue };
        let json = to_json(&event);
        let serial = json["subject"].as_str().unwrap_or_default().trim_start_matches("jobs/").to_owned();
        if serial == "last" {
            break;
        }
        arrivals.insert(serial, now);
    }
    Ok(arrivals)
}

fn report(
    place: &str,
    from: &str,
    calls: &HashMap<String, (Instant, Instant)>,
    arrivals: &Arrivals,
    moment: impl Fn((Instant, Instant)) -> Instant,
) -> Result<(), Failure> {
    let mut times = Histogram::<u64>::new(3)?;
    for (serial, call) in calls {
        // An event may arrive before the answer of its call.
        let time = arrivals.get(serial).map(|at| at.saturating_duration_since(moment(*call)));
        times.record(u64::try_from(time.unwrap_or_default().as_micros())?)?;
    }
    #[expect(clippy::cast_precision_loss, reason = "shown with one decimal")]
    let ms = |us: u64| us as f64 / 1000.0;
    println!(
        "| {place} | {from} | {} | {:.1} | {:.1} | {:.1} |",
        times.len(),
        ms(times.value_at_quantile(0.5)),
        ms(times.value_at_quantile(0.99)),
        ms(times.max())
    );
    Ok(())
}
