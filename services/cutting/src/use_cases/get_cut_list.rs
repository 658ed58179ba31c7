//! Looking up a cut list.

use becket_api::cutting::{GetCutListRequest, GetCutListResponse};
use becket_floor::ListId;

use crate::app::App;
use crate::error::UseCaseError;
use crate::ids::id;
use crate::messages;

impl App {
    /// One list.
    pub(crate) async fn get_cut_list(
        &self,
        request: GetCutListRequest,
    ) -> Result<GetCutListResponse, UseCaseError> {
        let list_id = id("list_id", &request.list_id, ListId::new)?;
        let list = self.store.cut_list_on_floor(&list_id, &[]).await?.predicted();
        Ok(GetCutListResponse { cut_list: Some(messages::cut_list(&list)) })
    }
}
