//! The primary is killed, and its synchronous standby takes over, while four stations book at two replicas.

use std::path::Path;
use std::time::{Duration, Instant};

use becket_test_postgres::Pair;

use super::Trial;
use crate::report::Outcome;
use crate::site::Site;

/// Longest time that the stations work before the primary dies.
const LONGEST: Duration = Duration::from_millis(1200);
/// In every second round the standby goes first, for this long: longer than a statement may take. Writes must wait for it, and
/// must not be acknowledged without.
const STANDBY_AWAY: Duration = Duration::from_millis(2500);
const STATEMENT_TIMEOUT: &str = "statement_timeout = \"1s\"\nlock_timeout = \"1s\"";

/// Servers change places; the address of the database names both.
pub async fn failover(binary: &Path, rounds: usize, seed: u64) -> Outcome {
    let mut pair = Pair::start();
    let site = Site::postgres(binary, &pair.database(), 2, STATEMENT_TIMEOUT);
    let mut trial = Trial::begin("failover to a standby", site.engine(), site.doors(), seed).await;
    for round in 0..rounds {
        let time = trial.moment(LONGEST);
        trial.work(time).await;
        if round % 2 == 1 {
            pair.crash_standby();
            tokio::time::sleep(STANDBY_AWAY).await;
            // Both are gone now, and the one that missed the last writes comes back as the primary.
            pair.crash_primary();
            pair.revive_standby();
        } else {
            pair.crash_primary();
        }
        pair.promote();
        trial.settle(Instant::now(), &site).await;
        if trial.is_lost() {
            break;
        }
        pair.follow();
    }
    trial.end()
}
