//! Changing a job.

use becket_api::stringing::{AmendJobRequest, AmendJobResponse, Job};
use becket_service_kit::CallContext;
use becket_store::{JobState, Kind, StoreError, StoredJob};
use prost::Message;

use super::open_job::columns;
use crate::app::App;
use crate::error::UseCaseError;
use crate::inputs::{JobTerms, job_terms};
use crate::messages::{job_content, required, shown_job, version_of};
use crate::write::{answer, decode, document};
use becket_service_kit::Begun;

impl App {
    /// Replaces a job's content; of a frozen one only due date and station.
    pub(crate) async fn amend_job(
        &self,
        call: &CallContext,
        mut request: AmendJobRequest,
    ) -> Result<AmendJobResponse, UseCaseError> {
        let context = match self.begin(call, &mut request).await? {
            Begun::Answered(answer) => return Ok(answer),
            Begun::New(context) => context,
        };
        let job = required(request.job, "job")?;
        let version = amended_version(&job)?;
        let content = job_content(job);
        let stored = self.store.job(&content.serial_id).await?;
        self.check_amendment(&stored, &content, version).await?;
        if request.validate_only {
            return Ok(AmendJobResponse { job: Some(shown_job(content, &stored)) });
        }
        let new = document(&content)?;
        let columns = columns(&content);
        let make_answer = Box::new(move |stored: &StoredJob| {
            AmendJobResponse { job: Some(shown_job(content, stored)) }.encode_to_vec()
        });
        answer(&self.store.amend_job(&context, version, columns, new, make_answer).await?)
    }

    /// Whether the job may become what it is to become. The version guards what was read here until it is
    /// stored.
    async fn check_amendment(
        &self,
        stored: &StoredJob,
        content: &Job,
        version: i64,
    ) -> Result<(), UseCaseError> {
        let serial_id = content.serial_id.clone();
        check_version(stored, version)?;
        match stored.state {
            JobState::Open => self.check_job(content).await,
            // The scale and the wires of a frozen set do not matter any more; its content does not change.
            JobState::Frozen => {
                let before: Job = decode(&stored.stored.bytes)?;
                let fields = frozen_changes(&before, content)?;
                if fields.is_empty() {
                    return Ok(());
                }
                Err(UseCaseError::SetFrozen { serial_id, fields: fields.join(", ") })
            }
            state @ (JobState::Done | JobState::GivenUp) => Err(UseCaseError::JobEnded { serial_id, state }),
        }
    }
}

/// The version that an amendment names, after the job's own fields are checked.
fn amended_version(job: &Job) -> Result<i64, UseCaseError> {
    let version = version_of(&job.etag, "job.etag");
    let mut faults = job_terms(job).err().unwrap_or_default();
    match version {
        Ok(version) if faults.is_empty() => Ok(version),
        Ok(_) => Err(UseCaseError::Faults(faults)),
        Err(fault) => {
            faults.push(fault);
            Err(UseCaseError::Faults(faults))
        }
    }
}

/// Whether a job is the one that the caller has read.
pub(super) fn check_version(stored: &StoredJob, version: i64) -> Result<(), UseCaseError> {
    if stored.stored.version == version {
        return Ok(());
    }
    let id = stored.columns.serial_id.clone();
    Err(StoreError::VersionStale { kind: Kind::Job, id, current: stored.stored.version }.into())
}

/// Fields that would change and must not once the set is frozen.
fn frozen_changes(before: &Job, after: &Job) -> Result<Vec<&'static str>, UseCaseError> {
    // Destructured without `..`: a new field must get its rule.
    let Job {
        serial_id: _,
        model_id,
        revision_id,
        options: _,
        due_date: _,
        station_id: _,
        as_built: _,
        state: _,
        etag: _,
        create_time: _,
        update_time: _,
        freeze_time: _,
    } = before;
    let terms =
        |job: &Job| -> Result<JobTerms, UseCaseError> { job_terms(job).map_err(UseCaseError::Faults) };
    let (old, new) = (terms(before)?, terms(after)?);
    // Terms are compared after the defaults are filled in: a default that is stated changes nothing.
    let changes = [
        ("model_id", *model_id != after.model_id),
        ("revision_id", *revision_id != after.revision_id),
        ("options", old.options != new.options),
        ("as_built", old.as_built != new.as_built),
    ];
    Ok(changes.into_iter().filter_map(|(field, changed)| changed.then_some(field)).collect())
}
