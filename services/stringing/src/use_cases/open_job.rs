//! Opening a job.

use becket_api::stringing::{Job, OpenJobRequest, OpenJobResponse};
use becket_service_kit::CallContext;
use becket_store::{JobColumns, Kind, StoreError, StoredJob};
use prost::Message;

use crate::app::App;
use crate::error::UseCaseError;
use crate::messages::{job_content, required, shown_job};
use crate::write::{answer, document};
use becket_service_kit::Begun;

impl App {
    /// Opens a job on a released scale.
    pub(crate) async fn open_job(
        &self,
        call: &CallContext,
        mut request: OpenJobRequest,
    ) -> Result<OpenJobResponse, UseCaseError> {
        let context = match self.begin(call, &mut request).await? {
            Begun::Answered(answer) => return Ok(answer),
            Begun::New(context) => context,
        };
        let content = job_content(required(request.job, "job")?);
        self.check_job(&content).await?;
        if request.validate_only {
            return match self.store.job(&content.serial_id).await {
                Err(StoreError::NotFound { .. }) => Ok(OpenJobResponse { job: Some(content) }),
                Err(other) => Err(other.into()),
                Ok(_) => {
                    Err(StoreError::AlreadyExists { kind: Kind::Job, ids: vec![content.serial_id] }.into())
                }
            };
        }
        let new = document(&content)?;
        let columns = columns(&content);
        let make_answer = Box::new(move |stored: &StoredJob| {
            OpenJobResponse { job: Some(shown_job(content, stored)) }.encode_to_vec()
        });
        answer(&self.store.open_job(&context, columns, new, make_answer).await?)
    }
}

/// What a job is listed by.
pub(super) fn columns(job: &Job) -> JobColumns {
    JobColumns {
        serial_id: job.serial_id.clone(),
        due_date: job.due_date.clone(),
        station_id: job.station_id.clone(),
    }
}
