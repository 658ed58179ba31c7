//! The time of day, as an argument.

use std::sync::atomic::{AtomicI64, Ordering};

/// Tells the time. Use cases take it as an argument, so that a test can say what time it is.
pub trait Clock: Send + Sync + 'static {
    /// Returns the time in µs since the Unix epoch, UTC.
    fn now_us(&self) -> i64;
}

/// The clock of the machine.
#[derive(Debug, Clone, Copy, Default)]
pub struct SystemClock;

impl Clock for SystemClock {
    #[expect(clippy::disallowed_methods, reason = "this is the one place that reads the clock")]
    fn now_us(&self) -> i64 {
        jiff::Timestamp::now().as_microsecond()
    }
}

/// A clock that stands still until it is moved; for tests and for the repetition of a recorded day.
#[derive(Debug, Default)]
pub struct FixedClock(AtomicI64);

impl FixedClock {
    /// Builds a clock that shows `now_us`, in µs since the Unix epoch.
    pub fn new(now_us: i64) -> Self {
        Self(AtomicI64::new(now_us))
    }

    /// Moves the clock on by `by_us` µs, or back if that is negative.
    pub fn advance_us(&self, by_us: i64) {
        self.0.fetch_add(by_us, Ordering::Relaxed);
    }
}

impl Clock for FixedClock {
    fn now_us(&self) -> i64 {
        self.0.load(Ordering::Relaxed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fixed_clock_moves_only_when_told() {
        let clock = FixedClock::new(1_000);
        assert_eq!((clock.now_us(), clock.now_us()), (1_000, 1_000));
        clock.advance_us(-250);
        assert_eq!(clock.now_us(), 750);
    }

    #[test]
    fn the_system_clock_counts_microseconds_of_this_century() {
        let now_us = SystemClock.now_us();
        // 2020 to 2100, which milliseconds or nanoseconds would miss.
        assert!((1_577_836_800_000_000..4_102_444_800_000_000).contains(&now_us), "{now_us}");
    }
}
