//! Pages.

use crate::error::StoreError;

/// Which page is wanted.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PageRequest {
    /// [`Page::next`] of the page before; `None` for the first.
    pub after: Option<String>,
    /// Largest number of items, at least 1.
    pub limit: u32,
}

impl PageRequest {
    /// The cursor of a listing by number: the number after which the page begins.
    ///
    /// # Errors
    /// [`StoreError::CursorInvalid`] if it is none.
    pub fn after_number(&self) -> Result<Option<i64>, StoreError> {
        self.after.as_deref().map(|cursor| cursor.parse().map_err(|_| StoreError::CursorInvalid)).transpose()
    }

    /// The cursor of a listing by two keys: the pair after which the page begins, two empty texts for the first page.
    ///
    /// # Errors
    /// [`StoreError::CursorInvalid`] if it is none.
    pub fn after_pair(&self) -> Result<(&str, &str), StoreError> {
        match &self.after {
            None => Ok(("", "")),
            Some(cursor) => cursor.split_once('/').ok_or(StoreError::CursorInvalid),
        }
    }
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

    /// The page with other items in place of these.
    #[must_use]
    pub fn map<U>(self, item: impl FnMut(T) -> U) -> Page<U> {
        Page { items: self.items.into_iter().map(item).collect(), next: self.next }
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
