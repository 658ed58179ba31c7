//! Scrapping what remains of a coil.

use becket_api::cutting::{ScrapCoilRequest, ScrapCoilResponse};
use becket_floor::{CoilId, CoilState};
use becket_service_kit::CallContext;
use becket_store::{CoilChange, RefuseIf};
use becket_units::Fault;

use super::change_coil::{CountingLists, new_state};
use crate::app::App;
use crate::error::UseCaseError;
use crate::ids::{id, keep, note};
use crate::messages;
use crate::write::begin;

impl App {
    /// Scraps a coil, and plans the lists that have a step to do on it anew; if they are to keep their steps, there must be none.
    pub(crate) async fn scrap_coil(
        &self,
        call: &CallContext,
        mut request: ScrapCoilRequest,
    ) -> Result<ScrapCoilResponse, UseCaseError> {
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
            |coil| {
                let booking = Some(coil.coil.scrap()?);
                let change = new_state(coil, CoilState::Scrapped, &request.note);
                Ok(CoilChange { booking, refuse_if: RefuseIf::Named, ..change })
            },
            |_, changed, replanned| ScrapCoilResponse {
                coil: Some(messages::coil(&changed.coil)),
                replanned,
            },
        )
        .await
    }
}
