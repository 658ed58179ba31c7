//! How the database is used.

use std::time::Duration;

/// Sizes and times. The defaults suit two replicas on one server with its own default of 100 connections.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Options {
    /// Connections for writes: how many work at the same time before their commits queue up.
    pub write_connections: u32,
    /// Connections for reads, apart so that writes that wait for each other keep nobody from reading.
    pub read_connections: u32,
    /// How long a call waits for a free connection.
    pub acquire_timeout: Duration,
    /// How long one statement may take.
    pub statement_timeout: Duration,
    /// How long a statement waits for a lock; shorter than the statement's time.
    pub lock_timeout: Duration,
    /// How long a transaction may rest between two statements before the server ends it: the life of locks whose owner is gone.
    pub idle_in_transaction_timeout: Duration,
    /// How often a write is done that meets others, the first time included.
    pub attempts: u32,
    /// The pause before the second attempt, about; each later one is twice as long.
    pub pause: Duration,
    /// After this time no further attempt is begun. Longer than a deadlock is looked for by default (1 s), and shorter than
    /// [`lock_timeout`](Self::lock_timeout), so that whoever waited in vain for a lock does not wait again.
    pub attempts_within: Duration,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            write_connections: 8,
            read_connections: 8,
            acquire_timeout: Duration::from_secs(5),
            statement_timeout: Duration::from_secs(10),
            lock_timeout: Duration::from_secs(5),
            idle_in_transaction_timeout: Duration::from_secs(10),
            attempts: 6,
            pause: Duration::from_millis(5),
            attempts_within: Duration::from_secs(4),
        }
    }
}

impl Options {
    /// How long to wait before attempt `attempt` (2 is the second): [`pause`](Self::pause) doubled for each attempt, times
    /// 0.5 to 1.5 by the request id, so that two writes that met once do not meet again in step.
    pub(crate) fn pause_before(&self, attempt: u32, request_id: &str) -> Duration {
        // FNV-1a, 64 bits: http://www.isthe.com/chongo/tech/comp/fnv/
        let bytes = request_id.bytes().chain(attempt.to_le_bytes());
        let hash = bytes.fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
        });
        let share = 512 + u32::try_from(hash >> 54).unwrap_or(0);
        self.pause * 2_u32.saturating_pow(attempt.saturating_sub(2).min(10)) * share / 1024
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_grow_and_differ_by_request() {
        let options = Options::default();
        let pause = |attempt, id| options.pause_before(attempt, id);
        for attempt in 2..=6 {
            let base = options.pause * 2_u32.pow(attempt - 2);
            for id in ["a", "b", "2e7c"] {
                assert!((base / 2..base * 3 / 2).contains(&pause(attempt, id)), "{attempt} {id}");
            }
        }
        assert_eq!(pause(3, "a"), pause(3, "a"));
        assert_ne!(pause(3, "a"), pause(3, "b"));
    }
}
