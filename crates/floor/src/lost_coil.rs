//! A coil from which nothing can be cut any more, while lists still count on it.

use crate::change::FloorChange;
use crate::cut_list::{CutList, CutListState};
use crate::error::FloorError;
use crate::ids::CoilId;
use crate::lifecycle::{rows, set_pending, set_plan, sum_shortages};
use crate::plan_frame::{PlannedSteps, blank_step};
use crate::station::FloorCoil;
use crate::step::{StepKind, TailUse};

/// Whether a list still has to put a coil on a reel or to cut from it; that it has to take it off is no such need.
#[must_use]
pub fn counts_on(list: &CutList, coil_id: &CoilId) -> bool {
    list.pending().iter().any(|step| step.coil_id == *coil_id && step.kind != StepKind::Unmount)
}

/// Puts a new plan in the place of what is pending on a list that counted on `coil`, which is set aside or empty now; `coil` is as
/// the loss leaves it, and as the list finds it.
///
/// The plan is that of [`pending_needs`](crate::pending_needs); what was short before stays so. If the coil is on a reel of the
/// list's station, taking it off is the first step: it is of no use there, and whoever has lost it has it in hand.
///
/// # Errors
/// [`FloorError::PlanForeign`] if a planned step is not pending.
pub fn plan_around(
    list: &CutList,
    coil: Option<&FloorCoil>,
    mut planned: PlannedSteps,
) -> Result<FloorChange, FloorError> {
    let place = coil.and_then(|coil| Some((coil, coil.mounted.as_ref()?)));
    if let Some((coil, place)) = place.filter(|(_, place)| place.station_id == list.header.station_id) {
        let is_it = |kind, coil_id: &CoilId| kind == StepKind::Unmount && *coil_id == coil.coil.coil_id;
        let planned_off = planned.steps.iter().any(|step| is_it(step.kind, &step.coil_id));
        // A list that waits leaves on its reel what is in nobody's way.
        if planned_off || list.header.state == CutListState::Running {
            planned.steps.retain(|step| !is_it(step.kind, &step.coil_id));
            let mut off = blank_step(0, coil);
            off.kind = StepKind::Unmount;
            off.reel_position = place.reel_position;
            off.remaining_after = coil.coil.remaining;
            off.tail_use = Some(TailUse::Keep);
            planned.steps.insert(0, off);
        }
    }
    planned.shortages = sum_shortages(rows(&list.shortages).chain(rows(&planned.shortages)));
    let mut change = FloorChange::of(list);
    set_plan(&mut change, list, planned)?;
    Ok(change)
}

/// Drops the steps of a coil that is no longer there from a list that had only to take it off.
///
/// # Errors
/// None that a list which does not [count on](counts_on) the coil has.
pub fn forget_coil(list: &CutList, coil_id: &CoilId) -> Result<FloorChange, FloorError> {
    let pending = list.pending().iter().filter(|step| step.coil_id != *coil_id).cloned().collect();
    let mut change = FloorChange::of(list);
    set_pending(&mut change, list, pending, list.shortages.clone())?;
    Ok(change)
}
