//! Dropping first answers to requests that need no longer be kept, a few at a time.
//!
//! Every replica looks; the engine sees to it that one at a time drops. A clock that jumps ahead makes everything look old, so age alone
//! does not decide: the newest [`NEWEST_KEPT`] stay in any case, and no more than [`BATCH`] go each [`LOOK_EVERY`], so that a clock that is
//! put right again has cost little. What lost its answer is not done again, whenever it comes.

use std::sync::Arc;
use std::time::Duration;

use becket_store::{Engine, Outdated, StoreError};
use tokio::task::JoinHandle;

use crate::clock::Clock;

/// How often is looked for old answers.
const LOOK_EVERY: Duration = Duration::from_secs(10);
/// Answers that are dropped at once.
const BATCH: u32 = 500;
/// The newest answers, which are kept whatever the clock says.
const NEWEST_KEPT: u32 = 10_000;

/// The task that drops old answers. It ends when this is dropped.
#[derive(Debug)]
pub struct Upkeep(JoinHandle<()>);

impl Upkeep {
    /// Begins to drop answers that are older than `kept`.
    pub fn start(store: Arc<dyn Engine>, clock: Arc<dyn Clock>, kept: Duration) -> Self {
        Self(tokio::spawn(async move {
            loop {
                tokio::time::sleep(LOOK_EVERY).await;
                match look(&*store, &*clock, kept).await {
                    Ok(0) => {}
                    Ok(dropped) => tracing::debug!(dropped, "old answers are no longer kept"),
                    Err(error) => tracing::debug!(%error, "old answers are dropped later"),
                }
            }
        }))
    }
}

impl Drop for Upkeep {
    fn drop(&mut self) {
        self.0.abort();
    }
}

async fn look(store: &dyn Engine, clock: &dyn Clock, kept: Duration) -> Result<u64, StoreError> {
    let kept_us = i64::try_from(kept.as_micros()).unwrap_or(i64::MAX);
    let old = Outdated { now_us: clock.now_us(), kept_us, newest_kept: NEWEST_KEPT, most: BATCH };
    store.drop_answers(&old).await
}

#[cfg(test)]
mod tests {
    use std::sync::Mutex;

    use async_trait::async_trait;
    use becket_store::WriteContext;

    use super::*;
    use crate::clock::FixedClock;

    /// Notes what it is asked to drop; every second call fails.
    #[derive(Default)]
    struct Asked(Mutex<Vec<Outdated>>);

    #[async_trait]
    impl Engine for Asked {
        async fn find_answer(&self, _: &WriteContext) -> Result<Option<Vec<u8>>, StoreError> {
            Ok(None)
        }

        async fn drop_answers(&self, old: &Outdated) -> Result<u64, StoreError> {
            let mut asked = self.0.lock().unwrap();
            asked.push(*old);
            if asked.len().is_multiple_of(2) { Err(StoreError::Busy) } else { Ok(u64::from(old.most)) }
        }

        async fn token_key(&self) -> Result<[u8; 32], StoreError> {
            Err(StoreError::Busy)
        }

        async fn check(&self) -> Result<(), StoreError> {
            Ok(())
        }
    }

    #[tokio::test(start_paused = true)]
    async fn a_few_go_at_a_time_by_the_injected_clock() {
        let (asked, clock) = (Arc::new(Asked::default()), Arc::new(FixedClock::new(1_000)));
        let kept = Duration::from_secs(24 * 3600);
        let upkeep = Upkeep::start(Arc::clone(&asked) as _, Arc::clone(&clock) as _, kept);
        tokio::time::sleep(LOOK_EVERY * 2 + LOOK_EVERY / 2).await;
        // A clock that jumps ahead drops no more at once than one that goes right.
        clock.advance_us(365 * 86_400 * 1_000_000);
        tokio::time::sleep(LOOK_EVERY * 2).await;
        drop(upkeep);
        tokio::time::sleep(LOOK_EVERY * 5).await;
        let asked = asked.0.lock().unwrap();
        let times: Vec<i64> = asked.iter().map(|old| old.now_us).collect();
        let jumped = 1_000 + 365 * 86_400 * 1_000_000;
        assert_eq!(
            times,
            [1_000, 1_000, jumped, jumped],
            "it goes on after a failure and ends when it is dropped"
        );
        assert!(asked.iter().all(|old| (old.most, old.newest_kept) == (BATCH, NEWEST_KEPT)));
        assert_eq!(asked[2].before_us(), jumped - 86_400 * 1_000_000);
    }
}
