//! Looking up a coil.

use becket_api::cutting::{Coil, GetCoilRequest, GetCoilResponse};
use becket_floor::CoilId;

use crate::app::App;
use crate::error::UseCaseError;
use crate::ids::id;
use crate::messages;

impl App {
    /// One coil.
    pub(crate) async fn get_coil(&self, request: GetCoilRequest) -> Result<GetCoilResponse, UseCaseError> {
        let coil_id = id("coil_id", &request.coil_id, CoilId::new)?;
        let stored = self.store.coil(&coil_id).await?;
        // A line of the ledger does not change once it is believed, so it is the one that the coil names.
        let last = self.store.coil_evidence(&coil_id, stored.last_finding).await?;
        let last_evidence = Some(messages::evidence(&last));
        Ok(GetCoilResponse { coil: Some(Coil { last_evidence, ..messages::coil(&stored) }) })
    }
}
