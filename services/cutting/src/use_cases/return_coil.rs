//! Putting a coil back into planning.

use becket_api::cutting::{ReturnCoilRequest, ReturnCoilResponse};
use becket_floor::CoilId;
use becket_service_kit::CallContext;

use super::change_coil::{CountingLists, new_state};
use crate::app::App;
use crate::error::UseCaseError;
use crate::ids::id;
use crate::messages;
use crate::write::begin;

impl App {
    /// Returns a coil that was set aside.
    pub(crate) async fn return_coil(
        &self,
        call: &CallContext,
        mut request: ReturnCoilRequest,
    ) -> Result<ReturnCoilResponse, UseCaseError> {
        let context = begin!(self, call, &mut request);
        let coil_id = id("coil_id", &request.coil_id, CoilId::new)?;
        self.change_coil(
            call,
            &context,
            &coil_id,
            CountingLists::Keep,
            |coil| Ok(new_state(coil, coil.coil.return_to_stock()?, "")),
            |_, changed, _| ReturnCoilResponse { coil: Some(messages::coil(&changed.coil)) },
        )
        .await
    }
}
