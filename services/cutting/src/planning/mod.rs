//! What every plan needs: the bench, the sets of the serials, and the planner.

mod bench;
mod needs;
mod search;
mod sets;
mod unisons;

use becket_floor::{
    CutList, EarlierCut, FloorCoil, PlanFrame, PlanPolicy, PlannedSteps, ReplanFrame, SerialId, SerialNeed,
    Station, WireId,
};
use becket_service_kit::{CallContext, CancelFlag};
use becket_units::Um;

use crate::app::App;
use crate::error::UseCaseError;

pub(crate) use needs::{drop_claimed, keep_pieces, mark_recuts};
use search::solve_again;
pub(crate) use search::{Budget, solve};
pub(crate) use sets::WantedSet;
use unisons::{Asked, draw_to_unisons, earlier_cuts};

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
        self.plan_beside(call, needs, coils, station, policy, None).await
    }

    /// Plans `needs` anew in place of what is pending on `list`, changing as few of its steps as the objective allows. Coils that
    /// its pending steps name are its own, whoever else wants them.
    pub(crate) async fn replan(
        &self,
        call: &CallContext,
        needs: Vec<SerialNeed>,
        coils: Vec<FloorCoil>,
        station: &Station,
        list: &CutList,
    ) -> Result<PlannedSteps, UseCaseError> {
        self.plan_beside(call, needs, coils, station, &list.header.policy, Some(list)).await
    }

    async fn plan_beside(
        &self,
        call: &CallContext,
        needs: Vec<SerialNeed>,
        coils: Vec<FloorCoil>,
        station: &Station,
        policy: &PlanPolicy,
        list: Option<&CutList>,
    ) -> Result<PlannedSteps, UseCaseError> {
        let budget = Budget::begin(call.deadline, policy);
        let earlier = self.earlier_cuts(&needs, list).await?;
        let terms = Terms { budget, station, policy, list, earlier };
        let mut elsewhere = self.store.coils_wanted_elsewhere(&station.station_id).await?;
        for step in list.into_iter().flat_map(CutList::pending) {
            elsewhere.remove(&step.coil_id);
        }
        // What is on a reel is here, and holds its position in any case.
        let shared = |coil: &FloorCoil| coil.mounted.is_none() && elsewhere.contains(&coil.coil.coil_id);
        let ours: Vec<FloorCoil> = coils.iter().filter(|coil| !shared(coil)).cloned().collect();
        if ours.len() == coils.len() {
            return self.search(&terms, needs, coils).await;
        }
        let apart = self.search(&terms, needs.clone(), ours).await?;
        if apart.shortages.is_empty() {
            return Ok(apart);
        }
        let together = self.search(&terms, needs, coils).await?;
        Ok(if lacking(&together) < lacking(&apart) { together } else { apart })
    }

    /// Good pieces of the serials that other lists than this one have cut, for pieces whose unisons are among them.
    async fn earlier_cuts(
        &self,
        needs: &[SerialNeed],
        list: Option<&CutList>,
    ) -> Result<Vec<EarlierCut>, UseCaseError> {
        let with_pieces = needs.iter().filter(|need| !need.pieces.is_empty());
        let serial_ids: Vec<SerialId> = with_pieces.map(|need| need.serial.serial_id.clone()).collect();
        let cuts = self.store.cuts_of_serials(&serial_ids).await?;
        Ok(earlier_cuts(&cuts, list.map(|list| &list.header.list_id)))
    }

    /// Searches a plan away from the threads that serve calls.
    async fn search(
        &self,
        terms: &Terms<'_>,
        needs: Vec<SerialNeed>,
        coils: Vec<FloorCoil>,
    ) -> Result<PlannedSteps, UseCaseError> {
        let Terms { budget, station, policy, list, ref earlier } = *terms;
        let policy = *policy;
        if let Some(list) = list {
            let frame = ReplanFrame::build(needs, coils, station, &policy, list, earlier);
            let search = move |flag: &CancelFlag| {
                Ok(frame.frame().steps(&solve_again(&frame, &policy, &budget, flag)?)?)
            };
            return self.pool.run(search).await?;
        }
        let frame = PlanFrame::build(needs.clone(), coils.clone(), station, &policy);
        let (station, earlier) = (station.clone(), earlier.clone());
        let search = move |flag: &CancelFlag| {
            let planned = frame.steps(&solve(frame.problem(), &policy, &budget, flag)?)?;
            let asked = Asked { needs, coils, station: &station, policy: &policy, earlier: &earlier };
            draw_to_unisons(asked, planned, &budget, flag)
        };
        self.pool.run(search).await?
    }
}

/// What a plan is made under.
struct Terms<'a> {
    budget: Budget,
    station: &'a Station,
    policy: &'a PlanPolicy,
    /// The list that is planned anew, if it is one that is there already.
    list: Option<&'a CutList>,
    earlier: Vec<EarlierCut>,
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
