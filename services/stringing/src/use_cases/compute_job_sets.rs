//! The string sets of many serials, as a stream.

use std::pin::Pin;
use std::sync::Arc;

use becket_api::stringing::compute_job_sets_response::Result as Outcome;
use becket_api::stringing::{ComputeJobSetsRequest, ComputeJobSetsResponse, SetView, StringSet};
use becket_service_kit::{Deadline, deadline_exceeded, internal};
use becket_units::Fault;
use futures_util::stream::{self, Stream, StreamExt};
use tokio_util::task::AbortOnDropHandle;
use tonic::Status;

use crate::app::App;
use crate::checked_scales::CheckedScales;
use crate::error::UseCaseError;
use crate::status::refusal;

/// Most serials of one call.
const MAX_SERIALS: usize = 20_000;
/// Sets that are worked on at the same time, or wait for the reader. A set takes some 150 kB, so that a call that is read
/// slowly holds a few megabytes and no more, and there is always one to compute while others are read from the store.
const AHEAD: usize = 16;

/// What the caller reads.
pub(crate) type JobSetStream = Pin<Box<dyn Stream<Item = Result<ComputeJobSetsResponse, Status>> + Send>>;

impl App {
    /// Streams sets in the order of the request.
    ///
    /// Work begins while the stream is read, [`AHEAD`] sets ahead, and dropping the stream cancels what is under way. Each set is
    /// a task of its own: a future that waits for its reader would keep its connection to the store and its place among the
    /// computations from all others.
    pub(crate) fn compute_job_sets(
        self: Arc<Self>,
        request: ComputeJobSetsRequest,
        deadline: Option<Deadline>,
    ) -> Result<JobSetStream, UseCaseError> {
        let ComputeJobSetsRequest { serial_ids, view } = request;
        let view = checked(serial_ids.len(), view)?;
        let scales = Arc::new(CheckedScales::default());
        let sets = stream::iter(serial_ids)
            .map(move |serial_id| {
                let set = Arc::clone(&self).job_set(serial_id, view, Arc::clone(&scales));
                AbortOnDropHandle::new(tokio::spawn(set))
            })
            .buffered(AHEAD)
            .map(|joined| joined.unwrap_or_else(|error| Err(internal(error.to_string()))));
        Ok(match deadline {
            Some(deadline) => Box::pin(until(deadline, sets.boxed())),
            None => Box::pin(sets),
        })
    }

    /// One message. What ails one serial is told in it; that the service stops ends the stream.
    async fn job_set(
        self: Arc<Self>,
        serial_id: String,
        view: SetView,
        scales: Arc<CheckedScales>,
    ) -> Result<ComputeJobSetsResponse, Status> {
        let outcome = match self.set_in_batch(&serial_id, &scales).await {
            Ok(set) => Outcome::StringSet(seen(set, view)),
            Err(error @ UseCaseError::Stopping) => return Err(error.into()),
            Err(error) => Outcome::Refusal(refusal(&error.into())),
        };
        Ok(ComputeJobSetsResponse { serial_id, result: Some(outcome) })
    }

    async fn set_in_batch(&self, serial_id: &str, scales: &CheckedScales) -> Result<StringSet, UseCaseError> {
        let job = self.store.job(serial_id).await?;
        if job.freeze_us.is_some() {
            return self.frozen_set(serial_id).await;
        }
        // The cache of sets is left alone: a batch would push out what others use.
        let inputs = self.inputs_of(&job, scales).await?;
        Ok(Arc::unwrap_or_clone(self.computed(inputs).await?))
    }
}

fn checked(serials: usize, view: Option<i32>) -> Result<SetView, UseCaseError> {
    let mut faults = Vec::new();
    if !(1..=MAX_SERIALS).contains(&serials) {
        let value = format!("{serials} entries");
        faults.push(Fault::new("serial_ids", value, format!("1 to {MAX_SERIALS} entries")));
    }
    let view = match view.map(SetView::try_from) {
        None => Some(SetView::Full),
        Some(Ok(view @ (SetView::Full | SetView::Summary))) => Some(view),
        Some(_) => {
            faults.push(Fault::new(
                "view",
                view.unwrap_or_default(),
                "full or summary, or no value for full",
            ));
            None
        }
    };
    view.filter(|_| faults.is_empty()).ok_or(UseCaseError::Faults(faults))
}

/// As much of a set as is asked for.
fn seen(set: StringSet, view: SetView) -> StringSet {
    match view {
        SetView::Summary => StringSet { basis: None, strings: Vec::new(), pieces: Vec::new(), ..set },
        SetView::Full | SetView::Unspecified => set,
    }
}

/// The stream until the deadline, and then its error.
fn until(
    deadline: Deadline,
    sets: impl Stream<Item = Result<ComputeJobSetsResponse, Status>> + Send + Unpin,
) -> impl Stream<Item = Result<ComputeJobSetsResponse, Status>> + Send {
    stream::unfold(Some(sets), move |sets| async move {
        let mut sets = sets?;
        match tokio::time::timeout_at(deadline.instant(), sets.next()).await {
            Ok(item) => item.map(|item| (item, Some(sets))),
            Err(_) => Some((Err(deadline_exceeded()), None)),
        }
    })
}
