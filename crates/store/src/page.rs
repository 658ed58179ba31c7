//! Pages.

/// Which page is wanted.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PageRequest {
    /// [`Page::next`] of the page before; `None` for the first.
    pub after: Option<String>,
    /// Largest number of items, at least 1.
    pub limit: u32,
}

/// A page of items.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Page<T> {
    /// The items in order.
    pub items: Vec<T>,
    /// Cursor of the next page; `None` after the last.
    pub next: Option<String>,
}

impl<T> Page<T> {
    /// Makes a page of up to `limit` items from a row of them that was fetched with one item more than the limit, if there
    /// is one. `cursor` gives the key of an item.
    #[must_use]
    pub fn from_fetched(mut items: Vec<T>, limit: u32, cursor: impl FnOnce(&T) -> String) -> Self {
        let limit = usize::try_from(limit).unwrap_or(usize::MAX);
        let more = items.len() > limit;
        items.truncate(limit);
        let next = if more { items.last().map(cursor) } else { None };
        Self { items, next }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_page_has_no_cursor() {
        let page = |items: Vec<u32>| Page::from_fetched(items, 2, ToString::to_string);
        assert_eq!(page(vec![1, 2, 3]), Page { items: vec![1, 2], next: Some("2".to_owned()) });
        assert_eq!(page(vec![1, 2]), Page { items: vec![1, 2], next: None });
        assert_eq!(page(vec![]), Page { items: vec![], next: None });
    }
}
