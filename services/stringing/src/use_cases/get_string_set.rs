//! The string set of a serial.

use std::sync::Arc;

use becket_api::stringing::{GetStringSetRequest, GetStringSetResponse, Job, SetBasis, StringSet};
use becket_scale::{ComputeOptionsDraft, ScaleDraft};
use becket_store::{Kind, StoreError, StoredJob};
use becket_wire::{Catalogue, WireDraft};

use crate::app::App;
use crate::checked_scales::CheckedScales;
use crate::compute::SetSource;
use crate::error::UseCaseError;
use crate::inputs::{job_terms, scale_id};
use crate::set_cache::SetKey;
use crate::write::decode;

impl App {
    /// The set as frozen, or else as it follows from the job, its scale and the catalogue as they are now.
    pub(crate) async fn get_string_set(
        &self,
        request: GetStringSetRequest,
    ) -> Result<GetStringSetResponse, UseCaseError> {
        let job = self.store.job(&request.serial_id).await?;
        let set = if job.freeze_us.is_some() {
            self.frozen_set(&request.serial_id).await?
        } else {
            StringSet::clone(&*self.set_of(&job).await?)
        };
        Ok(GetStringSetResponse { string_set: Some(set) })
    }

    /// The set of a frozen job. One that is gone is never computed anew: pieces are cut to it.
    pub(super) async fn frozen_set(&self, serial_id: &str) -> Result<StringSet, UseCaseError> {
        match self.store.frozen_set(serial_id).await? {
            Some((frozen, _)) => decode(&frozen.bytes),
            None => Err(UseCaseError::Internal(format!("the frozen set of {serial_id} is gone"))),
        }
    }

    /// The set that follows from a job.
    pub(super) async fn set_of(&self, stored: &StoredJob) -> Result<Arc<StringSet>, UseCaseError> {
        let serial_id = stored.columns.serial_id.clone();
        // Read before the wires: if they change in between, the set is kept under a state that is over and is
        // never found.
        let wires_generation = self.store.wires_generation().await?;
        let key = SetKey { serial_id, job_version: stored.stored.version, wires_generation };
        if let Some(set) = self.sets.get(&key) {
            return Ok(set);
        }
        let inputs = self.inputs_of(stored, &CheckedScales::default()).await?;
        let set = self.computed(inputs).await?;
        self.sets.put(key, Arc::clone(&set));
        Ok(set)
    }

    /// What the set of a serial follows from: of a frozen one what it was computed from.
    pub(super) async fn inputs_of_serial(&self, serial_id: &str) -> Result<SetSource, UseCaseError> {
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
fn frozen_inputs(serial_id: &str, basis: &SetBasis) -> Option<SetSource> {
    let SetBasis { options, scale, wires, as_built_notes, computed_by: _ } = basis;
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
