//! The id of the call that is being served, known to everything that runs within it.

use std::collections::hash_map::RandomState;
use std::hash::{BuildHasher, Hasher};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU64, Ordering};

tokio::task_local! {
    /// Id of the call in whose task this code runs.
    pub(crate) static CALL_ID: String;
}

/// Makes the id of a new call: a prefix that differs between processes and a count.
///
/// It only has to tell calls apart in a log; it is no secret.
pub(crate) fn new_call_id() -> String {
    static PREFIX: OnceLock<u64> = OnceLock::new();
    static COUNT: AtomicU64 = AtomicU64::new(1);
    let prefix = PREFIX.get_or_init(|| RandomState::new().build_hasher().finish());
    format!("{prefix:016x}-{}", COUNT.fetch_add(1, Ordering::Relaxed))
}

/// Returns the id of the call being served, or a new one outside any call.
pub(crate) fn current_call_id() -> String {
    CALL_ID.try_with(Clone::clone).unwrap_or_else(|_| new_call_id())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn code_within_a_call_sees_its_id() {
        let id = new_call_id();
        assert_eq!(CALL_ID.scope(id.clone(), async { current_call_id() }).await, id);
        assert_ne!(current_call_id(), id);
    }
}
