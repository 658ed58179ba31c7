//! Looking up a coil.

use becket_api::cutting::{GetCoilRequest, GetCoilResponse};
use becket_floor::CoilId;

use crate::app::App;
use crate::error::UseCaseError;
use crate::ids::id;
use crate::messages;

impl App {
    /// One coil.
    pub(crate) async fn get_coil(&self, request: GetCoilRequest) -> Result<GetCoilResponse, UseCaseError> {
        let coil_id = id("coil_id", &request.coil_id, CoilId::new)?;
        Ok(GetCoilResponse { coil: Some(messages::coil(&self.store.coil(&coil_id).await?)) })
    }
}
