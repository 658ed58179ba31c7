//! The string set of a serial.

use std::sync::Arc;

use becket_api::stringing::{self, GetStringSetRequest, GetStringSetResponse, Job, StringSet};
use becket_scale::{ComputeOptionsDraft, ScaleDraft};
use becket_store::{FrozenSet, Kind, SetStanding, StoreError, StoredJob};
use becket_wire::{Catalogue, WireDraft};
use prost::bytes::Bytes;
use prost::encoding::{WireType, encode_key, encode_varint};

use crate::answer_cache::KeptAnswer;
use crate::app::App;
use crate::checked_scales::CheckedScales;
use crate::compute::SetSource;
use crate::error::UseCaseError;
use crate::frame::{framed, framed_with};
use crate::inputs::{job_terms, scale_id};
use crate::write::decode;

/// Number of the field `string_set` of [`GetStringSetResponse`].
const SET_FIELD: u32 = 1;

/// What a serial's set rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum SetBasis {
    /// It is frozen, and stays as it is for good.
    Frozen,
    /// It follows from the job and the catalogue. A released scale never changes, so the version of the job, which names it,
    /// and the state of the catalogue say everything.
    Open {
        /// Version of the job.
        job_version: i64,
        /// State of the wire catalogue.
        wires_generation: i64,
    },
}

impl SetBasis {
    fn of(standing: SetStanding) -> Self {
        let SetStanding { job_version, is_frozen, wires_generation } = standing;
        if is_frozen { Self::Frozen } else { Self::Open { job_version, wires_generation } }
    }
}

impl App {
    /// The set as frozen, or else as it follows from the job, its scale and the catalogue as they are now: a
    /// [`GetStringSetResponse`], framed.
    pub(crate) async fn get_string_set(&self, request: GetStringSetRequest) -> Result<Bytes, UseCaseError> {
        let serial_id = request.serial_id;
        let kept = self.sets.get(&serial_id);
        // A frozen set never changes and a job is never removed, so nothing has to be asked.
        if let Some(KeptAnswer { basis: SetBasis::Frozen, answer, .. }) = kept {
            return Ok(answer);
        }
        let sequence = self.last_sequence().await?;
        if let Some(KeptAnswer { held_at, answer, .. }) = &kept
            && *held_at == Some(sequence)
        {
            return Ok(Bytes::clone(answer));
        }
        // Read before the job and the wires: if they change in between, the answer is kept under a basis that is over and is
        // never found.
        let standing = self.store.set_standing(&serial_id).await?;
        if let Some(KeptAnswer { basis, answer, .. }) = kept
            && basis == SetBasis::of(standing)
        {
            self.sets.holds(&serial_id, &basis, sequence);
            return Ok(answer);
        }
        let job = self.store.job(&serial_id).await?;
        let (basis, answer) = if job.freeze_us.is_some() {
            let frozen = self.stored_frozen_set(&serial_id).await?;
            decode::<StringSet>(&frozen.bytes)?;
            (SetBasis::Frozen, answer_with(&frozen.bytes)?)
        } else {
            let set = Arc::unwrap_or_clone(self.set_of(&job).await?);
            (SetBasis::of(standing), framed(&GetStringSetResponse { string_set: Some(set) })?)
        };
        self.sets.put(serial_id, basis, Bytes::clone(&answer));
        Ok(answer)
    }

    /// The set of a frozen job.
    pub(super) async fn frozen_set(&self, serial_id: &str) -> Result<StringSet, UseCaseError> {
        decode(&self.stored_frozen_set(serial_id).await?.bytes)
    }

    /// The set of a frozen job, encoded. One that is gone is never computed anew: pieces are cut to it.
    async fn stored_frozen_set(&self, serial_id: &str) -> Result<FrozenSet, UseCaseError> {
        match self.store.frozen_set(serial_id).await? {
            Some((frozen, _)) => Ok(frozen),
            None => Err(UseCaseError::Internal(format!("the frozen set of {serial_id} is gone"))),
        }
    }

    /// The set that follows from a job.
    pub(super) async fn set_of(&self, stored: &StoredJob) -> Result<Arc<StringSet>, UseCaseError> {
        let inputs = self.inputs_of(stored, &CheckedScales::default()).await?;
        self.computed(inputs).await
    }

    /// What the set of a serial follows from: of a frozen one what it was computed from.
    pub(crate) async fn inputs_of_serial(&self, serial_id: &str) -> Result<SetSource, UseCaseError> {
        let job = self.store.job(serial_id).await?;
        if job.freeze_us.is_none() {
            return self.inputs_of(&job, &CheckedScales::default()).await;
        }
        let set = self.frozen_set(serial_id).await?;
        let damaged = || UseCaseError::Internal(format!("the frozen set of {serial_id} has no valid inputs"));
        frozen_inputs(serial_id, &set.basis.ok_or_else(damaged)?).ok_or_else(damaged)
    }

    /// What the set of a job follows from. A scale that was checked before is not checked again.
    pub(super) async fn inputs_of(
        &self,
        stored: &StoredJob,
        scales: &CheckedScales,
    ) -> Result<SetSource, UseCaseError> {
        let job: Job = decode(&stored.stored.bytes)?;
        let damaged =
            |faults| UseCaseError::Internal(format!("stored job {} is not valid: {faults:?}", job.serial_id));
        let terms = job_terms(&job).map_err(damaged)?;
        let id = scale_id(&job.model_id, &job.revision_id);
        let wire_ids = terms.wire_ids();
        let checked = match scales.get(&id).filter(|_| wire_ids.is_empty()) {
            Some(checked) => checked,
            None => {
                let scale = match self.store.scale(&job.model_id, &job.revision_id).await {
                    Err(StoreError::NotFound { kind: Kind::Scale, .. }) => {
                        let text = format!("scale {id} of job {} is gone", job.serial_id);
                        return Err(UseCaseError::Internal(text));
                    }
                    other => other?,
                };
                let is_whole = wire_ids.is_empty();
                let checked = Arc::new(self.checked_scale(&scale, wire_ids).await?);
                if is_whole {
                    scales.put(&id, &checked);
                }
                checked
            }
        };
        // The measurements fitted when the job was stored; if they do not by now, a wire was changed.
        let (scale, as_built_notes) = terms.merged(&checked).map_err(|error| match error {
            UseCaseError::Faults(faults) => UseCaseError::ScaleUnfit { id, faults },
            other => other,
        })?;
        Ok(SetSource {
            serial_id: job.serial_id,
            scale,
            catalogue: checked.catalogue.clone(),
            options: terms.options,
            as_built_notes,
        })
    }
}

/// What a frozen set says that it was computed from; `None` if it is damaged.
fn frozen_inputs(serial_id: &str, basis: &stringing::SetBasis) -> Option<SetSource> {
    let stringing::SetBasis { options, scale, wires, as_built_notes, computed_by: _ } = basis;
    let mut catalogue = Catalogue::default();
    for wire in wires {
        catalogue.insert(WireDraft::from(wire).validate().ok()?);
    }
    Some(SetSource {
        serial_id: serial_id.to_owned(),
        scale: ScaleDraft::from(scale.as_ref()?).validate(&catalogue).ok()?,
        as_built_notes: as_built_notes.iter().filter_map(|&note| i16::try_from(note).ok()).collect(),
        catalogue,
        options: options.as_ref().map(ComputeOptionsDraft::from)?.validate().ok()?,
    })
}

/// A framed [`GetStringSetResponse`] with an encoded set in it, as it is.
fn answer_with(set: &[u8]) -> Result<Bytes, UseCaseError> {
    let mut before = Vec::with_capacity(16);
    encode_key(SET_FIELD, WireType::LengthDelimited, &mut before);
    encode_varint(u64::try_from(set.len()).unwrap_or(u64::MAX), &mut before);
    framed_with(before.len().saturating_add(set.len()), |to| {
        to.extend_from_slice(&before);
        to.extend_from_slice(set);
    })
}

#[cfg(test)]
mod tests {
    use prost::Message;

    use super::*;

    #[test]
    fn an_encoded_set_in_an_answer_is_the_answer_encoded() {
        for size in [0, 1, 127, 128, 70_000] {
            let set = StringSet { serial_id: "S".repeat(size), ..StringSet::default() };
            let answer = answer_with(&set.encode_to_vec()).unwrap();
            assert_eq!(answer, framed(&GetStringSetResponse { string_set: Some(set) }).unwrap());
        }
    }
}
