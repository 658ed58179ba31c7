//! The faults, one file each.

mod clock;
mod disk;
mod failover;
mod guard;
mod kill;
mod network;
mod postgres;
mod slow;

use std::time::{Duration, Instant};

pub use clock::{clock_postgres, clock_sqlite};
pub use disk::{disk_postgres, disk_sqlite};
pub use failover::failover;
pub use kill::{kill_postgres_replica, kill_sqlite};
pub use network::network;
pub use postgres::crash;
pub use slow::slow_database;

use crate::audit::{Audit, check_repeat, drawn};
use crate::crew::Crew;
use crate::report::Outcome;
use becket_e2e::Shop;
use becket_e2e::random::Random;

/// Stations that work at the same time.
const STATIONS: usize = 4;

/// Where the services of a trial keep their data, and what they said.
pub trait Place {
    /// What the services wrote to standard error and must not have.
    fn complaints(&self) -> Vec<String> {
        Vec::new()
    }

    /// Whether the journal, replayed, gives what is stored.
    ///
    /// # Errors
    /// What `becket verify` says if it does not.
    fn verify(&self) -> Result<(), String>;
}

/// A site, its crew and what was found so far.
pub(crate) struct Trial {
    pub(crate) crew: Crew,
    pub(crate) outcome: Outcome,
    pub(crate) random: Random,
    audit: Audit,
    doors: Vec<Shop>,
}

impl Trial {
    /// Loads the shop behind the doors, which lead to replicas of both services.
    pub(crate) async fn begin(fault: &str, engine: &str, doors: Vec<Shop>, seed: u64) -> Self {
        Self::begin_at(fault, engine, doors, seed, false).await
    }

    /// The same where each service has data of its own.
    pub(crate) async fn begin_split(fault: &str, engine: &str, doors: Vec<Shop>, seed: u64) -> Self {
        Self::begin_at(fault, engine, doors, seed, true).await
    }

    async fn begin_at(fault: &str, engine: &str, doors: Vec<Shop>, seed: u64, split: bool) -> Self {
        let crew = Crew::new(&doors, STATIONS, seed).await;
        let audit = Audit::begin(&doors[0], split).await;
        let outcome = Outcome::new(fault, engine);
        Self { crew, outcome, random: Random::new(seed), audit, doors }
    }

    /// A random time up to `longest`.
    pub(crate) fn moment(&mut self, longest: Duration) -> Duration {
        let us = usize::try_from(longest.as_micros()).unwrap_or(usize::MAX);
        Duration::from_micros(u64::try_from(self.random.below(us)).unwrap_or(0))
    }

    /// Lets the stations work for this long.
    pub(crate) async fn work(&mut self, time: Duration) {
        self.crew.work();
        tokio::time::sleep(time).await;
    }

    /// The fault has been gone since `since`: waits until all stations are answered, lets them pause and looks whether everything holds.
    pub(crate) async fn settle(&mut self, since: Instant, place: &impl Place) {
        let took = self.crew.recovered(since).await;
        self.outcome.recovery = self.outcome.recovery.max(took);
        self.crew.pause().await;
        self.outcome.rounds += 1;
        let mut shop = self.doors[self.outcome.rounds % self.doors.len()].clone();
        let checked = {
            // Copied, so that no lock is held over the questions.
            let known = self.crew.ledger.known().copy();
            self.audit.check(&mut shop, &known).await
        };
        match checked {
            Ok(findings) => self.outcome.add(findings),
            Err(status) => self.outcome.other.push(format!("the check was not answered: {status:?}")),
        }
        let answer = drawn(&self.crew.ledger.known(), &mut self.random);
        if let Some(answer) = answer {
            match check_repeat(&mut shop, &answer).await {
                Ok(differs) => self.outcome.twice.extend(differs),
                Err(status) => self.outcome.other.push(format!("a repeat was refused: {status:?}")),
            }
        }
        self.outcome.other.extend(place.complaints());
        self.verify(place);
    }

    /// Replays the journal: after every round, so that a round is known by which it does not hold any more.
    fn verify(&mut self, place: &impl Place) {
        let begun = Instant::now();
        let passed = tokio::task::block_in_place(|| place.verify());
        self.outcome.slowest_verify = self.outcome.slowest_verify.max(begun.elapsed());
        self.outcome.verified.1 += 1;
        match passed {
            Ok(()) => self.outcome.verified.0 += 1,
            Err(text) => self.outcome.other.push(text),
        }
    }

    /// The outcome.
    pub(crate) fn end(mut self) -> Outcome {
        let known = self.crew.ledger.known();
        self.outcome.acknowledged = known.requests.len();
        self.outcome.unanswered = known.unanswered;
        self.outcome.other.extend(known.wrong.iter().cloned());
        drop(known);
        self.outcome
    }

    /// Whether it makes no sense to go on.
    pub(crate) fn is_lost(&self) -> bool {
        !self.crew.ledger.known().wrong.is_empty() || !self.outcome.faults().is_empty()
    }
}
