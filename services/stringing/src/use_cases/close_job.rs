//! Ending a job.

use becket_api::stringing::{self, CloseJobRequest, CloseJobResponse, Job};
use becket_service_kit::CallContext;
use becket_store::{JobState, StoredJob};
use becket_units::Fault;
use prost::Message;

use super::amend_job::check_version;
use crate::app::App;
use crate::error::UseCaseError;
use crate::messages::{shown_job, version_of};
use crate::write::{answer, decode};
use becket_service_kit::Begun;

impl App {
    /// Ends a job as done or as given up.
    pub(crate) async fn close_job(
        &self,
        call: &CallContext,
        mut request: CloseJobRequest,
    ) -> Result<CloseJobResponse, UseCaseError> {
        let context = match self.begin(call, &mut request).await? {
            Begun::Answered(answer) => return Ok(answer),
            Begun::New(context) => context,
        };
        let (version, final_state) = checked(&request)?;
        let stored = self.store.job(&request.serial_id).await?;
        // The content that is shown is the one of this version, which the store guards.
        check_version(&stored, version)?;
        let content: Job = decode(&stored.stored.bytes)?;
        let make_answer = Box::new(move |stored: &StoredJob| {
            CloseJobResponse { job: Some(shown_job(content, stored)) }.encode_to_vec()
        });
        let written =
            self.store.close_job(&context, &request.serial_id, version, final_state, make_answer).await;
        answer(&written?)
    }
}

/// The version and the final state that a request names.
fn checked(request: &CloseJobRequest) -> Result<(i64, JobState), UseCaseError> {
    let mut faults = Vec::new();
    let final_state = match stringing::JobState::try_from(request.final_state) {
        Ok(stringing::JobState::Done) => Some(JobState::Done),
        Ok(stringing::JobState::GivenUp) => Some(JobState::GivenUp),
        _ => {
            faults.push(Fault::new(
                "final_state",
                request.final_state,
                "JOB_STATE_DONE or JOB_STATE_GIVEN_UP",
            ));
            None
        }
    };
    let version = match version_of(&request.etag, "etag") {
        Ok(version) => Some(version),
        Err(fault) => {
            faults.push(fault);
            None
        }
    };
    version.zip(final_state).ok_or(UseCaseError::Faults(faults))
}
