//! Reading a winding order.

use becket_api::stringing::{GetWindingOrderRequest, GetWindingOrderResponse};
use becket_units::Fault;

use crate::app::App;
use crate::error::UseCaseError;
use crate::messages;

impl App {
    /// One revision of an order, the latest if none is named.
    pub(crate) async fn get_winding_order(
        &self,
        request: GetWindingOrderRequest,
    ) -> Result<GetWindingOrderResponse, UseCaseError> {
        let GetWindingOrderRequest { order_id, revision } = request;
        if let Some(revision) = revision.filter(|revision| *revision < 1) {
            return Err(Fault::new("revision", revision, "1 or more, or none for the latest").into());
        }
        let stored = self.store.winding_order(&order_id, revision.map(Into::into)).await?;
        Ok(GetWindingOrderResponse { winding_order: Some(messages::winding_order(&stored)?) })
    }
}
