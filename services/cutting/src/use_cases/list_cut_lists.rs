//! Listing cut lists.

use becket_api::convert::required;
use becket_api::cutting::{ListCutListsRequest, ListCutListsResponse};
use becket_floor::StationId;
use becket_store::CutListFilter;

use crate::app::App;
use crate::error::UseCaseError;
use crate::ids::{keep, optional_id};
use crate::messages;

impl App {
    /// Lists without their steps, newest first.
    pub(crate) async fn list_cut_lists(
        &self,
        mut request: ListCutListsRequest,
    ) -> Result<ListCutListsResponse, UseCaseError> {
        let listing = self.listing(&mut request)?;
        let mut faults = Vec::new();
        let station_id = keep(optional_id("station_id", &request.station_id, StationId::new), &mut faults);
        let state = request.state.and_then(|state| keep(required("state", state), &mut faults));
        if !faults.is_empty() {
            return Err(faults.into());
        }
        let filter = CutListFilter { station_id: station_id.flatten(), state };
        let page = self.store.list_cut_lists(&filter, &listing.page).await?;
        Ok(ListCutListsResponse {
            cut_lists: page.items.iter().map(messages::cut_list_header).collect(),
            next_page_token: listing.next_page_token(page.next.as_deref()),
        })
    }
}
