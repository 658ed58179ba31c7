//! Telling watchers that a list has changed, whichever replica changed it.

use std::sync::Arc;
use std::time::Duration;

use becket_floor::ListId;
use becket_store::{Kind, News};
use tokio::sync::broadcast::{self, error::RecvError};
use tokio::task::JoinHandle;

use crate::app::Storage;

/// Changes that a watcher may be behind before it is told only that it missed some.
const BACKLOG: usize = 64;
/// How long to wait before it is tried again to hear of other replicas.
const TRY_AGAIN: Duration = Duration::from_secs(1);

/// Tells watchers in this process which list has changed.
#[derive(Debug, Clone)]
pub(crate) struct ListChanges(broadcast::Sender<Changed>);

/// What has changed.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Changed {
    List(ListId),
    /// Any list, or what its steps will leave.
    Any,
}

impl Default for ListChanges {
    fn default() -> Self {
        Self(broadcast::channel(BACKLOG).0)
    }
}

impl ListChanges {
    /// Tells that a list has changed.
    pub(crate) fn tell(&self, list_id: &ListId) {
        self.send(Changed::List(list_id.clone()));
    }

    fn send(&self, changed: Changed) {
        // Nobody watching is no failure.
        let _ = self.0.send(changed);
    }

    /// Passes on what the store hears of.
    fn pass_on(&self, news: News) {
        let News::Subjects(subjects) = news else { return self.send(Changed::Any) };
        for subject in subjects {
            match subject.split_once('/') {
                Some((kind, id)) if kind == Kind::CutList.to_string() => match ListId::new(id) {
                    Ok(list_id) => self.send(Changed::List(list_id)),
                    Err(_) => self.send(Changed::Any),
                },
                // What is on a coil decides what the steps of lists will leave.
                Some((kind, _)) if kind == Kind::Coil.to_string() => self.send(Changed::Any),
                _ => {}
            }
        }
    }

    /// Begins to listen.
    pub(crate) fn listen(&self) -> ListListener {
        ListListener(self.0.subscribe())
    }
}

/// Hears of changes from its creation on.
#[derive(Debug)]
pub(crate) struct ListListener(broadcast::Receiver<Changed>);

impl ListListener {
    /// Waits until the list has changed, or may have.
    pub(crate) async fn changed(&mut self, list_id: &ListId) {
        loop {
            match self.0.recv().await {
                Ok(Changed::List(changed)) if changed != *list_id => {}
                Ok(_) | Err(RecvError::Lagged(_)) => return,
                // The sender lives as long as the service; without it there is no news.
                Err(RecvError::Closed) => std::future::pending().await,
            }
        }
    }
}

/// Passes the news of the store on to watchers until it is dropped. News may be missed; watchers look from time to time all the same.
#[derive(Debug)]
pub(crate) struct Following(JoinHandle<()>);

impl Following {
    pub(crate) fn start(store: Arc<dyn Storage>, changes: ListChanges) -> Self {
        Self(tokio::spawn(async move {
            loop {
                match store.changes().await {
                    Ok(mut listener) => loop {
                        changes.pass_on(listener.next().await);
                    },
                    Err(error) => {
                        tracing::debug!(%error, "changes by other replicas are not heard of yet");
                        tokio::time::sleep(TRY_AGAIN).await;
                    }
                }
            }
        }))
    }
}

impl Drop for Following {
    fn drop(&mut self) {
        self.0.abort();
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

    #[tokio::test]
    async fn news_of_the_store_reach_those_whom_they_concern() {
        let changes = ListChanges::default();
        let told = |news: News| {
            let mut listener = changes.listen();
            changes.pass_on(news);
            std::iter::from_fn(|| listener.0.try_recv().ok()).collect::<Vec<_>>()
        };
        let subjects = |subjects: &[&str]| News::Subjects(subjects.iter().map(|s| (*s).to_owned()).collect());
        let list = Changed::List(ListId::numbered(1));
        assert_eq!(told(subjects(&["cutLists/L-0001", "jobs/S1"])), [list]);
        assert_eq!(told(subjects(&["coils/C1"])), [Changed::Any]);
        assert_eq!(told(subjects(&["wires/w1", "stations/bench"])), []);
        assert_eq!(told(News::Anything), [Changed::Any]);
    }
}
