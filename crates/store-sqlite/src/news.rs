//! Hearing of commits of this process. Those of other processes on the same file are found by whoever looks.

use async_trait::async_trait;
use becket_store::{Listener, News};
use tokio::sync::broadcast::{self, error::RecvError};

/// Commits that a listener may be behind before it is told only that it missed some.
const BACKLOG: usize = 64;

/// Tells of commits. A clone tells the same listeners.
#[derive(Debug, Clone)]
pub(crate) struct Newsroom(broadcast::Sender<News>);

impl Default for Newsroom {
    fn default() -> Self {
        Self(broadcast::channel(BACKLOG).0)
    }
}

impl Newsroom {
    /// Tells that these things were changed.
    pub(crate) fn tell(&self, subjects: Vec<String>) {
        // Nobody listening is no failure.
        let _ = self.0.send(News::Subjects(subjects));
    }

    /// Begins to listen.
    pub(crate) fn listen(&self) -> Box<dyn Listener> {
        Box::new(Ears(self.0.subscribe()))
    }
}

struct Ears(broadcast::Receiver<News>);

#[async_trait]
impl Listener for Ears {
    async fn next(&mut self) -> News {
        match self.0.recv().await {
            Ok(news) => news,
            Err(RecvError::Lagged(_)) => News::Anything,
            // The store is gone, and with it the news.
            Err(RecvError::Closed) => std::future::pending().await,
        }
    }
}
