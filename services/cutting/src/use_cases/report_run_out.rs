//! A coil that came to its end before its plan did.

use std::collections::BTreeSet;

use becket_api::cutting::{ReportRunOutRequest, ReportRunOutResponse};
use becket_floor::{ListId, PlanMoves, pending_needs, run_out, run_out_with_replan};
use becket_service_kit::CallContext;
use becket_store::WriteContext;
use becket_units::{Fault, Um};

use super::commit::After;
use super::confirm_step::step_number;
use crate::app::App;
use crate::error::{Tries, UseCaseError};
use crate::ids::{id, keep};
use crate::write::begin;

/// What ran out.
struct Ended {
    list_id: ListId,
    step_number: u32,
    remaining: Option<Um>,
}

impl App {
    /// Books the end of a coil and plans anew what is pending, in one step.
    pub(crate) async fn report_run_out(
        &self,
        call: &CallContext,
        mut request: ReportRunOutRequest,
    ) -> Result<ReportRunOutResponse, UseCaseError> {
        let _turn = self.turns.take(&request.list_id).await;
        let context = begin!(self, call, &mut request);
        let ended = read(&request)?;
        let mut tries = Tries::more(3);
        loop {
            match self.try_run_out(call, &context, &ended).await {
                Err(error) if tries.again(&error) => {}
                done => return done,
            }
        }
    }

    async fn try_run_out(
        &self,
        call: &CallContext,
        context: &WriteContext,
        ended: &Ended,
    ) -> Result<ReportRunOutResponse, UseCaseError> {
        let before = self.store.cut_list(&ended.list_id).await?;
        let list = &before.list;
        let station = self.store.station(&list.header.station_id).await?.station;
        let coils = self.coils_of(list, ended.step_number).await?;
        let (now_us, actor) = (context.now_us, context.actor.as_str());
        let out = run_out(list, &coils, &station, ended.step_number, ended.remaining, now_us, actor)?;
        let finding = out.finding;
        let adjusted_by_um = out.change.bookings.first().map_or(0, |booking| booking.amount.get());
        let coil_id = list.next().map(|step| step.coil_id.to_string()).unwrap_or_default();
        let needs = pending_needs(&out.list, &[]);
        let planned = self.replan(call, needs, out.coils.clone(), &out.station, &out.list).await?;
        let moves = PlanMoves::between(list.pending(), &planned.steps, &BTreeSet::new());
        let change = run_out_with_replan(out, planned)?;
        let answer = move |after: &After| ReportRunOutResponse {
            cut_list: Some(after.message()),
            coil_id,
            adjusted_by_um,
            deviation_sds: finding.deviation_sds,
            steps_kept: i32::try_from(moves.kept).unwrap_or(i32::MAX),
            steps_moved: i32::try_from(moves.moved).unwrap_or(i32::MAX),
        };
        self.commit(context, &before, change, answer).await
    }
}

fn read(request: &ReportRunOutRequest) -> Result<Ended, UseCaseError> {
    let mut faults = Vec::new();
    let list_id = keep(id("list_id", &request.list_id, ListId::new), &mut faults);
    let step_number = keep(step_number(request.step_number), &mut faults);
    let remaining = request.remaining_length_mm.map(|mm| {
        Um::from_mm_f64(mm).map_err(|error| Fault::new("remaining_length_mm", mm, error.to_string()))
    });
    match (list_id, step_number, keep(remaining.transpose(), &mut faults)) {
        (Some(list_id), Some(step_number), Some(remaining)) => Ok(Ended { list_id, step_number, remaining }),
        _ => Err(faults.into()),
    }
}
