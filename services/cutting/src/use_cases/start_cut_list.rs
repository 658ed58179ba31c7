//! Handing a planned list to its station.

use becket_api::cutting::{StartCutListRequest, StartCutListResponse};
use becket_floor::{ListId, start};
use becket_service_kit::CallContext;
use becket_store::WriteContext;

use super::commit::{After, check_etag};
use crate::app::App;
use crate::error::{Tries, UseCaseError};
use crate::ids::id;
use crate::write::begin;

impl App {
    /// Starts a list, if no other one is running at its station.
    pub(crate) async fn start_cut_list(
        &self,
        call: &CallContext,
        mut request: StartCutListRequest,
    ) -> Result<StartCutListResponse, UseCaseError> {
        let _turn = self.turns.take(&request.list_id).await;
        let context = begin!(self, call, &mut request);
        let list_id = id("list_id", &request.list_id, ListId::new)?;
        let mut tries = Tries::more(3);
        loop {
            match self.try_start(&context, &list_id, &request.etag).await {
                Err(error) if tries.again(&error) => {}
                done => return done,
            }
        }
    }

    async fn try_start(
        &self,
        context: &WriteContext,
        list_id: &ListId,
        etag: &str,
    ) -> Result<StartCutListResponse, UseCaseError> {
        let before = self.store.cut_list(list_id).await?;
        check_etag(&before.list, etag)?;
        let change = start(&before.list, context.now_us)?;
        let station_id = &before.list.header.station_id;
        if let Some(running) = self.running_list(station_id, Some(list_id)).await? {
            return Err(UseCaseError::StationBusy { station_id: station_id.clone(), running });
        }
        let answer = |after: &After| StartCutListResponse { cut_list: Some(after.message()) };
        self.commit(context, &before, change, answer).await
    }
}
