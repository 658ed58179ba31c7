//! Taking turns at a cut list.
//!
//! A change of a list is decided on the list as it was read, and refused if another change came first. Two callers who
//! change one list all the time could so outrun a third again and again. Within this process they take turns instead, in
//! the order in which they came; changes by other processes are still met by deciding again.
//!
//! A call takes its turn before it looks whether its request was answered before: so a request that comes twice at once is
//! done once and answered twice alike.

use std::collections::{BTreeSet, HashMap};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use becket_floor::ListId;
use tokio::sync::OwnedMutexGuard;

/// Who changes which list, and who waits for it. A list is in here only as long as somebody does, so there are never more
/// lists in it than calls being served.
#[derive(Debug, Clone, Default)]
pub(crate) struct Turns(Arc<Mutex<HashMap<String, Queue>>>);

/// The calls that change one list.
#[derive(Debug, Default)]
struct Queue {
    /// Calls that have their turn or wait for it.
    calls: usize,
    /// Held by the call that has its turn; it is fair.
    turn: Arc<tokio::sync::Mutex<()>>,
}

impl Turns {
    /// Waits until no other call changes the list with this id. The turn ends when what is returned is dropped; a call that is given up
    /// while it waits leaves the queue.
    pub(crate) async fn take(&self, list_id: &str) -> Turn {
        let (place, turn) = self.join(list_id);
        Turn { _held: turn.lock_owned().await, _place: place }
    }

    /// Waits for the turns at several lists. Who waits for more than one takes them in the order of their names, so that no two wait for
    /// each other.
    pub(crate) async fn take_all(&self, list_ids: &[ListId]) -> Vec<Turn> {
        let in_order: BTreeSet<&str> = list_ids.iter().map(ListId::as_str).collect();
        let mut turns = Vec::with_capacity(in_order.len());
        for list_id in in_order {
            turns.push(self.take(list_id).await);
        }
        turns
    }

    fn join(&self, list_id: &str) -> (Place, Arc<tokio::sync::Mutex<()>>) {
        let mut queues = self.queues();
        let queue = queues.entry(list_id.to_owned()).or_default();
        queue.calls += 1;
        (Place { turns: self.clone(), list_id: list_id.to_owned() }, Arc::clone(&queue.turn))
    }

    fn queues(&self) -> MutexGuard<'_, HashMap<String, Queue>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The turn of a call.
#[derive(Debug)]
pub(crate) struct Turn {
    // Given back before the place, which may take the queue away.
    _held: OwnedMutexGuard<()>,
    _place: Place,
}

/// A call in a queue. Dropping it leaves the queue, and the last one takes the queue away.
#[derive(Debug)]
struct Place {
    turns: Turns,
    list_id: String,
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut queues = self.turns.queues();
        if let Some(queue) = queues.get_mut(&self.list_id) {
            queue.calls -= 1;
            if queue.calls == 0 {
                queues.remove(&self.list_id);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::pin::pin;
    use std::task::Poll;

    use super::*;

    async fn is_ready<T>(future: &mut (impl Future<Output = T> + Unpin)) -> Option<T> {
        std::future::poll_fn(|cx| {
            Poll::Ready(match std::pin::Pin::new(&mut *future).poll(cx) {
                Poll::Ready(value) => Some(value),
                Poll::Pending => None,
            })
        })
        .await
    }

    #[tokio::test]
    async fn turns_are_taken_in_the_order_of_coming_and_by_list() {
        let turns = Turns::default();
        let (one, two) = ("L-0001", "L-0002");
        let first = turns.take(one).await;
        let mut second = pin!(turns.take(one));
        let mut third = pin!(turns.take(one));
        assert!(is_ready(&mut second).await.is_none());
        assert!(is_ready(&mut third).await.is_none());
        drop(turns.take(two).await);
        drop(first);
        assert!(is_ready(&mut third).await.is_none(), "the second came before");
        let second = is_ready(&mut second).await.unwrap();
        assert!(is_ready(&mut third).await.is_none());
        drop(second);
        assert!(is_ready(&mut third).await.is_some());
    }

    #[tokio::test]
    async fn nothing_is_kept_of_lists_that_nobody_changes() {
        let turns = Turns::default();
        let one = "L-0001";
        let first = turns.take(one).await;
        {
            let mut given_up = pin!(turns.take(one));
            assert!(is_ready(&mut given_up).await.is_none());
        }
        drop(first);
        assert!(turns.queues().is_empty());
        drop(turns.take(one).await);
        assert!(turns.queues().is_empty());
    }
}
