//! What every plan needs: the bench, the sets of the serials, and the planner.

mod bench;
mod needs;
mod sets;

use becket_floor::{FloorCoil, PlanFrame, PlanPolicy, PlannedSteps, SerialNeed, Station, WireId};
use becket_planner::{BestPlanner, check_plan};
use becket_service_kit::{CallContext, Deadline};
use becket_units::Um;

use crate::app::App;
use crate::error::UseCaseError;

pub(crate) use needs::{drop_claimed, keep_pieces, mark_recuts};
pub(crate) use sets::WantedSet;

/// The search for a plan leaves one part in so many of the call's time for checking and storing it.
const SHARE_FOR_THE_REST: u32 = 4;

impl App {
    /// Plans `needs` on `coils`, on those that lists of other stations want to cut from only if more is covered by it.
    ///
    /// A coil is at one station at a time. Lists that share one can follow each other, so wire that is there is not told as
    /// lacking; but as long as other coils do, no station has to wait for another.
    pub(crate) async fn plan(
        &self,
        call: &CallContext,
        needs: Vec<SerialNeed>,
        coils: Vec<FloorCoil>,
        station: &Station,
        policy: &PlanPolicy,
    ) -> Result<PlannedSteps, UseCaseError> {
        let elsewhere = self.store.coils_wanted_elsewhere(&station.station_id).await?;
        // What is on a reel is here, and holds its position in any case.
        let shared = |coil: &FloorCoil| coil.mounted.is_none() && elsewhere.contains(&coil.coil.coil_id);
        let ours: Vec<FloorCoil> = coils.iter().filter(|coil| !shared(coil)).cloned().collect();
        if ours.len() == coils.len() {
            return self.search(call, needs, coils, station, policy).await;
        }
        let apart = self.search(call, needs.clone(), ours, station, policy).await?;
        if apart.shortages.is_empty() {
            return Ok(apart);
        }
        let together = self.search(call, needs, coils, station, policy).await?;
        Ok(if lacking(&together) < lacking(&apart) { together } else { apart })
    }

    /// Searches a plan away from the threads that serve calls. It is checked by other code than made it.
    ///
    /// The same question has the same plan, unless the call's deadline comes so near that the search must be cut short.
    async fn search(
        &self,
        call: &CallContext,
        needs: Vec<SerialNeed>,
        coils: Vec<FloorCoil>,
        station: &Station,
        policy: &PlanPolicy,
    ) -> Result<PlannedSteps, UseCaseError> {
        let frame = PlanFrame::build(needs, coils, station, policy);
        let deadline = call.deadline;
        self.pool
            .run(move |flag| {
                let reserve = deadline.map(|deadline| deadline.remaining() / SHARE_FOR_THE_REST);
                let late = |deadline: Deadline| Some(deadline.remaining()) < reserve;
                let stop = || flag.is_cancelled() || deadline.is_some_and(late);
                let plan = BestPlanner::default().plan_until(frame.problem(), &stop)?.plan;
                check_plan(frame.problem(), &plan).map_err(|violations| {
                    UseCaseError::Internal(format!("the planner made an unsound plan: {violations:?}"))
                })?;
                Ok(frame.steps(&plan)?)
            })
            .await?
    }
}

/// Length that a plan leaves uncut.
fn lacking(planned: &PlannedSteps) -> Um {
    Um::checked_sum(planned.shortages.iter().map(|shortage| shortage.length)).unwrap_or(Um::new(i64::MAX))
}

/// Wires of pieces, each once, in order.
pub(crate) fn wires_of(needs: &[SerialNeed]) -> Vec<WireId> {
    let wires: std::collections::BTreeSet<&WireId> =
        needs.iter().flat_map(|need| &need.pieces).map(|piece| &piece.wire_id).collect();
    wires.into_iter().cloned().collect()
}
