//! Listing stations.

use becket_api::cutting::{ListStationsRequest, ListStationsResponse};

use crate::app::App;
use crate::error::UseCaseError;
use crate::messages;

impl App {
    /// Stations by id.
    pub(crate) async fn list_stations(
        &self,
        mut request: ListStationsRequest,
    ) -> Result<ListStationsResponse, UseCaseError> {
        let listing = self.listing(&mut request)?;
        let page = self.store.list_stations(&listing.page).await?;
        Ok(ListStationsResponse {
            stations: page.items.iter().map(messages::station).collect(),
            next_page_token: listing.next_page_token(page.next.as_deref()),
        })
    }
}
