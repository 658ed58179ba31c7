//! A few rounds of each fault that needs nothing installed; `tests/faults/run` has the long version.

use becket_faults::{Outcome, faults, table};

use crate::binary;

const SEED: u64 = 20_261_202;

/// Checks that nothing was lost, and that the rounds had something to lose.
fn check(outcome: &Outcome, rounds: usize) {
    println!("{}", table(std::slice::from_ref(outcome)));
    assert_eq!(outcome.faults(), "", "{outcome:?}");
    assert_eq!(outcome.rounds, rounds);
    assert!(outcome.acknowledged > rounds * 4, "{outcome:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn stations_outlive_killed_replicas() {
    check(&faults::kill_postgres_replica(binary(), 5, SEED).await, 5);
}

#[tokio::test(flavor = "multi_thread")]
async fn stations_outlive_a_crash_of_the_database() {
    let outcome = faults::crash(binary(), 2, SEED).await;
    check(&outcome, 2);
    assert!(outcome.unanswered > 0, "{outcome:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn stations_outlive_a_failover() {
    check(&faults::failover(binary(), 2, SEED).await, 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn stations_outlive_a_broken_network() {
    let outcome = faults::network(binary(), 3, SEED).await;
    check(&outcome, 3);
    assert!(outcome.unanswered > 0, "{outcome:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn stations_outlive_a_slow_database() {
    let outcome = faults::slow_database(binary(), 3, SEED).await;
    check(&outcome, 3);
    assert!(outcome.unanswered > 0, "{outcome:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn clocks_that_jump_confuse_nobody() {
    check(&faults::clock_sqlite(binary(), 3, SEED).await, 3);
    check(&faults::clock_postgres(binary(), 3, SEED).await, 3);
}
