//! A cut list as a person works through it.

use becket_api::convert::work_sheet;
use becket_api::cutting::{GetWorkSheetRequest, GetWorkSheetResponse};
use becket_floor::{CoilState, FloorCoil, ListId, SheetCoil};

use crate::app::App;
use crate::error::UseCaseError;
use crate::ids::id;

impl App {
    /// The work sheet of a list, with what should remain on the coils as they are now.
    pub(crate) async fn get_work_sheet(
        &self,
        request: GetWorkSheetRequest,
    ) -> Result<GetWorkSheetResponse, UseCaseError> {
        let list_id = id("list_id", &request.list_id, ListId::new)?;
        // The coils of steps that are done are asked for too.
        let coil_ids = self.store.cut_list(&list_id).await?.list.coil_ids();
        let floor = self.store.cut_list_on_floor(&list_id, &coil_ids).await?;
        let told = |coil: &FloorCoil| SheetCoil {
            linear_density_g_m: coil.coil.linear_density_g_m,
            set_aside: coil.coil.state == CoilState::SetAside,
        };
        let coils = floor.coils.iter().map(|coil| (coil.coil.coil_id.clone(), told(coil))).collect();
        Ok(work_sheet(&floor.predicted().list, &coils, request.pending_only))
    }
}
