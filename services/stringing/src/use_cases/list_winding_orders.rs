//! Reading winding orders page by page.

use becket_api::stringing::{ListWindingOrdersRequest, ListWindingOrdersResponse, WindingOrder};
use becket_store::StoredWindingOrder;

use crate::app::App;
use crate::error::UseCaseError;
use crate::messages;

impl App {
    /// The latest revisions of orders, without lines and materials.
    pub(crate) async fn list_winding_orders(
        &self,
        mut request: ListWindingOrdersRequest,
    ) -> Result<ListWindingOrdersResponse, UseCaseError> {
        let serial_id = Some(request.serial_id.clone()).filter(|serial_id| !serial_id.is_empty());
        let listing = self.listing(&mut request)?;
        let page = self.store.list_winding_orders(serial_id.as_deref(), &listing.page).await?;
        let head = |stored: &StoredWindingOrder| {
            let order = messages::winding_order(stored)?;
            Ok::<_, UseCaseError>(WindingOrder { lines: Vec::new(), materials: Vec::new(), ..order })
        };
        Ok(ListWindingOrdersResponse {
            winding_orders: page.items.iter().map(head).collect::<Result<_, _>>()?,
            next_page_token: listing.next_page_token(page.next.as_deref()),
        })
    }
}
