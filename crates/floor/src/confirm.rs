//! Confirming what the stringer has done.

use becket_units::Um;

use crate::change::FloorChange;
use crate::coil::{BookingKind, CoilState};
use crate::cut_list::{CutList, CutListState};
use crate::error::FloorError;
use crate::station::{FloorCoil, Station};
use crate::step::{Step, StepKind, StepState, TailUse};
use crate::work::{Work, require_state};

/// Most steps that can be confirmed at once.
pub const MAX_CONFIRM: u32 = 500;

/// Books the next `count` steps of a running list as done.
///
/// `step_number` must be the next pending step. `coils` are all coils of these steps, `station` is the list's station,
/// `now_us` the time in µs since 1970 (UTC), `actor` who confirms.
///
/// A mount opens the coil and books the trim as scrap. A cut books the piece; if the books say that the coil held less
/// than that, reality wins and they are corrected first. Taking a coil off frees its position; its tail is scrapped if
/// the step says so, unless another list counts on the coil, or the coil holds more than the planned tail and enough to be
/// of use; a coil on which nothing is left is used up.
///
/// # Errors
/// [`FloorError`]: the list is not running, another step is next, `count` is 0 or more than are pending or
/// [`MAX_CONFIRM`], the coil or reel position is not as the step expects. Nothing is confirmed then.
pub fn confirm(
    list: &CutList,
    coils: &[FloorCoil],
    station: &Station,
    step_number: u32,
    count: u32,
    now_us: i64,
    actor: &str,
) -> Result<FloorChange, FloorError> {
    require_state(list, &[CutListState::Running])?;
    let mut work = Work::on(list, coils, station);
    let next = list.next().map(|step| step.step_number);
    if next != Some(step_number) {
        return Err(FloorError::StepNotNext { step_number, next });
    }
    let pending = list.pending();
    let Some(steps) = usize::try_from(count)
        .ok()
        .filter(|_| (1..=MAX_CONFIRM).contains(&count))
        .and_then(|n| pending.get(..n))
    else {
        let pending = u32::try_from(pending.len()).unwrap_or(u32::MAX);
        return Err(FloorError::CountOutOfRange { count, pending, max: MAX_CONFIRM });
    };
    for step in steps {
        let mut step = step.clone();
        match step.kind {
            StepKind::Mount => mount(&mut work, &mut step)?,
            StepKind::Cut => cut(&mut work, &mut step)?,
            StepKind::Unmount => unmount(&mut work, &mut step)?,
        }
        step.state = StepState::Done;
        step.done_us = Some(now_us);
        actor.clone_into(&mut step.done_by);
        work.change.changed_steps.push(step);
    }
    Ok(work.finished(list).0)
}

fn mount(work: &mut Work, step: &mut Step) -> Result<(), FloorError> {
    work.require_usable(&step.coil_id)?;
    work.put_on(&step.coil_id, step.reel_position)?;
    step.opens_coil = work.coil(&step.coil_id)?.coil.state == CoilState::Sealed;
    work.set_state(&step.coil_id, CoilState::Opened)?;
    step.remaining_after = work.take(&step.coil_id, BookingKind::Scrap, step.length)?;
    Ok(())
}

fn cut(work: &mut Work, step: &mut Step) -> Result<(), FloorError> {
    work.require_mounted(step)?;
    work.require_usable(&step.coil_id)?;
    step.remaining_after = work.take(&step.coil_id, BookingKind::Cut, step.length)?;
    Ok(())
}

fn unmount(work: &mut Work, step: &mut Step) -> Result<(), FloorError> {
    work.require_mounted(step)?;
    work.take_off(&step.coil_id, step.reel_position)?;
    let planned_tail = step.length;
    (step.tail_use, step.length) = match step.tail_use {
        Some(TailUse::Scrap) if scraps_tail(work, step, planned_tail)? => {
            let tail = work.coil(&step.coil_id)?.coil.remaining;
            work.book(&step.coil_id, BookingKind::Scrap, tail)?;
            (Some(TailUse::Scrap), tail)
        }
        _ => (Some(TailUse::Keep), Um::ZERO),
    };
    let coil = &work.coil(&step.coil_id)?.coil;
    step.remaining_after = coil.remaining;
    if coil.remaining == Um::ZERO && coil.state.is_usable() {
        work.set_state(&step.coil_id, CoilState::UsedUp)?;
    }
    Ok(())
}

fn scraps_tail(work: &mut Work, step: &Step, planned_tail: Um) -> Result<bool, FloorError> {
    let others = work.rely_on_others(&step.coil_id)?;
    let coil = work.coil(&step.coil_id)?;
    let remaining = coil.coil.remaining;
    // A weighing may have found wire since the plan was made: what is of use is not thrown away.
    let too_short = remaining <= planned_tail || remaining < coil.smallest_remnant;
    Ok(others == Um::ZERO && coil.coil.state.is_usable() && too_short)
}
