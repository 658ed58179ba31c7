//! Waking readers when something was changed, by whichever replica.

use std::sync::Arc;
use std::time::Duration;

use becket_store::JournalStore;
use tokio::sync::watch;
use tokio::task::JoinHandle;

/// How long to wait before it is tried again to hear of changes.
const TRY_AGAIN: Duration = Duration::from_secs(1);
/// What was not heard of is found after this time.
const LOOK_EVERY: Duration = Duration::from_secs(1);

/// Wakes readers until it is dropped.
pub(crate) struct Wakes {
    news: watch::Receiver<()>,
    task: JoinHandle<()>,
}

impl Wakes {
    /// Begins to listen to the store.
    pub(crate) fn start(store: Arc<dyn JournalStore>) -> Self {
        let (tell, news) = watch::channel(());
        let task = tokio::spawn(async move {
            loop {
                match store.changes().await {
                    Ok(mut listener) => loop {
                        listener.next().await;
                        // Many changes wake a reader once.
                        tell.send_replace(());
                    },
                    Err(error) => {
                        tracing::debug!(%error, "changes are not heard of yet");
                        tokio::time::sleep(TRY_AGAIN).await;
                    }
                }
            }
        });
        Self { news, task }
    }

    /// A reader that has seen everything up to now.
    pub(crate) fn reader(&self) -> Wake {
        Wake(self.news.clone())
    }
}

impl Drop for Wakes {
    fn drop(&mut self) {
        self.task.abort();
    }
}

/// Wakes one reader.
pub(crate) struct Wake(watch::Receiver<()>);

impl Wake {
    /// Says that what comes from now on is news. To be called before a reader looks, so that nothing falls between.
    pub(crate) fn about_to_look(&mut self) {
        self.0.mark_unchanged();
    }

    /// Waits until something was changed after [`about_to_look`](Self::about_to_look), or it is time to look all the same.
    pub(crate) async fn next(&mut self) {
        if let Ok(Err(_)) = tokio::time::timeout(LOOK_EVERY, self.0.changed()).await {
            // Nobody tells any more: the service ends.
            tokio::time::sleep(LOOK_EVERY).await;
        }
    }
}
