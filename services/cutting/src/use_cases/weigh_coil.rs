//! Correcting the remaining length of a coil by its weight.

use becket_api::cutting::{WeighCoilRequest, WeighCoilResponse};
use becket_floor::CoilId;
use becket_service_kit::CallContext;
use becket_store::CoilChange;
use becket_units::Um;

use super::change_coil::new_state;
use crate::app::App;
use crate::error::UseCaseError;
use crate::ids::id;
use crate::messages;
use crate::write::begin;

impl App {
    /// Weighs a coil.
    pub(crate) async fn weigh_coil(
        &self,
        call: &CallContext,
        mut request: WeighCoilRequest,
    ) -> Result<WeighCoilResponse, UseCaseError> {
        let context = begin!(self, call, &mut request);
        let coil_id = id("coil_id", &request.coil_id, CoilId::new)?;
        self.change_coil(
            &context,
            &coil_id,
            |coil| {
                let weighing = coil.coil.weigh(request.gross_g, request.tare_g)?;
                let booking = Some(weighing.booking).filter(|booking| booking.amount != Um::ZERO);
                Ok(CoilChange { booking, ..new_state(coil, weighing.state, "") })
            },
            |change, changed| WeighCoilResponse {
                coil: Some(messages::coil(&changed.coil)),
                adjusted_by_um: change.booking.as_ref().map_or(0, |booking| booking.amount.get()),
                short_list_ids: changed.short_list_ids().iter().map(ToString::to_string).collect(),
            },
        )
        .await
    }
}
