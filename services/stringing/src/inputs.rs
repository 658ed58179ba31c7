//! What is read and checked before anything is computed or stored.

use std::collections::BTreeSet;

use becket_api::convert::{job_faults, within};
use becket_api::stringing::{self, Job};
use becket_scale::{AsBuilt, ComputeOptions, ComputeOptionsDraft, MAX_NOTES, Scale, ScaleDraft};
use becket_store::{Kind, StoreError, StoredScale};
use becket_units::Fault;
use becket_wire::{Catalogue, WireDraft};

use crate::app::App;
use crate::error::UseCaseError;
use crate::write::decode;

/// Most layers of a note that are looked at for names of wires: one more than are allowed.
const WINDINGS_READ: usize = 3;

/// A stored scale, checked against the catalogue.
#[derive(Debug, Clone)]
pub(crate) struct CheckedScale {
    /// The scale.
    pub(crate) scale: Scale,
    /// Its content as a message.
    pub(crate) content: stringing::Scale,
    /// Its wires and those that were asked for beside them.
    pub(crate) catalogue: Catalogue,
}

/// What a job says beside its scale.
#[derive(Debug, Clone)]
pub(crate) struct JobTerms {
    /// How its set is computed.
    pub(crate) options: ComputeOptions,
    /// Measurements of the serial.
    pub(crate) as_built: Vec<AsBuilt>,
}

/// "model/revision", as scales are named.
pub(crate) fn scale_id(model_id: &str, revision_id: &str) -> String {
    format!("{model_id}/{revision_id}")
}

/// Names of wires in a scale. What is beyond the limits of a scale is not read; validation refuses it.
pub(crate) fn named_wires(scale: &stringing::Scale) -> BTreeSet<String> {
    let notes = scale.notes.iter().take(MAX_NOTES);
    notes
        .flat_map(|note| {
            let windings = note.windings.iter().take(WINDINGS_READ).map(|winding| &winding.wire_id);
            std::iter::once(&note.wire_id).chain(windings)
        })
        .cloned()
        .collect()
}

impl App {
    /// The wires with these ids, as far as the catalogue has them.
    pub(crate) async fn catalogue(&self, ids: BTreeSet<String>) -> Result<Catalogue, UseCaseError> {
        let ids: Vec<String> = ids.into_iter().collect();
        let mut catalogue = Catalogue::default();
        for stored in self.store.wires(&ids).await? {
            let content: stringing::Wire = decode(&stored.stored.bytes)?;
            let wire = WireDraft::from(&content).validate().map_err(|faults| {
                UseCaseError::Internal(format!("stored wire {} is not valid: {faults:?}", stored.wire_id))
            })?;
            catalogue.insert(wire);
        }
        Ok(catalogue)
    }

    /// A stored revision, checked against the catalogue as it is now, with its wires and those in
    /// `more_wires`.
    pub(crate) async fn checked_scale(
        &self,
        stored: &StoredScale,
        more_wires: impl IntoIterator<Item = String>,
    ) -> Result<CheckedScale, UseCaseError> {
        let content: stringing::Scale = decode(&stored.stored.bytes)?;
        let mut ids = named_wires(&content);
        ids.extend(more_wires);
        let catalogue = self.catalogue(ids).await?;
        let scale = ScaleDraft::from(&content).validate(&catalogue).map_err(|faults| {
            UseCaseError::ScaleUnfit { id: scale_id(&content.model_id, &content.revision_id), faults }
        })?;
        Ok(CheckedScale { scale, content, catalogue })
    }

    /// Checks a job as it is to be stored: its fields, then its scale, then its measurements on that scale.
    pub(crate) async fn check_job(&self, job: &Job) -> Result<(), UseCaseError> {
        let terms = job_terms(job).map_err(UseCaseError::Faults)?;
        let id = scale_id(&job.model_id, &job.revision_id);
        let stored = match self.store.scale(&job.model_id, &job.revision_id).await {
            Err(StoreError::NotFound { kind: Kind::Scale, .. }) => {
                let remedy = "create and release it first";
                return Err(UseCaseError::ReferenceMissing { kind: "scales", id, remedy });
            }
            other => other?,
        };
        if stored.released_us.is_none() {
            return Err(UseCaseError::ScaleNotReleased { id });
        }
        let checked = self.checked_scale(&stored, terms.wire_ids()).await?;
        terms.merged(&checked).map(|_| ()).map_err(|error| match error {
            UseCaseError::Faults(faults) => UseCaseError::Faults(within(faults, "job")),
            other => other,
        })
    }
}

impl JobTerms {
    /// Wires that the measurements name.
    pub(crate) fn wire_ids(&self) -> Vec<String> {
        self.as_built.iter().filter_map(|found| found.wire_id.clone()).collect()
    }

    /// The scale with the measurements in it, and the numbers of the notes that differ. Faults have paths
    /// within the job.
    pub(crate) fn merged(&self, checked: &CheckedScale) -> Result<(Scale, Vec<i16>), UseCaseError> {
        if self.as_built.is_empty() {
            return Ok((checked.scale.clone(), Vec::new()));
        }
        let merged = checked.scale.with_as_built(&self.as_built, &checked.catalogue);
        let merged = merged.map_err(UseCaseError::Faults)?;
        Ok((merged.scale, merged.as_built_notes))
    }
}

/// Checks the fields of a job that say something by themselves; all faults at once, with paths from `job` on.
pub(crate) fn job_terms(job: &Job) -> Result<JobTerms, Vec<Fault>> {
    let mut faults = job_faults(job);
    if job.as_built.len() > MAX_NOTES {
        let value = format!("{} entries", job.as_built.len());
        faults.push(Fault::new("as_built", value, format!("up to {MAX_NOTES} entries")));
    }
    let options = job.options.as_ref().map(ComputeOptionsDraft::from).unwrap_or_default().validate();
    match options {
        Ok(options) if faults.is_empty() => {
            Ok(JobTerms { options, as_built: job.as_built.iter().map(AsBuilt::from).collect() })
        }
        // Faults of the options are among those of the job.
        _ => Err(within(faults, "job")),
    }
}
