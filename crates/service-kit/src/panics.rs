//! A panic in one call ends that call and nothing else.

use std::any::Any;
use std::future::poll_fn;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::pin::pin;
use std::task::Poll;

/// Runs a future and returns the text of its panic if it panics.
///
/// Unwind safety: the future is dropped after a panic and never polled again, and what it shares with other
/// calls is guarded by locks and transactions of its own.
pub(crate) async fn caught<F: Future>(future: F) -> Result<F::Output, String> {
    let mut future = pin!(future);
    poll_fn(|cx| match catch_unwind(AssertUnwindSafe(|| future.as_mut().poll(cx))) {
        Ok(Poll::Pending) => Poll::Pending,
        Ok(Poll::Ready(output)) => Poll::Ready(Ok(output)),
        Err(payload) => Poll::Ready(Err(panic_text(payload.as_ref()))),
    })
    .await
}

/// The text of a panic, as far as it has one.
pub(crate) fn panic_text(payload: &(dyn Any + Send)) -> String {
    let text = payload
        .downcast_ref::<&str>()
        .map(|text| (*text).to_owned())
        .or_else(|| payload.downcast_ref::<String>().cloned());
    format!("panic: {}", text.as_deref().unwrap_or("without a text"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_panic_becomes_an_error() {
        assert_eq!(caught(async { 7 }).await, Ok(7));
        let failed: Result<(), String> = caught(async {
            tokio::task::yield_now().await;
            panic!("no such note: {}", 97)
        })
        .await;
        assert_eq!(failed, Err("panic: no such note: 97".to_owned()));
    }
}
