//! Hearing of commits, by LISTEN and NOTIFY.

use async_trait::async_trait;
use becket_store::{Listener, News, StoreError};
use sqlx::postgres::PgListener;

use crate::PostgresStore;
use crate::errors::engine;

/// The channel. It is heard within one database only.
pub(crate) const CHANNEL: &str = "becket_journal";
/// The server refuses payloads of 8000 bytes and more.
const LONGEST_PAYLOAD: usize = 7000;
/// In place of subjects if there are too many.
const ANYTHING: &str = "*";
/// How long to wait before a broken connection is made anew.
const RECONNECT_AFTER: std::time::Duration = std::time::Duration::from_secs(1);

/// What is sent of a write: its subjects, which have no spaces in them, or that there were many.
pub(crate) fn payload(subjects: &[&str]) -> String {
    let length: usize = subjects.iter().map(|subject| subject.len() + 1).sum();
    if length > LONGEST_PAYLOAD || subjects.iter().any(|subject| subject.contains(' ')) {
        return ANYTHING.to_owned();
    }
    subjects.join(" ")
}

fn news(payload: &str) -> News {
    if payload == ANYTHING {
        return News::Anything;
    }
    News::Subjects(payload.split(' ').map(str::to_owned).collect())
}

/// Begins to listen, on a connection that belongs to the listener alone.
pub(crate) async fn listen(store: &PostgresStore) -> Result<Box<dyn Listener>, StoreError> {
    let mut listener = PgListener::connect_with(&store.listeners).await.map_err(engine)?;
    listener.listen(CHANNEL).await.map_err(engine)?;
    Ok(Box::new(Ears(listener)))
}

struct Ears(PgListener);

#[async_trait]
impl Listener for Ears {
    async fn next(&mut self) -> News {
        match self.0.try_recv().await {
            Ok(Some(notification)) => news(notification.payload()),
            // The connection broke and is made anew by the next call: something may have been missed.
            Ok(None) => News::Anything,
            Err(error) => {
                tracing::debug!(%error, "news of other replicas are not heard");
                tokio::time::sleep(RECONNECT_AFTER).await;
                News::Anything
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn subjects_are_told_while_they_fit() {
        let told = |subjects: &[&str]| news(&payload(subjects));
        let (a, b) = ("coils/C1", "cutLists/L-0001");
        assert_eq!(told(&[a, b]), News::Subjects(vec![a.to_owned(), b.to_owned()]));
        assert_eq!(told(&[a; 1000]), News::Anything);
        assert_eq!(told(&["jobs/a b"]), News::Anything);
        assert!(payload(&["x"; 3499]).len() < 8000);
    }
}
