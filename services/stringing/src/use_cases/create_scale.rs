//! Storing a new revision of a scale.

use becket_api::convert::within;
use becket_api::stringing::{CreateScaleRequest, CreateScaleResponse, Scale};
use becket_scale::ScaleDraft;
use becket_service_kit::CallContext;
use becket_store::{Kind, StoreError, StoredScale};
use prost::Message;

use crate::app::App;
use crate::error::UseCaseError;
use crate::inputs::{named_wires, scale_id};
use crate::messages::{required, scale_content, shown_scale};
use crate::write::{answer, document};
use becket_service_kit::Begun;

impl App {
    /// Stores a new revision as a draft.
    pub(crate) async fn create_scale(
        &self,
        call: &CallContext,
        mut request: CreateScaleRequest,
    ) -> Result<CreateScaleResponse, UseCaseError> {
        let context = match self.begin(call, &mut request).await? {
            Begun::Answered(answer) => return Ok(answer),
            Begun::New(context) => context,
        };
        let content = scale_content(required(request.scale, "scale")?);
        self.check_scale(&content).await?;
        let (model_id, revision_id) = (content.model_id.clone(), content.revision_id.clone());
        if request.validate_only {
            return match self.store.scale(&model_id, &revision_id).await {
                Err(StoreError::NotFound { .. }) => Ok(CreateScaleResponse { scale: Some(content) }),
                Err(other) => Err(other.into()),
                Ok(_) => {
                    let ids = vec![scale_id(&model_id, &revision_id)];
                    Err(StoreError::AlreadyExists { kind: Kind::Scale, ids }.into())
                }
            };
        }
        let new = document(&content)?;
        let make_answer = Box::new(move |stored: &StoredScale| {
            CreateScaleResponse { scale: Some(shown_scale(content, stored)) }.encode_to_vec()
        });
        answer(&self.store.create_scale(&context, &model_id, &revision_id, new, make_answer).await?)
    }

    /// Checks a scale against every rule and the catalogue; all faults at once.
    pub(super) async fn check_scale(&self, scale: &Scale) -> Result<(), UseCaseError> {
        let catalogue = self.catalogue(named_wires(scale)).await?;
        match ScaleDraft::from(scale).validate(&catalogue) {
            Ok(_) => Ok(()),
            Err(faults) => Err(UseCaseError::Faults(within(faults, "scale"))),
        }
    }
}
