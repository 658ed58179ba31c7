//! Telling watchers that a list has changed.

use becket_floor::ListId;
use tokio::sync::broadcast::{self, error::RecvError};

/// Changes that a watcher may be behind before it is told only that it missed some.
const BACKLOG: usize = 64;

/// Tells watchers in this process which list has changed.
#[derive(Debug, Clone)]
pub(crate) struct ListChanges(broadcast::Sender<ListId>);

impl Default for ListChanges {
    fn default() -> Self {
        Self(broadcast::channel(BACKLOG).0)
    }
}

impl ListChanges {
    /// Tells that a list has changed.
    pub(crate) fn tell(&self, list_id: &ListId) {
        // Nobody watching is no failure.
        let _ = self.0.send(list_id.clone());
    }

    /// Begins to listen.
    pub(crate) fn listen(&self) -> ListListener {
        ListListener(self.0.subscribe())
    }
}

/// Hears of changes from its creation on.
#[derive(Debug)]
pub(crate) struct ListListener(broadcast::Receiver<ListId>);

impl ListListener {
    /// Waits until the list has changed, or may have.
    pub(crate) async fn changed(&mut self, list_id: &ListId) {
        loop {
            match self.0.recv().await {
                Ok(changed) if changed == *list_id => return,
                Ok(_) => {}
                Err(RecvError::Lagged(_)) => return,
                // The sender lives as long as the service; without it there is no news.
                Err(RecvError::Closed) => std::future::pending().await,
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_listener_hears_of_its_list_and_of_gaps() {
        let changes = ListChanges::default();
        let (mine, other) = (ListId::numbered(1), ListId::numbered(2));
        changes.tell(&mine);
        let mut listener = changes.listen();
        changes.tell(&other);
        changes.tell(&mine);
        listener.changed(&mine).await;
        for _ in 0..=BACKLOG {
            changes.tell(&other);
        }
        listener.changed(&mine).await;
    }
}
