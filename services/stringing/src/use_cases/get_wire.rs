//! Reading a wire.

use becket_api::stringing::{GetWireRequest, GetWireResponse};

use crate::app::App;
use crate::error::UseCaseError;
use crate::messages;

impl App {
    /// One wire.
    pub(crate) async fn get_wire(&self, request: GetWireRequest) -> Result<GetWireResponse, UseCaseError> {
        let stored = self.store.wire(&request.wire_id).await?;
        Ok(GetWireResponse { wire: Some(messages::wire(&stored)?) })
    }
}
