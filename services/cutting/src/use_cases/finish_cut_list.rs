//! Ending a running list.

use becket_api::cutting::{FinishCutListRequest, FinishCutListResponse};
use becket_floor::{ListId, finish};
use becket_service_kit::CallContext;
use becket_store::WriteContext;

use super::commit::After;
use crate::app::App;
use crate::error::{Tries, UseCaseError};
use crate::ids::id;
use crate::write::begin;

impl App {
    /// Finishes a list; pending steps are refused unless they are given up.
    pub(crate) async fn finish_cut_list(
        &self,
        call: &CallContext,
        mut request: FinishCutListRequest,
    ) -> Result<FinishCutListResponse, UseCaseError> {
        let _turn = self.turns.take(&request.list_id).await;
        let context = begin!(self, call, &mut request);
        let list_id = id("list_id", &request.list_id, ListId::new)?;
        let mut tries = Tries::more(3);
        loop {
            match self.try_finish(&context, &list_id, request.give_up_pending).await {
                Err(error) if tries.again(&error) => {}
                done => return done,
            }
        }
    }

    async fn try_finish(
        &self,
        context: &WriteContext,
        list_id: &ListId,
        give_up_pending: bool,
    ) -> Result<FinishCutListResponse, UseCaseError> {
        let before = self.store.cut_list(list_id).await?;
        let change = finish(&before.list, give_up_pending, context.now_us)?;
        let answer = |after: &After| FinishCutListResponse { cut_list: Some(after.message()) };
        self.commit(context, &before, change, answer).await
    }
}
