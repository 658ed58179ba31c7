//! Lists page after page.

use std::future::Future;

use crate::{cli::Limit, errors::Failure, progress};

/// The largest page that the API gives.
const LARGEST_PAGE: usize = 500;

/// Everything that was asked for, and the token of the next page if the limit left something out.
#[derive(Debug)]
pub(crate) struct All<T> {
    /// The items.
    pub(crate) items: Vec<T>,
    /// Token of the page after them, empty if that was all.
    pub(crate) next_page_token: String,
}

/// Fetches pages until there is none or the limit is reached. `page` takes size and token and gives items and next token.
///
/// # Errors
/// Those of `page`; [`Failure::Answer`] if the server gives the same token again.
pub(crate) async fn all<T, R>(limit: Limit, page: impl Fn(i32, String) -> R) -> Result<All<T>, Failure>
where
    R: Future<Output = Result<(Vec<T>, String), Failure>>,
{
    let limit = limit.limit.map_or(usize::MAX, |limit| usize::try_from(limit).unwrap_or(usize::MAX));
    let bar = progress::counter("Reading");
    let mut all = All { items: Vec::new(), next_page_token: String::new() };
    loop {
        let size = LARGEST_PAGE.min(limit - all.items.len());
        let asked = all.next_page_token.clone();
        let (items, next) = page(i32::try_from(size).unwrap_or_default(), asked.clone()).await?;
        all.items.extend(items);
        all.next_page_token = next;
        bar.set_position(u64::try_from(all.items.len()).unwrap_or(u64::MAX));
        if all.next_page_token.is_empty() || all.items.len() >= limit {
            bar.finish_and_clear();
            all.items.truncate(limit);
            return Ok(all);
        }
        if all.next_page_token == asked {
            return Err(Failure::Answer("a new page token: it gave the same one again"));
        }
    }
}

#[cfg(test)]
mod tests {
    use std::cell::RefCell;

    use super::*;

    /// Serves the numbers below `total` in pages of the size that is asked for.
    async fn numbers(total: usize, limit: Option<u32>) -> (Vec<usize>, String, Vec<i32>) {
        let sizes = RefCell::new(Vec::new());
        let all = all(Limit { limit }, |size, token| {
            sizes.borrow_mut().push(size);
            async move {
                let begin = token.parse().unwrap_or(0);
                let end = total.min(begin + usize::try_from(size).unwrap());
                Ok(((begin..end).collect(), if end < total { end.to_string() } else { String::new() }))
            }
        });
        let all = all.await.unwrap();
        (all.items, all.next_page_token, sizes.into_inner())
    }

    #[tokio::test]
    async fn all_pages_are_read_in_order() {
        let (items, token, sizes) = numbers(1234, None).await;
        assert_eq!(items, (0..1234).collect::<Vec<_>>());
        assert_eq!((token.as_str(), sizes.as_slice()), ("", [500, 500, 500].as_slice()));
    }

    #[tokio::test]
    async fn a_limit_ends_the_reading() {
        let (items, token, sizes) = numbers(1234, Some(600)).await;
        assert_eq!((items.len(), token.as_str(), sizes.as_slice()), (600, "600", [500, 100].as_slice()));
    }

    #[tokio::test]
    async fn a_server_that_repeats_itself_is_no_endless_loop() {
        let answer = all(Limit { limit: None }, |_, _| async { Ok((vec![1], "again".to_owned())) }).await;
        assert!(matches!(answer, Err(Failure::Answer(_))), "{answer:?}");
    }
}
