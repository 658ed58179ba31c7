//! Booking steps as done.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use becket_api::cutting::{ConfirmStepRequest, ConfirmStepResponse, CutStep};
use becket_api::digest::{hex, request_digest};
use becket_api::stringing::JobState;
use becket_floor::{CoilId, CutList, FloorChange, ListId, SerialId, Step, confirm, predict_next};
use becket_service_kit::{CallContext, first_answer, write_context};
use becket_store::{StoredCutList, StoredHeader, Workplace, WriteContext};
use becket_units::Fault;
use prost::Message;

use super::commit::stamps;
use crate::app::App;
use crate::error::{Missing, Tries, UseCaseError};
use crate::gather::gather;
use crate::ids::{id, keep};
use crate::upstream::UpstreamError;
use crate::write::decode;

/// How long the stringing service may take to tell whether a job has ended.
const JOB_STATE_PATIENCE: Duration = Duration::from_secs(1);

/// Which steps are confirmed.
struct Confirmed {
    list_id: ListId,
    step_number: u32,
    count: u32,
}

impl App {
    /// Confirms the next steps of a running list. The first cut of a serial freezes its string set, before the cut is stored.
    pub(crate) async fn confirm_step(
        &self,
        call: &CallContext,
        mut request: ConfirmStepRequest,
    ) -> Result<ConfirmStepResponse, UseCaseError> {
        let _turn = self.turns.take(&request.list_id).await;
        let context = write_context(&*self.clock, call, &mut request)?;
        let known = ListId::new(&request.list_id).ok().and_then(|list_id| self.seen.take(&list_id));
        if let (Some(before), Ok(steps)) = (known, read(&request))
            && !freezes(&before.list, steps.count)
        {
            // Whether the request was answered before is looked up when the step is booked; here only if it is refused.
            match self.try_confirm(call, &context, &steps, before).await {
                Err(UseCaseError::Upstream(error)) => return Err(error.into()),
                // The list may be another one by now.
                Err(_) => {}
                done => return done,
            }
        }
        if let Some(answer) = first_answer(&*self.store, &context).await? {
            return Ok(answer);
        }
        let steps = read(&request)?;
        let mut tries = Tries::more(5);
        loop {
            let before = self.store.cut_list(&steps.list_id).await?;
            match self.try_confirm(call, &context, &steps, before).await {
                Err(error) if tries.again(&error) => {}
                done => return done,
            }
        }
    }

    async fn try_confirm(
        &self,
        call: &CallContext,
        context: &WriteContext,
        steps: &Confirmed,
        before: StoredCutList,
    ) -> Result<ConfirmStepResponse, UseCaseError> {
        let StoredCutList { mut list, created_us, updated_us: _ } = before;
        let count = usize::try_from(steps.count).unwrap_or(usize::MAX);
        // The step that comes next is told, too, with what it will leave.
        let pending = list.pending().iter().take(count.saturating_add(1));
        let coil_ids: BTreeSet<&CoilId> = pending.map(|step| &step.coil_id).collect();
        let coil_ids: Vec<CoilId> = coil_ids.into_iter().cloned().collect();
        let Workplace { station, mut coils, ahead_running } =
            self.store.workplace(&list.header.station_id, &steps.list_id, &coil_ids).await?;
        let (now_us, actor) = (context.now_us, context.actor.as_str());
        let (station, number) = (&station.station, steps.step_number);
        let change = confirm(&list, &coils, station, number, steps.count, now_us, actor)?;
        self.refuse_ended(call, &change).await?;
        self.freeze_first_cuts(call, context, &list, &change).await?;
        let confirmed: Vec<CutStep> = change.changed_steps.iter().map(CutStep::from).collect();
        change.apply_to(&mut list);
        change.book_on(&mut coils);
        let next = predict_next(&list, &coils, &ahead_running).as_ref().map(CutStep::from);
        let answer = move |stored: &StoredHeader| answer(stored, confirmed, next).encode_to_vec();
        let written = self.commit_floor(context, change, answer).await?;
        if !written.repeated {
            self.seen.put(StoredCutList { list, created_us, updated_us: now_us });
        }
        decode(&written.answer)
    }

    /// Refuses cuts for jobs that have ended. A list that has frozen a set does not ask for that again, so it asks for this.
    ///
    /// The wire is cut already when a step is confirmed. So where the stringing service does not answer soon, the cut is
    /// booked all the same: a record that is missing is worse than one more piece for a job that was just closed. A first
    /// cut still needs the service, to freeze the set.
    async fn refuse_ended(&self, call: &CallContext, change: &FloorChange) -> Result<(), UseCaseError> {
        match tokio::time::timeout(JOB_STATE_PATIENCE, self.check_live(call, change)).await {
            Ok(Err(UseCaseError::Upstream(error))) if error.is_transient() => Ok(()),
            Ok(checked) => checked,
            Err(_elapsed) => Ok(()),
        }
    }

    /// Asks for the state of each job that a piece was cut for.
    async fn check_live(&self, call: &CallContext, change: &FloorChange) -> Result<(), UseCaseError> {
        let serial_ids: BTreeSet<&SerialId> = change.changed_steps.iter().filter_map(serial_of).collect();
        let serial_ids: Vec<SerialId> = serial_ids.into_iter().cloned().collect();
        let answers = gather(serial_ids.clone(), |serial_id| {
            let (client, call) = (self.stringing.clone(), call.clone());
            async move { client.job(&call, serial_id.as_str()).await }
        });
        for (serial_id, answer) in serial_ids.into_iter().zip(answers.await?) {
            let state = answer.map_err(|error| of_serial(error, &serial_id))?.state();
            if matches!(state, JobState::Done | JobState::GivenUp) {
                return Err(UseCaseError::JobEnded { serial_id, state });
            }
        }
        Ok(())
    }

    /// Freezes the sets of serials of which this list has cut no good piece so far. That another list has is no reason to
    /// leave it out: its set may be another one than this list was planned from, and freezing compares the two.
    async fn freeze_first_cuts(
        &self,
        call: &CallContext,
        context: &WriteContext,
        list: &CutList,
        change: &FloorChange,
    ) -> Result<(), UseCaseError> {
        for (serial_id, digest) in first_cuts(list, &change.changed_steps)? {
            let request_id = freeze_id(context, serial_id, digest);
            self.stringing.freeze(call, request_id, serial_id.as_str(), digest).await.map_err(|error| {
                let (serial_id, list_id) = (serial_id.clone(), list.header.list_id.clone());
                match error {
                    UpstreamError::SetChanged => UseCaseError::SetChanged { serial_id, list_id },
                    other => of_serial(other, &serial_id),
                }
            })?;
        }
        Ok(())
    }
}

/// Tells a job that the stringing service lacks by its name.
fn of_serial(error: UpstreamError, serial_id: &SerialId) -> UseCaseError {
    match error {
        UpstreamError::NotFound => UseCaseError::ReferenceMissing(vec![Missing {
            field: "step_number".to_owned(),
            kind: "jobs",
            id: serial_id.to_string(),
        }]),
        other => other.into(),
    }
}

/// The serial for which a step cuts.
fn serial_of(step: &Step) -> Option<&SerialId> {
    step.piece.as_ref().map(|piece| &piece.serial_id)
}

/// Serials of confirmed cuts with the digests of their sets, without those of which this list has cut a good piece before.
fn first_cuts<'a>(
    list: &'a CutList,
    confirmed: &'a [Step],
) -> Result<BTreeMap<&'a SerialId, &'a str>, UseCaseError> {
    let mut digests = BTreeMap::new();
    for serial_id in confirmed.iter().filter_map(serial_of) {
        let digest = list.set_digest(serial_id);
        let digest = digest.ok_or_else(|| {
            UseCaseError::Internal(format!(
                "{} cuts for {serial_id}, which it does not name",
                list.header.list_id
            ))
        })?;
        digests.insert(serial_id, digest);
    }
    for serial_id in list.done().iter().filter(|step| step.is_good_cut()).filter_map(serial_of) {
        digests.remove(serial_id);
    }
    Ok(digests)
}

/// Whether the next steps of a list freeze a set. That is for good, so it must not rest on a list that may be another one by now.
fn freezes(list: &CutList, count: u32) -> bool {
    let pending = list.pending();
    let next = usize::try_from(count).ok().and_then(|count| pending.get(..count)).unwrap_or(pending);
    first_cuts(list, next).map_or(true, |first| !first.is_empty())
}

/// A request id that is the same whenever the same call is repeated.
fn freeze_id(context: &WriteContext, serial_id: &SerialId, digest: &str) -> String {
    let parts = [context.actor.as_str(), &context.request_id, serial_id.as_str(), digest].join("\n");
    hex(&request_digest(context.method, parts.as_bytes()))
}

fn answer(stored: &StoredHeader, confirmed: Vec<CutStep>, next: Option<CutStep>) -> ConfirmStepResponse {
    let count = |count: u32| i32::try_from(count).unwrap_or(i32::MAX);
    ConfirmStepResponse {
        confirmed,
        next,
        pieces_done: count(stored.header.pieces_done),
        pieces_pending: count(stored.header.pieces_pending),
        etag: stamps(stored).etag(),
    }
}

fn read(request: &ConfirmStepRequest) -> Result<Confirmed, UseCaseError> {
    let mut faults = Vec::new();
    let list_id = keep(id("list_id", &request.list_id, ListId::new), &mut faults);
    let step_number = keep(step_number(request.step_number), &mut faults);
    let count = u32::try_from(request.count).map(|count| count.max(1));
    let count = count.map_err(|_| Fault::new("count", request.count, "1 to 500, or 0 for 1"));
    match (list_id, step_number, keep(count, &mut faults)) {
        (Some(list_id), Some(step_number), Some(count)) => Ok(Confirmed { list_id, step_number, count }),
        _ => Err(faults.into()),
    }
}

/// Reads the number of a step.
pub(super) fn step_number(number: i32) -> Result<u32, Fault> {
    let read = u32::try_from(number).ok().filter(|number| *number > 0);
    read.ok_or_else(|| Fault::new("step_number", number, "the number of a step, from 1"))
}
