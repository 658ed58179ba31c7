//! What every plan needs: the bench, the sets of the serials, and the planner.

mod bench;
mod needs;
mod sets;

use becket_floor::{FloorCoil, PlanFrame, PlanPolicy, PlannedSteps, SerialNeed, Station, WireId};
use becket_planner::{BestPlanner, check_plan};
use becket_service_kit::{CallContext, Deadline};

use crate::app::App;
use crate::error::UseCaseError;

pub(crate) use needs::{drop_claimed, keep_pieces, mark_recuts};
pub(crate) use sets::WantedSet;

/// The search for a plan leaves one part in so many of the call's time for checking and storing it.
const SHARE_FOR_THE_REST: u32 = 4;

impl App {
    /// Plans `needs` on `coils`, away from the threads that serve calls. The plan is checked by other code than made it.
    ///
    /// The same question has the same plan, unless the call's deadline comes so near that the search must be cut short.
    pub(crate) async fn plan(
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

/// Wires of pieces, each once, in order.
pub(crate) fn wires_of(needs: &[SerialNeed]) -> Vec<WireId> {
    let wires: std::collections::BTreeSet<&WireId> =
        needs.iter().flat_map(|need| &need.pieces).map(|piece| &piece.wire_id).collect();
    wires.into_iter().cloned().collect()
}
