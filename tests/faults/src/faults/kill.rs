//! The server is killed (SIGKILL) at random moments while four stations book.

use std::path::Path;
use std::time::{Duration, Instant};

use becket_test_postgres::Server as Postgres;

use super::Trial;
use crate::report::Outcome;
use crate::site::Site;

/// Longest time that the stations work before a kill; several calls fit into it.
const LONGEST: Duration = Duration::from_millis(400);

/// One process on SQLite, which is killed and started again.
pub async fn kill_sqlite(binary: &Path, rounds: usize, seed: u64) -> Outcome {
    let site = Site::sqlite(binary, None);
    kill("kill −9 of the server", site, rounds, seed).await
}

/// Two replicas on PostgreSQL, one of which is killed each time; the other goes on.
pub async fn kill_postgres_replica(binary: &Path, rounds: usize, seed: u64) -> Outcome {
    let site = Site::postgres(binary, &Postgres::shared().database(), 2, "");
    kill("kill −9 of a replica", site, rounds, seed).await
}

async fn kill(fault: &str, mut site: Site, rounds: usize, seed: u64) -> Outcome {
    let mut trial = Trial::begin(fault, site.engine(), site.doors(), seed).await;
    for _ in 0..rounds {
        let time = trial.moment(LONGEST);
        trial.work(time).await;
        let victim = trial.random.below(site.replicas());
        let gone = Instant::now();
        site.kill(victim);
        site.start(victim);
        trial.settle(gone, &site).await;
        if trial.is_lost() {
            break;
        }
    }
    trial.end()
}
