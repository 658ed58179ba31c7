//! Reading jobs page by page.

use becket_api::stringing::{self, ListJobsRequest, ListJobsResponse};
use becket_floor::is_iso_date;
use becket_store::{JobFilter, JobState};
use becket_units::Fault;

use crate::app::App;
use crate::error::UseCaseError;
use crate::messages;

impl App {
    /// Jobs by due date and serial.
    pub(crate) async fn list_jobs(
        &self,
        mut request: ListJobsRequest,
    ) -> Result<ListJobsResponse, UseCaseError> {
        let filter = filter(&request)?;
        let listing = self.listing(&mut request)?;
        let page = self.store.list_jobs(&filter, &listing.page).await?;
        Ok(ListJobsResponse {
            jobs: page.items.iter().map(messages::job).collect::<Result<_, _>>()?,
            next_page_token: listing.next_page_token(page.next.as_deref()),
        })
    }
}

/// The filter of a request, checked.
fn filter(request: &ListJobsRequest) -> Result<JobFilter, UseCaseError> {
    let mut faults = Vec::new();
    let state = request.state.and_then(|number| match stringing::JobState::try_from(number) {
        Ok(stringing::JobState::Open) => Some(JobState::Open),
        Ok(stringing::JobState::Frozen) => Some(JobState::Frozen),
        Ok(stringing::JobState::Done) => Some(JobState::Done),
        Ok(stringing::JobState::GivenUp) => Some(JobState::GivenUp),
        Ok(stringing::JobState::Unspecified) | Err(_) => {
            faults.push(Fault::new("state", number, "a state, or none for all"));
            None
        }
    });
    let stated = |text: &String| Some(text.clone()).filter(|text| !text.is_empty());
    let due_by_date = stated(&request.due_by_date);
    if let Some(day) = due_by_date.as_ref().filter(|day| !is_iso_date(day)) {
        faults.push(Fault::new(
            "due_by_date",
            day,
            "a day as ISO 8601 writes it, such as 2026-11-30, or empty",
        ));
    }
    if faults.is_empty() {
        return Ok(JobFilter { state, station_id: stated(&request.station_id), due_by_date });
    }
    Err(UseCaseError::Faults(faults))
}
