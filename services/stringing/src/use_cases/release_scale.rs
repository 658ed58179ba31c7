//! Making a draft immutable.

use becket_api::stringing::{ReleaseScaleRequest, ReleaseScaleResponse};
use becket_service_kit::CallContext;
use becket_store::StoredScale;
use prost::Message;

use super::update_scale::check_draft;
use crate::app::App;
use crate::error::UseCaseError;
use crate::messages::{shown_scale, version_of};
use crate::write::answer;
use becket_service_kit::Begun;

impl App {
    /// Releases a draft. The catalogue may have changed since the draft was stored, so it is checked once
    /// more.
    pub(crate) async fn release_scale(
        &self,
        call: &CallContext,
        mut request: ReleaseScaleRequest,
    ) -> Result<ReleaseScaleResponse, UseCaseError> {
        let context = match self.begin(call, &mut request).await? {
            Begun::Answered(answer) => return Ok(answer),
            Begun::New(context) => context,
        };
        let version = version_of(&request.etag, "etag")?;
        let ReleaseScaleRequest { model_id, revision_id, .. } = request;
        let stored = self.store.scale(&model_id, &revision_id).await?;
        check_draft(&stored, version)?;
        let content = self.checked_scale(&stored, []).await?.content;
        let make_answer = Box::new(move |stored: &StoredScale| {
            ReleaseScaleResponse { scale: Some(shown_scale(content, stored)) }.encode_to_vec()
        });
        answer(&self.store.release_scale(&context, &model_id, &revision_id, version, make_answer).await?)
    }
}
