//! Taking a coil out of planning.

use becket_api::cutting::{SetAsideCoilRequest, SetAsideCoilResponse};
use becket_floor::CoilId;
use becket_service_kit::CallContext;
use becket_units::Fault;

use super::change_coil::{CountingLists, new_state};
use crate::app::App;
use crate::error::UseCaseError;
use crate::ids::{id, keep, note};
use crate::messages;
use crate::write::begin;

impl App {
    /// Sets a coil aside, and plans the lists that count on it anew unless they are to keep their steps.
    pub(crate) async fn set_aside_coil(
        &self,
        call: &CallContext,
        mut request: SetAsideCoilRequest,
    ) -> Result<SetAsideCoilResponse, UseCaseError> {
        let context = begin!(self, call, &mut request);
        let mut faults: Vec<Fault> = note("note", &request.note).err().into_iter().collect();
        let Some(coil_id) =
            keep(id("coil_id", &request.coil_id, CoilId::new), &mut faults).filter(|_| faults.is_empty())
        else {
            return Err(faults.into());
        };
        self.change_coil(
            call,
            &context,
            &coil_id,
            CountingLists::unless(request.keep_lists),
            |coil| Ok(new_state(coil, coil.coil.set_aside()?, &request.note)),
            |_, changed, replanned| SetAsideCoilResponse {
                coil: Some(messages::coil(&changed.coil)),
                affected_list_ids: changed.list_ids.iter().map(ToString::to_string).collect(),
                replanned,
            },
        )
        .await
    }
}
