//! Wires of the catalogue, asked of the stringing service.

use std::collections::BTreeMap;

use becket_service_kit::CallContext;
use becket_wire::{Wire, WireDraft};

use crate::app::App;
use crate::error::UseCaseError;
use crate::gather::gather;
use crate::upstream::UpstreamError;

impl App {
    /// Those of the wires that are in the catalogue, by id.
    pub(crate) async fn catalogue_wires(
        &self,
        call: &CallContext,
        wire_ids: Vec<String>,
    ) -> Result<BTreeMap<String, Wire>, UseCaseError> {
        // An id that is none names nothing, and is told as a fault of its field by whoever reads it.
        let wire_ids: Vec<String> =
            wire_ids.into_iter().filter(|id| becket_floor::WireId::new(id.as_str()).is_ok()).collect();
        let answers = gather(wire_ids.clone(), |wire_id| {
            let (client, call) = (self.stringing.clone(), call.clone());
            async move { client.wire(&call, &wire_id).await }
        });
        let mut wires = BTreeMap::new();
        for (wire_id, answer) in wire_ids.into_iter().zip(answers.await?) {
            match answer {
                Ok(wire) => {
                    wires.insert(wire_id, read_wire(&wire)?);
                }
                Err(UpstreamError::NotFound) => {}
                Err(error) => return Err(error.into()),
            }
        }
        Ok(wires)
    }
}

/// A wire of the stringing service, which holds only valid ones.
pub(crate) fn read_wire(wire: &becket_api::stringing::Wire) -> Result<Wire, UseCaseError> {
    WireDraft::from(wire).validate().map_err(|faults| {
        UseCaseError::Internal(format!("wire {} of the catalogue cannot be read: {faults:?}", wire.wire_id))
    })
}
