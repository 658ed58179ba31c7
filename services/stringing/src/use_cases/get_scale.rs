//! Reading a scale.

use becket_api::stringing::{GetScaleRequest, GetScaleResponse};

use crate::app::App;
use crate::error::UseCaseError;
use crate::messages;

impl App {
    /// One revision.
    pub(crate) async fn get_scale(&self, request: GetScaleRequest) -> Result<GetScaleResponse, UseCaseError> {
        let stored = self.store.scale(&request.model_id, &request.revision_id).await?;
        Ok(GetScaleResponse { scale: Some(messages::scale(&stored)?) })
    }
}
