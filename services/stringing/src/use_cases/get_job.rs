//! Reading a job.

use becket_api::stringing::{GetJobRequest, GetJobResponse};

use crate::app::App;
use crate::error::UseCaseError;
use crate::messages;

impl App {
    /// One job.
    pub(crate) async fn get_job(&self, request: GetJobRequest) -> Result<GetJobResponse, UseCaseError> {
        let stored = self.store.job(&request.serial_id).await?;
        Ok(GetJobResponse { job: Some(messages::job(&stored)?) })
    }
}
