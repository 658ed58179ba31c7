//! Correcting the remaining length of a coil by its weight.

use becket_api::convert::read_scales;
use becket_api::cutting::{WeighCoilRequest, WeighCoilResponse};
use becket_floor::{CoilId, CoilState};
use becket_service_kit::CallContext;
use becket_store::{CoilChange, RefuseIf};

use super::change_coil::{CountingLists, new_state};
use crate::app::App;
use crate::error::UseCaseError;
use crate::ids::id;
use crate::messages;
use crate::write::begin;

impl App {
    /// Weighs a coil. If it is found to be empty, lists that count on it are planned anew; if they are to keep their steps, it is not
    /// found to be empty: a step that cannot be done would be left.
    pub(crate) async fn weigh_coil(
        &self,
        call: &CallContext,
        mut request: WeighCoilRequest,
    ) -> Result<WeighCoilResponse, UseCaseError> {
        let context = begin!(self, call, &mut request);
        let coil_id = id("coil_id", &request.coil_id, CoilId::new)?;
        let scales = read_scales(&request);
        self.change_coil(
            call,
            &context,
            &coil_id,
            CountingLists::unless(request.keep_lists),
            |coil| {
                let weighing = coil.coil.weigh(&scales, request.accept)?;
                let held = weighing.booking.is_none().then_some(weighing.finding);
                let emptied = weighing.state == CoilState::UsedUp;
                let refuse_if = if emptied { RefuseIf::Named } else { RefuseIf::Never };
                let change = new_state(coil, weighing.state, "");
                Ok(CoilChange { booking: weighing.booking, held, refuse_if, ..change })
            },
            |change, changed, replanned| WeighCoilResponse {
                coil: Some(messages::coil(&changed.coil)),
                adjusted_by_um: change.booking.as_ref().map_or(0, |booking| booking.amount.get()),
                short_list_ids: changed.short_list_ids().iter().map(ToString::to_string).collect(),
                evidence: changed.evidence.as_ref().map(messages::evidence),
                replanned,
            },
        )
        .await
    }
}
