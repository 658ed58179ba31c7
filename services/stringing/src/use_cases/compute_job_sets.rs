//! The string sets of many serials, as a stream.

use std::pin::Pin;
use std::sync::Arc;

use becket_api::stringing::compute_job_sets_response::Result as Outcome;
use becket_api::stringing::{ComputeJobSetsRequest, ComputeJobSetsResponse, Job, SetView, StringSet};
use becket_service_kit::{Deadline, deadline_exceeded, internal};
use becket_store::StoredJob;
use becket_units::Fault;
use futures_util::stream::{self, Stream, StreamExt};
use prost::Message;
use prost::bytes::Bytes;
use tokio_util::task::AbortOnDropHandle;
use tonic::Status;

use crate::app::App;
use crate::batch_sets::{BatchSets, message_with};
use crate::compute::computed_set;
use crate::error::UseCaseError;
use crate::status::refusal;
use crate::write::decode;

/// Most serials of one call.
const MAX_SERIALS: usize = 20_000;
/// Sets that are worked on at the same time, or wait for the reader. A set takes some 150 kB, so that a call that is read
/// slowly holds a few megabytes and no more, and there is always one to compute while others are read from the store.
const AHEAD: usize = 16;

/// What the caller reads: each a [`ComputeJobSetsResponse`], encoded.
pub(crate) type JobSetStream = Pin<Box<dyn Stream<Item = Result<Bytes, Status>> + Send>>;

impl App {
    /// Streams sets in the order of the request.
    ///
    /// Work begins while the stream is read, [`AHEAD`] sets ahead, and dropping the stream cancels what is under way. Each set is
    /// a task of its own: a future that waits for its reader would keep its connection to the store and its place among the
    /// computations from all others. A set is encoded where it is computed, so that the connection only sends.
    pub(crate) fn compute_job_sets(
        self: Arc<Self>,
        request: ComputeJobSetsRequest,
        deadline: Option<Deadline>,
    ) -> Result<JobSetStream, UseCaseError> {
        let ComputeJobSetsRequest { serial_ids, view } = request;
        let view = checked(serial_ids.len(), view)?;
        let shared = Arc::new(BatchSets::default());
        let sets = stream::iter(serial_ids)
            .map(move |serial_id| {
                let set = Arc::clone(&self).job_set(serial_id, view, Arc::clone(&shared));
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
        shared: Arc<BatchSets>,
    ) -> Result<Bytes, Status> {
        match self.set_in_batch(&serial_id, view, &shared).await {
            Ok(message) => Ok(message),
            Err(error @ UseCaseError::Stopping) => Err(error.into()),
            Err(error) => {
                let result = Some(Outcome::Refusal(refusal(&error.into())));
                Ok(ComputeJobSetsResponse { serial_id, result }.encode_to_vec().into())
            }
        }
    }

    async fn set_in_batch(
        &self,
        serial_id: &str,
        view: SetView,
        shared: &BatchSets,
    ) -> Result<Bytes, UseCaseError> {
        let job = self.store.job(serial_id).await?;
        if job.freeze_us.is_some() {
            let set = seen(self.frozen_set(serial_id).await?, view);
            return Ok(message_with(serial_id, "", &set.encode_to_vec()));
        }
        let content: Job = decode(&job.stored.bytes)?;
        // The cache of sets is left alone: a batch would push out what others use.
        let set = match shared.of_standard(&content) {
            Some(set) => Bytes::clone(set.get_or_try_init(|| self.encoded(&job, view, shared)).await?),
            None => self.encoded(&job, view, shared).await?,
        };
        Ok(message_with(serial_id, serial_id, &set))
    }

    /// The set of an open job, encoded without its serial.
    async fn encoded(
        &self,
        job: &StoredJob,
        view: SetView,
        shared: &BatchSets,
    ) -> Result<Bytes, UseCaseError> {
        let mut inputs = self.inputs_of(job, shared.scales()).await?;
        inputs.serial_id.clear();
        let computed = move |_: &_| {
            let (_, set) = computed_set(&inputs)?;
            Ok(seen(set, view).encode_to_vec().into())
        };
        self.pool.run(computed).await?
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
    sets: impl Stream<Item = Result<Bytes, Status>> + Send + Unpin,
) -> impl Stream<Item = Result<Bytes, Status>> + Send {
    stream::unfold(Some(sets), move |sets| async move {
        let mut sets = sets?;
        match tokio::time::timeout_at(deadline.instant(), sets.next()).await {
            Ok(item) => item.map(|item| (item, Some(sets))),
            Err(_) => Some((Err(deadline_exceeded()), None)),
        }
    })
}
