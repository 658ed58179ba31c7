//! Computation away from the threads that serve connections.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use tokio::sync::Semaphore;

use crate::panics::panic_text;

/// Tells a computation that nobody waits for it any more. A computation of more than a few milliseconds asks
/// it now and then.
#[derive(Debug, Clone, Default)]
pub struct CancelFlag(Arc<AtomicBool>);

impl CancelFlag {
    /// Returns whether the computation should stop.
    pub fn is_cancelled(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }

    /// Asks the computation to stop.
    pub fn cancel(&self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

/// Cancels when it is dropped, which happens when the call's deadline passes or its caller goes away.
struct CancelOnDrop(CancelFlag);

impl Drop for CancelOnDrop {
    fn drop(&mut self) {
        self.0.cancel();
    }
}

/// Why a computation gave no result.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ComputeError {
    /// The pool was closed because the service stops.
    #[error("the service is stopping")]
    Closed,
    /// The computation panicked: a fault of the service.
    #[error("{0}")]
    Panicked(String),
}

/// Runs computations on threads of their own, so many at a time; further ones wait.
#[derive(Debug, Clone)]
pub struct ComputePool {
    permits: Arc<Semaphore>,
}

impl ComputePool {
    /// Builds a pool that runs `at_once` computations at the same time, at least one.
    pub fn new(at_once: usize) -> Self {
        Self { permits: Arc::new(Semaphore::new(at_once.clamp(1, Semaphore::MAX_PERMITS))) }
    }

    /// Runs a computation when its turn comes. If the returned future is dropped, the computation's flag is
    /// set; its place is free only when it has really ended.
    ///
    /// # Errors
    /// [`ComputeError::Closed`] while the runtime shuts down, [`ComputeError::Panicked`] with the panic's
    /// text.
    pub async fn run<T, F>(&self, work: F) -> Result<T, ComputeError>
    where
        T: Send + 'static,
        F: FnOnce(&CancelFlag) -> T + Send + 'static,
    {
        let permit = Arc::clone(&self.permits).acquire_owned().await.map_err(|_| ComputeError::Closed)?;
        let flag = CancelFlag::default();
        let _cancel = CancelOnDrop(flag.clone());
        let task = tokio::task::spawn_blocking(move || {
            let _permit = permit;
            work(&flag)
        });
        task.await.map_err(|error| match error.try_into_panic() {
            Ok(payload) => ComputeError::Panicked(panic_text(payload.as_ref())),
            Err(_) => ComputeError::Closed,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc;

    #[tokio::test]
    async fn results_and_panics_come_back() {
        let pool = ComputePool::new(1);
        assert_eq!(pool.run(|_| 2 + 2).await, Ok(4));
        let failed: Result<(), _> = pool.run(|_| panic!("bad sum")).await;
        assert_eq!(failed, Err(ComputeError::Panicked("panic: bad sum".to_owned())));
        assert_eq!(pool.run(|_| 5).await, Ok(5), "a panic gives its place back");
    }

    #[tokio::test]
    async fn dropping_the_future_cancels_and_keeps_the_place_until_the_end() {
        let pool = ComputePool::new(1);
        let (started, wait_started) = tokio::sync::oneshot::channel();
        let (seen, wait_seen) = mpsc::channel();
        let (release, wait_release) = mpsc::channel::<()>();
        let running = tokio::spawn({
            let pool = pool.clone();
            async move {
                pool.run(move |flag| {
                    started.send(()).unwrap();
                    wait_release.recv().unwrap();
                    seen.send(flag.is_cancelled()).unwrap();
                })
                .await
            }
        });
        wait_started.await.unwrap();
        running.abort();
        assert!(running.await.unwrap_err().is_cancelled());
        assert_eq!(pool.permits.available_permits(), 0);
        release.send(()).unwrap();
        // The next computation gets its turn only after the first one ended, so its flag has been reported by
        // then.
        let cancelled = pool.run(move |_| wait_seen.recv().unwrap()).await.unwrap();
        assert!(cancelled);
    }
}
