//! Changing a wire of the catalogue.

use becket_api::convert::within;
use becket_api::stringing::{UpdateWireRequest, UpdateWireResponse};
use becket_service_kit::CallContext;
use becket_store::{Kind, StoreError, StoredWire};
use becket_wire::WireDraft;
use prost::Message;

use super::import_wires::new_wire;
use crate::app::App;
use crate::error::UseCaseError;
use crate::messages::{required, shown_wire, version_of, wire_content};
use crate::write::answer;
use becket_service_kit::Begun;

impl App {
    /// Replaces a wire's properties. Sets that are frozen keep theirs; others follow from now on.
    pub(crate) async fn update_wire(
        &self,
        call: &CallContext,
        mut request: UpdateWireRequest,
    ) -> Result<UpdateWireResponse, UseCaseError> {
        let context = match self.begin(call, &mut request).await? {
            Begun::Answered(answer) => return Ok(answer),
            Begun::New(context) => context,
        };
        let wire = required(request.wire, "wire")?;
        let mut faults = match WireDraft::from(&wire).validate() {
            Ok(_) => Vec::new(),
            Err(list) => within(list, "wire"),
        };
        let version = version_of(&wire.etag, "wire.etag").map_err(|fault| faults.push(fault));
        let Ok(version) = version else { return Err(UseCaseError::Faults(faults)) };
        if !faults.is_empty() {
            return Err(UseCaseError::Faults(faults));
        }
        let content = wire_content(wire);
        if request.validate_only {
            let stored = self.store.wire(&content.wire_id).await?;
            if stored.stored.version != version {
                let (id, current) = (stored.wire_id, stored.stored.version);
                return Err(StoreError::VersionStale { kind: Kind::Wire, id, current }.into());
            }
            return Ok(UpdateWireResponse { wire: Some(shown_wire(content, &stored.stored)) });
        }
        let new = new_wire(content.clone())?;
        let make_answer = Box::new(move |stored: &StoredWire| {
            UpdateWireResponse { wire: Some(shown_wire(content, &stored.stored)) }.encode_to_vec()
        });
        answer(&self.store.update_wire(&context, version, new, make_answer).await?)
    }
}
