//! Booking steps as done.

use std::collections::BTreeMap;

use becket_api::cutting::{ConfirmStepRequest, ConfirmStepResponse, CutStep};
use becket_api::digest::{hex, request_digest};
use becket_floor::{CoilId, CutList, FloorChange, ListId, SerialId, Step, confirm};
use becket_service_kit::CallContext;
use becket_store::WriteContext;
use becket_units::Fault;

use super::commit::After;
use crate::app::App;
use crate::error::{Missing, Tries, UseCaseError};
use crate::ids::{id, keep};
use crate::upstream::UpstreamError;
use crate::write::begin;

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
        let context = begin!(self, call, &mut request);
        let steps = read(&request)?;
        let mut tries = Tries::more(5);
        loop {
            match self.try_confirm(call, &context, &steps).await {
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
    ) -> Result<ConfirmStepResponse, UseCaseError> {
        let before = self.store.cut_list(&steps.list_id).await?;
        let station = self.store.station(&before.list.header.station_id).await?.station;
        let count = usize::try_from(steps.count).unwrap_or(usize::MAX);
        let coil_ids: Vec<CoilId> =
            before.list.pending().iter().take(count).map(|step| step.coil_id.clone()).collect();
        let coils = self.store.floor_coils(&coil_ids, Some(&steps.list_id)).await?;
        let (now_us, actor) = (context.now_us, context.actor.as_str());
        let change = confirm(&before.list, &coils, &station, steps.step_number, steps.count, now_us, actor)?;
        self.freeze_first_cuts(call, context, &before.list, &change).await?;
        let confirmed: Vec<CutStep> = change.changed_steps.iter().map(CutStep::from).collect();
        let answer = move |after: &After| answer(after, confirmed);
        self.commit(context, &before, change, answer).await
    }

    /// Freezes the sets of serials of which no piece is cut and good so far.
    async fn freeze_first_cuts(
        &self,
        call: &CallContext,
        context: &WriteContext,
        list: &CutList,
        change: &FloorChange,
    ) -> Result<(), UseCaseError> {
        for (serial_id, digest) in first_cuts(list, &change.changed_steps)? {
            let cuts = self.store.cuts_of_serial(serial_id).await?;
            if cuts.iter().any(|cut| cut.spoil_cause.is_none()) {
                continue;
            }
            let request_id = freeze_id(context, serial_id, digest);
            self.stringing.freeze(call, request_id, serial_id.as_str(), digest).await.map_err(|error| {
                let (serial_id, list_id) = (serial_id.clone(), list.header.list_id.clone());
                match error {
                    UpstreamError::SetChanged => UseCaseError::SetChanged { serial_id, list_id },
                    UpstreamError::NotFound => UseCaseError::ReferenceMissing(vec![Missing {
                        field: "step_number".to_owned(),
                        kind: "jobs",
                        id: serial_id.to_string(),
                    }]),
                    other => other.into(),
                }
            })?;
        }
        Ok(())
    }
}

/// Serials of confirmed cuts with the digests of their sets, without those of which this list has cut a good piece before.
fn first_cuts<'a>(
    list: &'a CutList,
    confirmed: &'a [Step],
) -> Result<BTreeMap<&'a SerialId, &'a str>, UseCaseError> {
    let serial_of = |step: &'a Step| step.piece.as_ref().map(|piece| &piece.serial_id);
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

/// A request id that is the same whenever the same call is repeated.
fn freeze_id(context: &WriteContext, serial_id: &SerialId, digest: &str) -> String {
    let parts = [context.actor.as_str(), &context.request_id, serial_id.as_str(), digest].join("\n");
    hex(&request_digest(context.method, parts.as_bytes()))
}

fn answer(after: &After, confirmed: Vec<CutStep>) -> ConfirmStepResponse {
    let list = &after.list;
    let count = |count: u32| i32::try_from(count).unwrap_or(i32::MAX);
    ConfirmStepResponse {
        confirmed,
        next: list.next().map(CutStep::from),
        pieces_done: count(list.header.pieces_done),
        pieces_pending: count(list.header.pieces_pending),
        etag: after.etag(),
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
