//! Several questions to the stringing service at the same time, but not too many.

use std::future::Future;

use tokio::task::JoinSet;

use crate::error::UseCaseError;

/// Questions that are asked at the same time.
const AT_ONCE: usize = 4;

/// Asks `work` about each item and returns the answers in the order of the items. Dropping the future stops all of them.
///
/// # Errors
/// [`UseCaseError::Internal`] if `work` panics; its own errors are among the answers.
pub(crate) async fn gather<I, T, F, Fut>(items: Vec<I>, work: F) -> Result<Vec<T>, UseCaseError>
where
    T: Send + 'static,
    F: Fn(I) -> Fut,
    Fut: Future<Output = T> + Send + 'static,
{
    let mut answers: Vec<Option<T>> = items.iter().map(|_| None).collect();
    let mut waiting = items.into_iter().enumerate();
    let mut running = JoinSet::new();
    loop {
        while running.len() < AT_ONCE
            && let Some((place, item)) = waiting.next()
        {
            let answer = work(item);
            running.spawn(async move { (place, answer.await) });
        }
        match running.join_next().await {
            None => break,
            Some(Ok((place, answer))) => {
                if let Some(slot) = answers.get_mut(place) {
                    *slot = Some(answer);
                }
            }
            Some(Err(error)) => return Err(UseCaseError::Internal(format!("a question failed: {error}"))),
        }
    }
    Ok(answers.into_iter().flatten().collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Arc;
    use std::sync::atomic::{AtomicUsize, Ordering};

    #[tokio::test]
    async fn answers_keep_their_order_and_few_run_at_once() {
        let (running, most) = (Arc::new(AtomicUsize::new(0)), Arc::new(AtomicUsize::new(0)));
        let answers = gather((0..20_usize).collect(), |item| {
            let (running, most) = (Arc::clone(&running), Arc::clone(&most));
            async move {
                most.fetch_max(running.fetch_add(1, Ordering::SeqCst) + 1, Ordering::SeqCst);
                for _ in 0..(20 - item) {
                    tokio::task::yield_now().await;
                }
                running.fetch_sub(1, Ordering::SeqCst);
                item * 2
            }
        });
        assert_eq!(answers.await.unwrap(), (0..20).map(|i| i * 2).collect::<Vec<_>>());
        assert_eq!(most.load(Ordering::SeqCst), AT_ONCE);
    }
}
