//! Pages of lists.

use becket_api::stringing::{ListJobsRequest, ListScalesRequest, ListWindingOrdersRequest, ListWiresRequest};
use becket_store::PageRequest;
use becket_units::Fault;
use prost::Message;

use crate::app::App;
use crate::error::UseCaseError;

/// Largest page.
const MAX_PAGE_SIZE: i32 = 500;
/// Size of a page if the caller states none.
const DEFAULT_PAGE_SIZE: i32 = 100;

/// A request for a page.
pub(crate) trait ListRequest: Message {
    /// Full name of the method.
    const METHOD: &'static str;

    /// Takes page size and token out, so that what is left is the filter.
    fn take_page(&mut self) -> (i32, String);
}

macro_rules! list_requests {
    ($($request:ty: $method:literal;)*) => {$(
        impl ListRequest for $request {
            const METHOD: &'static str = $method;

            fn take_page(&mut self) -> (i32, String) {
                (std::mem::take(&mut self.page_size), std::mem::take(&mut self.page_token))
            }
        }
    )*};
}

list_requests! {
    ListWiresRequest: "becket.stringing.v1.WireService/ListWires";
    ListScalesRequest: "becket.stringing.v1.ScaleService/ListScales";
    ListWindingOrdersRequest: "becket.stringing.v1.WindingOrderService/ListWindingOrders";
    ListJobsRequest: "becket.stringing.v1.JobService/ListJobs";
}

/// A list whose page is being made: it makes the token of the next page.
pub(crate) struct Listing<'a> {
    app: &'a App,
    method: &'static str,
    filter: Vec<u8>,
    /// The page that is wanted.
    pub(crate) page: PageRequest,
}

impl App {
    /// Reads page size and token of a request and takes them out of it.
    pub(crate) fn listing<Q: ListRequest>(&self, request: &mut Q) -> Result<Listing<'_>, UseCaseError> {
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
            Some(self.tokens.decode(Q::METHOD, &filter, &token).map_err(|_| UseCaseError::PageToken)?)
        };
        Ok(Listing { app: self, method: Q::METHOD, filter, page: PageRequest { after, limit } })
    }
}

impl Listing<'_> {
    /// The token of the page after `cursor`; empty after the last page.
    pub(crate) fn next_page_token(&self, cursor: Option<&str>) -> String {
        cursor.map(|cursor| self.app.tokens.encode(self.method, &self.filter, cursor)).unwrap_or_default()
    }
}
