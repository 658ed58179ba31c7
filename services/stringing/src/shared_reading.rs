//! One reading for all calls that wait for it.

use std::sync::{Arc, Mutex, PoisonError};

use futures_util::future::BoxFuture;
use tokio::sync::oneshot;

/// Reads something from the store; `None` if that fails.
type Read<T> = Box<dyn Fn() -> BoxFuture<'static, Option<T>> + Send + Sync>;

/// A reading that calls share. A call is given the result of a reading that *began after* it asked, so that it sees
/// whatever had been written by then, as if it had read by itself. Calls that ask while a reading is under way wait for the
/// next one, all of them for the same: however many there are, each waits for two readings at most, and the store is asked
/// once in the time of one reading.
#[derive(Clone)]
pub(crate) struct SharedReading<T>(Arc<Shared<T>>);

struct Shared<T> {
    read: Read<T>,
    waiting: Mutex<Waiting<T>>,
}

struct Waiting<T> {
    /// Whether a task is reading, which goes on until nobody waits.
    reading: bool,
    /// Those who wait for the next reading.
    next: Vec<oneshot::Sender<T>>,
}

impl<T: Copy + Send + 'static> SharedReading<T> {
    /// Makes a reading of what `read` reads.
    pub(crate) fn new(read: impl Fn() -> BoxFuture<'static, Option<T>> + Send + Sync + 'static) -> Self {
        let waiting = Mutex::new(Waiting { reading: false, next: Vec::new() });
        Self(Arc::new(Shared { read: Box::new(read), waiting }))
    }

    /// The result of a reading that begins after this call; `None` if it fails.
    pub(crate) async fn get(&self) -> Option<T> {
        let (sender, receiver) = oneshot::channel();
        let begin = {
            let mut waiting = self.0.waiting.lock().unwrap_or_else(PoisonError::into_inner);
            waiting.next.push(sender);
            !std::mem::replace(&mut waiting.reading, true)
        };
        if begin {
            // A task of its own: a caller that goes away must not leave the others waiting.
            tokio::spawn(Reader(Arc::clone(&self.0)).run());
        }
        receiver.await.ok()
    }
}

/// The task that reads.
struct Reader<T>(Arc<Shared<T>>);

impl<T: Copy> Reader<T> {
    async fn run(self) {
        loop {
            // Calls that are ready to ask do so first, and share the reading that begins then.
            tokio::task::yield_now().await;
            let Some(asking) = self.asking() else { return };
            // If it fails, the senders are dropped, which tells the callers.
            let Some(found) = (self.0.read)().await else { continue };
            for sender in asking {
                // A caller may have gone away.
                let _ = sender.send(found);
            }
        }
    }

    /// Those for whom the next reading is; `None` if there is nobody, and then the task ends.
    fn asking(&self) -> Option<Vec<oneshot::Sender<T>>> {
        let mut waiting = self.0.waiting.lock().unwrap_or_else(PoisonError::into_inner);
        let asking = std::mem::take(&mut waiting.next);
        waiting.reading = !asking.is_empty();
        waiting.reading.then_some(asking)
    }
}

impl<T> Drop for Reader<T> {
    fn drop(&mut self) {
        // Something waits still if the task was ended from without or by a panic. Whoever waits is told, and the next call
        // begins a new task.
        let mut waiting = self.0.waiting.lock().unwrap_or_else(PoisonError::into_inner);
        waiting.next.clear();
        waiting.reading = false;
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicI64, Ordering};

    use futures_util::FutureExt;
    use tokio::sync::Semaphore;
    use tokio::task::JoinHandle;

    use super::*;

    /// A store whose readings begin at once, take down what is written by then, and end when they are let.
    struct Slow {
        written: AtomicI64,
        begun: AtomicI64,
        let_end: Semaphore,
    }

    fn slow() -> (Arc<Slow>, SharedReading<i64>) {
        let store = Slow { written: AtomicI64::new(1), begun: AtomicI64::new(0), let_end: Semaphore::new(0) };
        let store = Arc::new(store);
        let reading = SharedReading::new({
            let store = Arc::clone(&store);
            move || {
                let store = Arc::clone(&store);
                async move {
                    let seen = store.written.load(Ordering::SeqCst);
                    store.begun.fetch_add(1, Ordering::SeqCst);
                    store.let_end.acquire().await.unwrap().forget();
                    assert_ne!(seen, 13, "a reading that panics");
                    (seen > 0).then_some(seen)
                }
                .boxed()
            }
        });
        (store, reading)
    }

    fn ask(reading: &SharedReading<i64>) -> JoinHandle<Option<i64>> {
        let reading = reading.clone();
        tokio::spawn(async move { reading.get().await })
    }

    /// Lets every task run until it waits: tests run on one thread.
    async fn settle() {
        for _ in 0..50 {
            tokio::task::yield_now().await;
        }
    }

    #[tokio::test]
    async fn calls_share_a_reading_that_begins_after_them() {
        let (store, reading) = slow();
        let first = ask(&reading);
        settle().await;
        store.written.store(2, Ordering::SeqCst);
        let later: Vec<_> = (0..100).map(|_| ask(&reading)).collect();
        settle().await;
        assert_eq!(store.begun.load(Ordering::SeqCst), 1, "they wait for the next reading");
        store.written.store(3, Ordering::SeqCst);
        store.let_end.add_permits(1);
        assert_eq!(first.await.unwrap(), Some(1));
        settle().await;
        assert!(later.iter().all(|call| !call.is_finished()), "the reading under way is not theirs");
        store.let_end.add_permits(1);
        for call in later {
            assert_eq!(call.await.unwrap(), Some(3));
        }
        assert_eq!(store.begun.load(Ordering::SeqCst), 2, "a hundred calls, one reading");
    }

    #[tokio::test]
    async fn a_caller_that_goes_away_takes_nobody_along() {
        let (store, reading) = slow();
        let first = ask(&reading);
        settle().await;
        let (gone, stays) = (ask(&reading), ask(&reading));
        settle().await;
        first.abort();
        gone.abort();
        store.let_end.add_permits(2);
        assert_eq!(stays.await.unwrap(), Some(1));
        // And the next one begins afresh.
        store.let_end.add_permits(1);
        assert_eq!(ask(&reading).await.unwrap(), Some(1));
    }

    #[tokio::test]
    async fn a_reading_that_fails_is_told_and_the_next_one_is_made() {
        let (store, reading) = slow();
        store.let_end.add_permits(10);
        store.written.store(0, Ordering::SeqCst);
        assert_eq!(reading.get().await, None);
        store.written.store(13, Ordering::SeqCst);
        assert_eq!(reading.get().await, None, "a panic");
        store.written.store(5, Ordering::SeqCst);
        assert_eq!(reading.get().await, Some(5));
    }
}
