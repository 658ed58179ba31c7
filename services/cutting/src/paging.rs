//! Pages of lists.

use becket_api::requests::ListRequest;
use becket_service_kit::{Listing, RequestError};

use crate::app::App;

impl App {
    /// Reads page size and token of a request and takes them out of it.
    pub(crate) fn listing<Q: ListRequest>(&self, request: &mut Q) -> Result<Listing<'_>, RequestError> {
        Listing::begin(&self.tokens, request)
    }
}
