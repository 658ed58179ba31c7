//! What every plan needs: the bench, the sets of the serials, and the planner.

mod bench;
mod needs;
mod sets;

use becket_floor::{FloorCoil, PlanFrame, PlanPolicy, PlannedSteps, SerialNeed, Station, WireId};
use becket_planner::{FirstPlanner, Planner, check_plan};

use crate::app::App;
use crate::error::UseCaseError;

pub(crate) use needs::{drop_claimed, keep_pieces, mark_recuts};
pub(crate) use sets::WantedSet;

impl App {
    /// Plans `needs` on `coils`, away from the threads that serve calls. The plan is checked by other code than made it.
    pub(crate) async fn plan(
        &self,
        needs: Vec<SerialNeed>,
        coils: Vec<FloorCoil>,
        station: &Station,
        policy: &PlanPolicy,
    ) -> Result<PlannedSteps, UseCaseError> {
        let frame = PlanFrame::build(needs, coils, station, policy);
        self.pool
            .run(move |_| {
                let plan = FirstPlanner.plan(frame.problem())?;
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
