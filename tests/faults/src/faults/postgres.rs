//! PostgreSQL is killed (SIGKILL of its first process) and started again while four stations book at two replicas.

use std::path::Path;
use std::time::{Duration, Instant};

use becket_test_postgres::Server as Postgres;

use super::Trial;
use crate::report::Outcome;
use crate::site::Site;

/// Longest time that the stations work before a kill.
const LONGEST: Duration = Duration::from_millis(800);
/// Longest time that the server stays away.
const AWAY: Duration = Duration::from_millis(1500);

/// The server of the database crashes and comes back.
pub async fn crash(binary: &Path, rounds: usize, seed: u64) -> Outcome {
    let postgres = Postgres::start();
    let site = Site::postgres(binary, &postgres.database(), 2, "");
    let mut trial = Trial::begin("kill −9 of PostgreSQL", site.engine(), site.doors(), seed).await;
    for _ in 0..rounds {
        let time = trial.moment(LONGEST);
        trial.work(time).await;
        postgres.crash();
        let away = trial.moment(AWAY);
        tokio::time::sleep(away).await;
        postgres.revive();
        trial.settle(Instant::now(), &site).await;
        if trial.is_lost() {
            break;
        }
    }
    trial.end()
}
