//! Faults injected on purpose while stations book: servers and databases that are killed, disks that fill up, networks that
//! break, answers that come late, clocks that jump.
//!
//! Each fault runs in rounds. In a round the stations work, the fault comes and goes, and once every station has had an answer
//! again they pause, and everything that was ever acknowledged is looked for: nothing may be lost, done twice or unexplained,
//! and the balance of every coil must hold.
//!
//! Being part of tests, it panics where a test would: when a process under test does not start or stop.
#![allow(
    clippy::panic,
    clippy::expect_used,
    clippy::unwrap_used,
    reason = "part of tests: without a server there is nothing to test"
)]

mod audit;
mod crew;
pub mod faults;
mod ledger;
mod proxy;
mod report;
mod site;
mod station;

pub use faults::Place;
pub use report::{Outcome, table};
pub use site::Site;
