//! Listing coils.

use becket_api::convert::required;
use becket_api::cutting::{ListCoilsRequest, ListCoilsResponse};
use becket_floor::{LotId, WireId};
use becket_store::CoilFilter;

use crate::app::App;
use crate::error::UseCaseError;
use crate::ids::{keep, optional_id};
use crate::messages;

impl App {
    /// Coils by id.
    pub(crate) async fn list_coils(
        &self,
        mut request: ListCoilsRequest,
    ) -> Result<ListCoilsResponse, UseCaseError> {
        let listing = self.listing(&mut request)?;
        let mut faults = Vec::new();
        let wire_id = keep(optional_id("wire_id", &request.wire_id, WireId::new), &mut faults);
        let lot_id = keep(optional_id("lot_id", &request.lot_id, LotId::new), &mut faults);
        let state = request.state.and_then(|state| keep(required("state", state), &mut faults));
        if !faults.is_empty() {
            return Err(faults.into());
        }
        let filter = CoilFilter { wire_id: wire_id.flatten(), lot_id: lot_id.flatten(), state };
        let page = self.store.list_coils(&filter, &listing.page).await?;
        Ok(ListCoilsResponse {
            coils: page.items.iter().map(messages::coil).collect(),
            next_page_token: listing.next_page_token(page.next.as_deref()),
        })
    }
}
