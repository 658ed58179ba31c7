//! What is known of the call that is being served, to everything that runs within it.

use std::collections::hash_map::RandomState;
use std::fmt;
use std::hash::{BuildHasher, Hasher};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, OnceLock};

use http::HeaderMap;

/// Key of the metadata in which a caller says how many bytes of headers it takes with an error.
pub const ERROR_BYTES_KEY: &str = "becket-error-bytes";

/// What every gRPC client takes unless it is told otherwise: 8 KiB of headers, all told. Clients in C++,
/// Python and Java refuse more, or may.
const DEFAULT_ERROR_BYTES: usize = 8 * 1024;
/// The most that is sent, whatever a caller says that it takes.
const MAX_ERROR_BYTES: usize = 1024 * 1024;

tokio::task_local! {
    /// The call in whose task this code runs.
    pub(crate) static CALL: Call;
}

/// The call that is being served.
#[derive(Debug, Clone)]
pub(crate) struct Call {
    /// Tells calls apart in the log.
    pub(crate) id: CallId,
    /// How many bytes of headers the caller takes with an error.
    pub(crate) error_bytes: usize,
    /// The request id of a write, once it is read.
    pub(crate) request_id: Arc<OnceLock<String>>,
}

impl Call {
    /// Begins a call with the headers of its request. Less than the default is not kept to, and a number that
    /// is none says nothing.
    pub(crate) fn begin(headers: &HeaderMap) -> Self {
        let stated = headers.get(ERROR_BYTES_KEY).and_then(|value| value.to_str().ok()?.parse().ok());
        let error_bytes = stated.unwrap_or(DEFAULT_ERROR_BYTES).clamp(DEFAULT_ERROR_BYTES, MAX_ERROR_BYTES);
        Self { id: CallId::new(), error_bytes, request_id: Arc::default() }
    }

    /// The call being served; outside any call one of its own.
    pub(crate) fn current() -> Self {
        CALL.try_with(Clone::clone).unwrap_or_else(|_| Self::begin(&HeaderMap::new()))
    }
}

/// The id of a call: a number that differs between processes and a count.
///
/// It only has to tell calls apart in a log; it is no secret.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct CallId {
    process: u64,
    count: u64,
}

impl CallId {
    fn new() -> Self {
        static PROCESS: OnceLock<u64> = OnceLock::new();
        static COUNT: AtomicU64 = AtomicU64::new(1);
        let process = *PROCESS.get_or_init(|| RandomState::new().build_hasher().finish());
        Self { process, count: COUNT.fetch_add(1, Ordering::Relaxed) }
    }
}

impl fmt::Display for CallId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:016x}-{}", self.process, self.count)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stating(bytes: &str) -> HeaderMap {
        let mut headers = HeaderMap::new();
        headers.insert(ERROR_BYTES_KEY, bytes.parse().unwrap());
        headers
    }

    #[tokio::test]
    async fn code_within_a_call_sees_it() {
        let call = Call::begin(&HeaderMap::new());
        assert_eq!(CALL.scope(call.clone(), async { Call::current().id }).await, call.id);
        assert_ne!(Call::current().id, call.id);
    }

    #[test]
    fn a_caller_may_take_more_than_the_default() {
        let bytes = |stated| Call::begin(&stating(stated)).error_bytes;
        assert_eq!(bytes("65536"), 65_536);
        assert_eq!((bytes("1"), bytes("plenty"), bytes("-5")), (8192, 8192, 8192));
        assert_eq!(bytes("999999999"), 1024 * 1024);
    }
}
