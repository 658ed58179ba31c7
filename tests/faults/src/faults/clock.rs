//! Clocks that jump by hours, forwards and backwards, while four stations book. The services run in this process, with a clock of
//! their own: it is the only one that they read. Beside them one tells callers apart by tokens with a time.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::{Duration, Instant};

use becket_e2e::Shop;
use becket_service_kit::{Clock, LimitSettings, ServiceLink, Settings, SystemClock};
use becket_store_postgres::{Options, PostgresStore};
use becket_store_sqlite::{OpenMode, SqliteStore};
use becket_test_postgres::Server as Postgres;
use tokio::net::TcpListener;
use tokio_util::sync::CancellationToken;

use super::Trial;
use super::guard::Guard;
use crate::report::Outcome;
use crate::site::{Databases, settings};

/// Farthest jump in either direction.
const FARTHEST_H: usize = 36;
const LONGEST: Duration = Duration::from_millis(400);

/// The time of the machine, and some hours more or less.
#[derive(Default)]
struct Jumping(AtomicI64);

impl Clock for Jumping {
    fn now_us(&self) -> i64 {
        SystemClock.now_us() + self.0.load(Ordering::Relaxed)
    }
}

/// On SQLite.
pub async fn clock_sqlite(binary: &Path, rounds: usize, seed: u64) -> Outcome {
    let folder = tempfile::tempdir().expect("a folder can be made");
    let path = folder.path().join("becket.db");
    let store = SqliteStore::open(&path, OpenMode::OpenOrCreate).await.expect("a file can be made");
    let databases =
        Databases { binary: binary.to_owned(), named: vec![("--data", folder.path().to_owned())] };
    clock("SQLite", vec![both(store)], rounds, seed, &databases).await
}

/// On PostgreSQL: two replicas whose clocks jump apart from each other.
pub async fn clock_postgres(binary: &Path, rounds: usize, seed: u64) -> Outcome {
    let url = Postgres::shared().database();
    PostgresStore::migrate(&url).await.expect("tables can be made");
    let mut stores = Vec::new();
    for _ in 0..2 {
        let store = PostgresStore::open(&url, Options::default()).await.expect("the database is there");
        stores.push(both(store));
    }
    let folder = tempfile::tempdir().expect("a folder can be made");
    let config = settings(folder.path(), &url, "");
    let databases = Databases { binary: binary.to_owned(), named: vec![("--config", config)] };
    clock("PostgreSQL", stores, rounds, seed, &databases).await
}

type Stores = (Arc<dyn becket_stringing::Storage>, Arc<dyn becket_cutting::Storage>);

fn both<S>(store: S) -> Stores
where
    S: becket_stringing::Storage + becket_cutting::Storage + Clone + 'static,
{
    (Arc::new(store.clone()), Arc::new(store))
}

async fn clock(
    engine: &str,
    stores: Vec<Stores>,
    rounds: usize,
    seed: u64,
    databases: &Databases,
) -> Outcome {
    let stop = CancellationToken::new();
    let limits: LimitSettings = Settings::load(None, []).expect("the defaults are sound").limits;
    let (mut doors, mut clocks, mut guards) = (Vec::new(), Vec::new(), Vec::new());
    for stores in stores {
        let clock = Arc::new(Jumping::default());
        guards.push(Guard::serve(Arc::clone(&stores.0), &clock, limits.clone(), &stop).await);
        doors.push(serve(stores, &clock, limits.clone(), &stop).await);
        clocks.push(clock);
    }
    let mut trial = Trial::begin("clocks that jump", engine, doors, seed).await;
    for _ in 0..rounds {
        let time = trial.moment(LONGEST);
        trial.work(time).await;
        for clock in &clocks {
            let hours =
                i64::try_from(trial.random.below(2 * FARTHEST_H + 1)).unwrap_or(0) - FARTHEST_H as i64;
            clock.0.store(hours * 3_600_000_000, Ordering::Relaxed);
        }
        let jumped = Instant::now();
        for guard in &guards {
            trial.outcome.other.extend(guard.check().await);
        }
        trial.settle(jumped, databases).await;
        if trial.is_lost() {
            break;
        }
    }
    stop.cancel();
    trial.end()
}

/// Serves both services with this clock.
async fn serve(
    (strings, cuts): Stores,
    clock: &Arc<Jumping>,
    limits: LimitSettings,
    stop: &CancellationToken,
) -> Shop {
    let listen = || async { TcpListener::bind("127.0.0.1:0").await.expect("a port is free") };
    let (at_strings, at_cuts) = (listen().await, listen().await);
    let url = |listener: &TcpListener| format!("http://{}", listener.local_addr().expect("it is bound"));
    let (strings_url, cuts_url) = (url(&at_strings), url(&at_cuts));
    let parts = becket_stringing::Parts {
        limits: limits.clone(),
        listener: at_strings,
        store: strings,
        clock: Arc::clone(clock) as _,
        shutdown: stop.clone(),
    };
    tokio::spawn(async move { becket_stringing::run(parts).await.expect("the stringing service runs") });
    let stringing = ServiceLink::at(strings_url.clone());
    let deps = becket_cutting::Deps { limits, store: cuts, clock: Arc::clone(clock) as _, stringing };
    let parts = becket_cutting::Parts { deps, listener: at_cuts, shutdown: stop.clone() };
    tokio::spawn(async move { becket_cutting::run(parts).await.expect("the cutting service runs") });
    Shop::lazy(&strings_url, &cuts_url).expect("addresses")
}
