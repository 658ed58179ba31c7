//! Correcting the remaining length of a coil by its weight.

use becket_api::convert::read_scales;
use becket_api::cutting::{WeighCoilRequest, WeighCoilResponse};
use becket_floor::{CoilId, CoilState};
use becket_service_kit::CallContext;
use becket_store::CoilChange;

use super::change_coil::new_state;
use crate::app::App;
use crate::error::UseCaseError;
use crate::ids::id;
use crate::messages;
use crate::write::begin;

impl App {
    /// Weighs a coil. One that lists have steps to do on is not found to be empty: a step that cannot be done would be left.
    pub(crate) async fn weigh_coil(
        &self,
        call: &CallContext,
        mut request: WeighCoilRequest,
    ) -> Result<WeighCoilResponse, UseCaseError> {
        let context = begin!(self, call, &mut request);
        let coil_id = id("coil_id", &request.coil_id, CoilId::new)?;
        let scales = read_scales(&request);
        self.change_coil(
            &context,
            &coil_id,
            |coil| {
                let weighing = coil.coil.weigh(&scales, request.accept)?;
                let held = weighing.booking.is_none().then_some(weighing.finding);
                let refuse_if_named = weighing.state == CoilState::UsedUp;
                let change = new_state(coil, weighing.state, "");
                Ok(CoilChange { booking: weighing.booking, held, refuse_if_named, ..change })
            },
            |change, changed| WeighCoilResponse {
                coil: Some(messages::coil(&changed.coil)),
                adjusted_by_um: change.booking.as_ref().map_or(0, |booking| booking.amount.get()),
                short_list_ids: changed.short_list_ids().iter().map(ToString::to_string).collect(),
                evidence: changed.evidence.as_ref().map(messages::evidence),
            },
        )
        .await
    }
}
