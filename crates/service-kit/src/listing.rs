//! Pages of lists.

use becket_api::requests::ListRequest;
use becket_api::tokens::PageTokens;
use becket_store::PageRequest;
use becket_units::Fault;

use crate::request::RequestError;

/// Largest page.
const MAX_PAGE_SIZE: i32 = 500;
/// Size of a page if the caller states none.
const DEFAULT_PAGE_SIZE: i32 = 100;

/// A list whose page is being made: it makes the token of the next page.
#[derive(Debug)]
pub struct Listing<'a> {
    tokens: &'a PageTokens,
    method: &'static str,
    filter: Vec<u8>,
    /// The page that is wanted.
    pub page: PageRequest,
}

impl<'a> Listing<'a> {
    /// Reads page size (1 to 500, or 0 for 100) and token of a request and takes them out of it.
    ///
    /// # Errors
    /// [`RequestError::Fault`] of `page_size`, [`RequestError::PageToken`] if the token is not one that this list gave with this
    /// filter.
    pub fn begin<Q: ListRequest>(tokens: &'a PageTokens, request: &mut Q) -> Result<Self, RequestError> {
        let (size, token) = request.take_page();
        let size = if size == 0 { DEFAULT_PAGE_SIZE } else { size };
        let limit = u32::try_from(size).ok().filter(|_| (1..=MAX_PAGE_SIZE).contains(&size));
        let Some(limit) = limit else {
            let allowed = format!("1 to {MAX_PAGE_SIZE}, or 0 for {DEFAULT_PAGE_SIZE}");
            return Err(Fault::new("page_size", size, allowed).into());
        };
        let filter = request.encode_to_vec();
        let after = if token.is_empty() {
            None
        } else {
            Some(tokens.decode(Q::METHOD, &filter, &token).map_err(|_| RequestError::PageToken)?)
        };
        Ok(Self { tokens, method: Q::METHOD, filter, page: PageRequest { after, limit } })
    }

    /// The token of the page after `cursor`; empty after the last page.
    #[must_use]
    pub fn next_page_token(&self, cursor: Option<&str>) -> String {
        cursor.map(|cursor| self.tokens.encode(self.method, &self.filter, cursor)).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use becket_api::cutting::ListCoilsRequest;

    use super::*;

    fn request(page_size: i32, page_token: &str) -> ListCoilsRequest {
        ListCoilsRequest { page_size, page_token: page_token.to_owned(), ..ListCoilsRequest::default() }
    }

    #[test]
    fn sizes_and_tokens() {
        let tokens = PageTokens::new([1; 32]);
        let limit = |size| Listing::begin(&tokens, &mut request(size, "")).map(|listing| listing.page.limit);
        assert_eq!((limit(0).unwrap(), limit(1).unwrap(), limit(500).unwrap()), (100, 1, 500));
        for bad in [-1, 501, i32::MIN] {
            assert!(matches!(limit(bad), Err(RequestError::Fault(fault)) if fault.field == "page_size"));
        }
        let first = Listing::begin(&tokens, &mut request(10, "")).unwrap();
        assert_eq!((first.page.after.as_deref(), first.next_page_token(None)), (None, String::new()));
        let token = first.next_page_token(Some("C-7"));
        // The size of the page is no part of the filter.
        let second = Listing::begin(&tokens, &mut request(20, &token)).unwrap();
        assert_eq!(second.page.after.as_deref(), Some("C-7"));
        let mut other = ListCoilsRequest { wire_id: "mw-in-16".to_owned(), ..request(10, &token) };
        assert!(matches!(Listing::begin(&tokens, &mut other), Err(RequestError::PageToken)));
    }
}
