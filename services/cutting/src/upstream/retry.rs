//! Trying again while there is time.

use std::time::Duration;

use becket_service_kit::Deadline;

/// Pause before the second try; it doubles from try to try.
const FIRST_PAUSE: Duration = Duration::from_millis(25);
/// Longest pause.
const LONGEST_PAUSE: Duration = Duration::from_secs(1);
/// Time that is kept for telling the caller that it did not work.
const RESERVE: Duration = Duration::from_millis(50);
/// Time for a call without a deadline, which only a test makes.
const NO_DEADLINE: Duration = Duration::from_secs(10);

/// The time that is left for a question and the pauses between tries.
#[derive(Debug)]
pub(crate) struct Patience {
    deadline: Deadline,
    pause: Duration,
}

impl Patience {
    /// Has as much time as the call that is being served.
    pub(crate) fn of(deadline: Option<Deadline>) -> Self {
        Self { deadline: deadline.unwrap_or_else(|| Deadline::after(NO_DEADLINE)), pause: FIRST_PAUSE }
    }

    /// Time that one try may take: what is left, less the reserve or half of it, whichever is less.
    pub(crate) fn time_for_a_try(&self) -> Duration {
        let left = self.deadline.remaining();
        left.saturating_sub(RESERVE.min(left / 2))
    }

    /// Pauses before the next try. `false`, at once, if there is no time for one.
    pub(crate) async fn pause(&mut self) -> bool {
        if self.deadline.remaining() < self.pause + RESERVE * 2 {
            return false;
        }
        tokio::time::sleep(self.pause).await;
        self.pause = (self.pause * 2).min(LONGEST_PAUSE);
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tokio::time::Instant;

    #[tokio::test(start_paused = true)]
    async fn pauses_grow_and_leave_time_for_an_answer() {
        let started = Instant::now();
        let mut patience = Patience::of(Some(Deadline::after(Duration::from_secs(2))));
        let mut tries = 1;
        while patience.pause().await {
            tries += 1;
        }
        let left = Duration::from_secs(2).saturating_sub(started.elapsed());
        assert!((5..=10).contains(&tries), "{tries}");
        assert!(left >= RESERVE, "{left:?}");
        assert!(!Patience::of(Some(Deadline::after(Duration::from_millis(60)))).pause().await);
    }
}
