//! Start, new plan and end of a cut list.

use std::collections::BTreeMap;

use becket_units::Um;

use crate::change::FloorChange;
use crate::cut_list::{CutList, CutListState, Shortage};
use crate::error::FloorError;
use crate::ids::{PieceId, SerialId, WireId};
use crate::plan_frame::PlannedSteps;
use crate::step::{Step, StepKind};
use crate::work::{renumber, require_state};

/// Hands a planned list to its station.
///
/// # Errors
/// [`FloorError::ListStateForbids`] unless the list is planned.
pub fn start(list: &CutList, now_us: i64) -> Result<FloorChange, FloorError> {
    require_state(list, &[CutListState::Planned])?;
    let mut change = FloorChange::of(list);
    change.header.state = CutListState::Running;
    change.header.start_us = Some(now_us);
    Ok(change)
}

/// Puts a new plan in the place of all pending steps and of all shortages. What is done stays, and keeps its numbers; the
/// planned steps are numbered anew, following on the last one that is done.
///
/// The plan's serials replace those of the same name, with digest and due date; others of the list stay.
///
/// # Errors
/// [`FloorError::ListStateForbids`] unless the list is planned or running, [`FloorError::PlanForeign`] if a step is not pending.
pub fn replace_pending(list: &CutList, planned: PlannedSteps) -> Result<FloorChange, FloorError> {
    require_state(list, &[CutListState::Planned, CutListState::Running])?;
    let mut change = FloorChange::of(list);
    set_plan(&mut change, list, planned)?;
    Ok(change)
}

/// As [`replace_pending`], on top of a change that is not stored yet.
pub(crate) fn set_plan(
    change: &mut FloorChange,
    list: &CutList,
    planned: PlannedSteps,
) -> Result<(), FloorError> {
    let PlannedSteps { serials, steps, shortages, quality } = planned;
    change.header.quality = quality;
    for serial in serials {
        let known = change.header.serials.iter_mut().find(|known| known.serial_id == serial.serial_id);
        match known {
            Some(known) => *known = serial,
            None => change.header.serials.push(serial),
        }
    }
    change.header.serials.sort_by(|a, b| (&a.due_date, &a.serial_id).cmp(&(&b.due_date, &b.serial_id)));
    set_pending(change, list, steps, shortages)
}

/// Puts other steps in the place of all pending ones, and other shortages in that of all shortages.
pub(crate) fn set_pending(
    change: &mut FloorChange,
    list: &CutList,
    mut pending: Vec<Step>,
    shortages: Vec<Shortage>,
) -> Result<(), FloorError> {
    if pending.iter().any(|step| !step.is_pending()) {
        return Err(FloorError::PlanForeign);
    }
    let after = change.applied_to(list);
    renumber(&mut pending, u32::try_from(after.done().len()).unwrap_or(u32::MAX).saturating_add(1));
    change.replace_pending = Some(pending);
    change.shortages = Some(shortages);
    change.recount(list);
    Ok(())
}

/// Ends a running list. Pending steps are refused unless they are given up: their pieces are told in the shortages then,
/// and their wire is free again.
///
/// # Errors
/// [`FloorError::ListStateForbids`] unless the list is running, [`FloorError::StepsPending`].
pub fn finish(list: &CutList, give_up_pending: bool, now_us: i64) -> Result<FloorChange, FloorError> {
    require_state(list, &[CutListState::Running])?;
    let pending = list.pending();
    if !pending.is_empty() && !give_up_pending {
        return Err(FloorError::StepsPending { pending: u32::try_from(pending.len()).unwrap_or(u32::MAX) });
    }
    let mut change = FloorChange::of(list);
    if !pending.is_empty() {
        set_pending(&mut change, list, Vec::new(), with_lacking(&list.shortages, pending))?;
    }
    change.header.state = CutListState::Finished;
    change.header.end_us = Some(now_us);
    Ok(change)
}

/// Withdraws a list of which nothing is cut yet. Its pending steps are dropped and their wire is free again; a coil that it
/// has mounted stays mounted.
///
/// # Errors
/// [`FloorError::ListStateForbids`] unless the list is planned or running, [`FloorError::PiecesCut`].
pub fn cancel(list: &CutList, now_us: i64) -> Result<FloorChange, FloorError> {
    require_state(list, &[CutListState::Planned, CutListState::Running])?;
    let cut = list.done().iter().filter(|step| step.kind == StepKind::Cut).count();
    if cut > 0 {
        return Err(FloorError::PiecesCut { cut: u32::try_from(cut).unwrap_or(u32::MAX) });
    }
    let mut change = FloorChange::of(list);
    set_pending(&mut change, list, Vec::new(), list.shortages.clone())?;
    change.header.state = CutListState::Cancelled;
    change.header.end_us = Some(now_us);
    Ok(change)
}

/// Shortages with the pieces of steps that will not be executed added.
pub(crate) fn with_lacking(shortages: &[Shortage], steps: &[Step]) -> Vec<Shortage> {
    let given_up = steps.iter().filter_map(|step| {
        let piece = step.piece.as_ref()?;
        Some((piece.serial_id.clone(), step.wire_id.clone(), vec![piece.piece_id.clone()], piece.length))
    });
    sum_shortages(rows(shortages).chain(given_up))
}

/// Sums up lacking pieces by serial and wire, serials in the order in which they come first.
pub(crate) fn sum_shortages(
    lacking: impl IntoIterator<Item = (SerialId, WireId, Vec<PieceId>, Um)>,
) -> Vec<Shortage> {
    let mut places: BTreeMap<(SerialId, WireId), usize> = BTreeMap::new();
    let mut sums: Vec<Shortage> = Vec::new();
    for (serial_id, wire_id, piece_ids, length) in lacking {
        let place = *places.entry((serial_id.clone(), wire_id.clone())).or_insert(sums.len());
        match sums.get_mut(place) {
            Some(sum) => {
                sum.piece_ids.extend(piece_ids);
                sum.length = sum.length.checked_add(length).unwrap_or(Um::new(i64::MAX));
            }
            None => sums.push(Shortage { wire_id, serial_id, piece_ids, length }),
        }
    }
    sums
}

/// Shortages as what [`sum_shortages`] takes.
pub(crate) fn rows(shortages: &[Shortage]) -> impl Iterator<Item = (SerialId, WireId, Vec<PieceId>, Um)> {
    shortages.iter().map(|s| (s.serial_id.clone(), s.wire_id.clone(), s.piece_ids.clone(), s.length))
}
