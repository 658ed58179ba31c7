//! Replacing a draft of a scale.

use becket_api::stringing::{UpdateScaleRequest, UpdateScaleResponse};
use becket_service_kit::CallContext;
use becket_store::{Kind, StoreError, StoredScale};
use prost::Message;

use crate::app::App;
use crate::error::UseCaseError;
use crate::inputs::scale_id;
use crate::messages::{required, scale_content, shown_scale, version_of};
use crate::write::{answer, document};
use becket_service_kit::Begun;

impl App {
    /// Replaces a draft.
    pub(crate) async fn update_scale(
        &self,
        call: &CallContext,
        mut request: UpdateScaleRequest,
    ) -> Result<UpdateScaleResponse, UseCaseError> {
        let context = match self.begin(call, &mut request).await? {
            Begun::Answered(answer) => return Ok(answer),
            Begun::New(context) => context,
        };
        let scale = required(request.scale, "scale")?;
        let version = version_of(&scale.etag, "scale.etag");
        let checked = self.check_scale(&scale).await;
        let version = match (version, checked) {
            (Ok(version), Ok(())) => version,
            (Err(fault), Err(UseCaseError::Faults(mut faults))) => {
                faults.push(fault);
                return Err(UseCaseError::Faults(faults));
            }
            (_, Err(error)) => return Err(error),
            (Err(fault), Ok(())) => return Err(fault.into()),
        };
        let content = scale_content(scale);
        if request.validate_only {
            let stored = self.store.scale(&content.model_id, &content.revision_id).await?;
            check_draft(&stored, version)?;
            return Ok(UpdateScaleResponse { scale: Some(shown_scale(content, &stored)) });
        }
        let (model_id, revision_id) = (content.model_id.clone(), content.revision_id.clone());
        let new = document(&content)?;
        let make_answer = Box::new(move |stored: &StoredScale| {
            UpdateScaleResponse { scale: Some(shown_scale(content, stored)) }.encode_to_vec()
        });
        answer(&self.store.update_scale(&context, &model_id, &revision_id, version, new, make_answer).await?)
    }
}

/// Whether a scale is the draft that the caller has read.
pub(super) fn check_draft(stored: &StoredScale, version: i64) -> Result<(), UseCaseError> {
    let id = scale_id(&stored.model_id, &stored.revision_id);
    if stored.released_us.is_some() {
        return Err(StoreError::ScaleReleased { id }.into());
    }
    if stored.stored.version != version {
        return Err(StoreError::VersionStale { kind: Kind::Scale, id, current: stored.stored.version }.into());
    }
    Ok(())
}
