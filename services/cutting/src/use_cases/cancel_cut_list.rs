//! Withdrawing a list.

use becket_api::cutting::{CancelCutListRequest, CancelCutListResponse};
use becket_floor::{ListId, cancel};
use becket_service_kit::CallContext;
use becket_store::WriteContext;

use super::commit::After;
use crate::app::App;
use crate::error::{Tries, UseCaseError};
use crate::ids::id;
use crate::write::begin;

impl App {
    /// Cancels a list of which nothing is cut yet.
    pub(crate) async fn cancel_cut_list(
        &self,
        call: &CallContext,
        mut request: CancelCutListRequest,
    ) -> Result<CancelCutListResponse, UseCaseError> {
        let _turn = self.turns.take(&request.list_id).await;
        let context = begin!(self, call, &mut request);
        let list_id = id("list_id", &request.list_id, ListId::new)?;
        let mut tries = Tries::more(3);
        loop {
            match self.try_cancel(&context, &list_id).await {
                Err(error) if tries.again(&error) => {}
                done => return done,
            }
        }
    }

    async fn try_cancel(
        &self,
        context: &WriteContext,
        list_id: &ListId,
    ) -> Result<CancelCutListResponse, UseCaseError> {
        let before = self.store.cut_list(list_id).await?;
        let change = cancel(&before.list, context.now_us)?;
        let answer = |after: &After| CancelCutListResponse { cut_list: Some(after.message()) };
        self.commit(context, &before, change, answer).await
    }
}
