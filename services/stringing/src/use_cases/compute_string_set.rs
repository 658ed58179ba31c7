//! Computing a set without storing anything.

use std::sync::Arc;

use becket_api::convert::within;
use becket_api::digest::request_digest;
use becket_api::stringing::compute_string_set_request::Source;
use becket_api::stringing::{self, ComputeStringSetRequest, ComputeStringSetResponse, StringSet};
use becket_scale::{ComputeOptions, ComputeOptionsDraft, Scale, ScaleDraft};
use becket_store::ScaleStanding;
use becket_units::Fault;
use becket_wire::{Catalogue, WireDraft};
use prost::Message;
use prost::bytes::Bytes;

use crate::answer_cache::KeptAnswer;
use crate::app::App;
use crate::compute::SetSource;
use crate::error::UseCaseError;
use crate::frame::framed;
use crate::inputs::{named_wires, scale_id};
use crate::write::decode;

/// Full name of the method.
const METHOD: &str = "becket.stringing.v1.StringSetService/ComputeStringSet";
/// Most wires of one request.
const MAX_WIRES: usize = 2000;

impl App {
    /// Computes the set of a stored revision, or of a scale in the request: a [`ComputeStringSetResponse`], framed.
    pub(crate) async fn compute_string_set(
        &self,
        request: ComputeStringSetRequest,
    ) -> Result<Bytes, UseCaseError> {
        let digest = request_digest(METHOD, &request.encode_to_vec());
        let kept = self.computed_sets.get(&digest);
        let sequence = self.last_sequence().await?;
        if let Some(KeptAnswer { held_at, answer, .. }) = &kept
            && *held_at == Some(sequence)
        {
            return Ok(Bytes::clone(answer));
        }
        // Read before scale and wires: if they change in between, the answer is kept under a standing that is over and is never
        // found.
        let standing = self.standing(request.source.as_ref()).await?;
        if let Some(KeptAnswer { basis, answer, .. }) = kept
            && basis == standing
        {
            self.computed_sets.holds(&digest, &basis, sequence);
            return Ok(answer);
        }
        let answer = framed(&self.newly_computed(request).await?)?;
        self.computed_sets.put(digest, standing, answer.clone());
        Ok(answer)
    }

    /// What the answer to a request rests on, besides the request.
    async fn standing(&self, source: Option<&Source>) -> Result<ScaleStanding, UseCaseError> {
        match source {
            Some(Source::Stored(named)) => {
                Ok(self.store.scale_standing(&named.model_id, &named.revision_id).await?)
            }
            Some(Source::Scale(_)) | None => {
                // The scale itself is in the request.
                let wires_generation = self.store.wires_generation().await?;
                Ok(ScaleStanding { scale_version: 0, wires_generation })
            }
        }
    }

    async fn newly_computed(
        &self,
        request: ComputeStringSetRequest,
    ) -> Result<ComputeStringSetResponse, UseCaseError> {
        let mut faults = Vec::new();
        let options = request.options.as_ref().map(ComputeOptionsDraft::from).unwrap_or_default();
        let options = validated(options, &mut faults);
        let (scale, catalogue) = self.given_scale(request.source, &request.wires, &mut faults).await?;
        let Some(options) = options else { return Err(UseCaseError::Faults(faults)) };
        let source =
            SetSource { serial_id: String::new(), scale, as_built_notes: Vec::new(), catalogue, options };
        let set: Arc<StringSet> = self.computed(source).await?;
        Ok(ComputeStringSetResponse { string_set: Some(Arc::unwrap_or_clone(set)) })
    }

    /// The scale that a request names or brings, checked, with its wires. If there are faults, those that were found
    /// before among them, nothing is returned.
    pub(super) async fn given_scale(
        &self,
        source: Option<Source>,
        wires: &[stringing::Wire],
        faults: &mut Vec<Fault>,
    ) -> Result<(Scale, Catalogue), UseCaseError> {
        let given = given_wires(wires, faults);
        let (message, is_stored) = self.source(source, faults).await?;
        let mut catalogue = self.catalogue(named_wires(&message)).await?;
        for wire in given.iter() {
            catalogue.insert(wire.clone());
        }
        match ScaleDraft::from(&message).validate(&catalogue) {
            Ok(scale) if faults.is_empty() => Ok((scale, catalogue)),
            Err(list) if is_stored && faults.is_empty() => {
                let id = scale_id(&message.model_id, &message.revision_id);
                Err(UseCaseError::ScaleUnfit { id, faults: list })
            }
            checked => {
                faults.extend(within(checked.err().unwrap_or_default(), "scale"));
                Err(UseCaseError::Faults(std::mem::take(faults)))
            }
        }
    }

    /// The scale that a request names or brings, and whether it is a stored one.
    async fn source(
        &self,
        source: Option<Source>,
        faults: &mut Vec<Fault>,
    ) -> Result<(stringing::Scale, bool), UseCaseError> {
        match source {
            Some(Source::Stored(reference)) => {
                let stored = self.store.scale(&reference.model_id, &reference.revision_id).await?;
                Ok((decode(&stored.stored.bytes)?, true))
            }
            Some(Source::Scale(given)) => Ok((given, false)),
            None => {
                faults.push(Fault::new("source", "absent", "stored or scale must be stated"));
                Err(UseCaseError::Faults(std::mem::take(faults)))
            }
        }
    }
}

/// Options of a request, checked.
pub(super) fn validated(options: ComputeOptionsDraft, faults: &mut Vec<Fault>) -> Option<ComputeOptions> {
    options.validate().map_err(|list| faults.extend(within(list, "options"))).ok()
}

/// The wires that a request brings, checked.
pub(crate) fn given_wires(wires: &[stringing::Wire], faults: &mut Vec<Fault>) -> Catalogue {
    let mut given = Catalogue::default();
    if wires.len() > MAX_WIRES {
        faults.push(Fault::new(
            "wires",
            format!("{} entries", wires.len()),
            format!("up to {MAX_WIRES} entries"),
        ));
        return given;
    }
    for (index, message) in wires.iter().enumerate() {
        match WireDraft::from(message).validate() {
            Err(list) => faults.extend(within(list, &format!("wires[{index}]"))),
            Ok(wire) if given.get(wire.wire_id().as_str()).is_some() => {
                faults.push(Fault::new(format!("wires[{index}].wire_id"), wire.wire_id(), "each wire once"));
            }
            Ok(wire) => {
                given.insert(wire);
            }
        }
    }
    given
}
