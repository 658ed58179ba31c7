//! Miscuts and broken strings.

use std::collections::BTreeMap;

use becket_api::convert::required;
use becket_api::cutting::{ReportSpoiledPieceRequest, ReportSpoiledPieceResponse};
use becket_floor::{
    CoilId, CutList, FloorChange, FloorCoil, ListId, NeedsReplan, SpoilCause, Spoilage, Station, Step,
    pending_needs, spoil, spoil_with_replan,
};
use becket_service_kit::CallContext;
use becket_store::WriteContext;
use becket_units::{Fault, Um};

use super::commit::After;
use super::confirm_step::step_number;
use crate::app::App;
use crate::error::{Tries, UseCaseError};
use crate::ids::{id, keep};
use crate::planning::wires_of;
use crate::write::begin;

/// What was lost.
struct Loss {
    list_id: ListId,
    step_number: u32,
    cause: SpoilCause,
    lost_length: Option<Um>,
}

impl App {
    /// Books a lost piece and puts its recut on the list, in one step.
    pub(crate) async fn report_spoiled_piece(
        &self,
        call: &CallContext,
        mut request: ReportSpoiledPieceRequest,
    ) -> Result<ReportSpoiledPieceResponse, UseCaseError> {
        let _turn = self.turns.take(&request.list_id).await;
        let context = begin!(self, call, &mut request);
        let loss = read(&request)?;
        let mut tries = Tries::more(3);
        loop {
            match self.try_spoil(call, &context, &loss).await {
                Err(error) if tries.again(&error) => {}
                done => return done,
            }
        }
    }

    async fn try_spoil(
        &self,
        call: &CallContext,
        context: &WriteContext,
        loss: &Loss,
    ) -> Result<ReportSpoiledPieceResponse, UseCaseError> {
        let before = self.store.cut_list(&loss.list_id).await?;
        let list = &before.list;
        let station = self.store.station(&list.header.station_id).await?.station;
        let coils = self.coils_of(list, loss.step_number).await?;
        let Loss { step_number, cause, lost_length, .. } = *loss;
        let (now_us, actor) = (context.now_us, context.actor.as_str());
        let spoilage = spoil(list, &coils, &station, step_number, cause, lost_length, now_us, actor)?;
        let (change, recut) = match spoilage {
            Spoilage::Recut { change, recut_step_number } => (change, recut_step_number),
            Spoilage::NeedsReplan(needs) => self.replanned(call, list, *needs, &station).await?,
            Spoilage::Owed { change } => (change, 0),
        };
        let recut_step_number = i32::try_from(recut).unwrap_or(i32::MAX);
        let answer = move |after: &After| ReportSpoiledPieceResponse {
            cut_list: Some(after.message()),
            recut_step_number,
        };
        self.commit(context, &before, change, answer).await
    }

    /// All coils that the list names, and all of the wires that it still needs, that of the lost piece included.
    pub(super) async fn coils_of(
        &self,
        list: &CutList,
        step_number: u32,
    ) -> Result<Vec<FloorCoil>, UseCaseError> {
        let lost: Vec<Step> =
            list.steps.iter().filter(|step| step.step_number == step_number).cloned().collect();
        let list_id = Some(&list.header.list_id);
        let stock = self.store.stock(&wires_of(&pending_needs(list, &lost)), list_id).await?;
        let named = self.store.floor_coils(&list.coil_ids(), list_id).await?;
        let coils: BTreeMap<CoilId, FloorCoil> =
            stock.into_iter().chain(named).map(|coil| (coil.coil.coil_id.clone(), coil)).collect();
        Ok(coils.into_values().collect())
    }

    /// Plans all that is pending and the lost piece anew, on the floor as the loss leaves it. Returns the step of the recut, 0 if
    /// there is no wire for it.
    async fn replanned(
        &self,
        call: &CallContext,
        before: &CutList,
        loss: NeedsReplan,
        station: &Station,
    ) -> Result<(FloorChange, u32), UseCaseError> {
        let wanted = pending_needs(&loss.list, std::slice::from_ref(&loss.piece));
        let planned = self.replan(call, wanted, loss.coils.clone(), station, &loss.list).await?;
        let (change, recut) = spoil_with_replan(before, loss, planned)?;
        Ok((change, recut.unwrap_or(0)))
    }
}

fn read(request: &ReportSpoiledPieceRequest) -> Result<Loss, UseCaseError> {
    let mut faults = Vec::new();
    let list_id = keep(id("list_id", &request.list_id, ListId::new), &mut faults);
    let step_number = keep(step_number(request.step_number), &mut faults);
    let cause = keep(required("cause", request.cause), &mut faults);
    let lost_length = request
        .lost_length_mm
        .map(|mm| Um::from_mm_f64(mm).map_err(|error| Fault::new("lost_length_mm", mm, error.to_string())));
    let lost_length = keep(lost_length.transpose(), &mut faults);
    match (list_id, step_number, cause, lost_length) {
        (Some(list_id), Some(step_number), Some(cause), Some(lost_length)) => {
            Ok(Loss { list_id, step_number, cause, lost_length })
        }
        _ => Err(faults.into()),
    }
}
