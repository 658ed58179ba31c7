//! Pieces that are lost: miscuts and broken strings.

use becket_units::{Fault, Um};

use crate::change::FloorChange;
use crate::coil::BookingKind;
use crate::cut_list::{CutList, CutListState};
use crate::error::FloorError;
use crate::lifecycle::{rows, set_plan, sum_shortages, with_lacking};
use crate::plan_frame::PlannedSteps;
use crate::station::{FloorCoil, Station};
use crate::step::{SpoilCause, Step, StepKind, StepPiece, StepState};
use crate::work::{Work, renumber, require_state};

/// What follows from the report of a lost piece.
#[derive(Debug, Clone, PartialEq)]
pub enum Spoilage {
    /// The piece is cut again next, from the same coil.
    Recut {
        /// All that changes.
        change: FloorChange,
        /// Step in which the piece is cut again.
        recut_step_number: u32,
    },
    /// The coil is off its reel or has too little left. All that is pending, and this piece, must be planned anew, on the
    /// floor as it is after the loss; [`spoil_with_replan`] then makes one change of both.
    NeedsReplan(Box<NeedsReplan>),
    /// The list has ended. The piece is told in its shortages and is free to be planned on another list.
    Owed {
        /// All that changes.
        change: FloorChange,
    },
}

/// What is needed to plan anew after a loss.
#[derive(Debug, Clone, PartialEq)]
pub struct NeedsReplan {
    /// The loss alone; not to be stored by itself, since the piece would be forgotten.
    pub change: FloorChange,
    /// The list as the loss leaves it.
    pub list: CutList,
    /// The coils that were given, as the loss leaves them.
    pub coils: Vec<FloorCoil>,
    /// The piece to cut again.
    pub piece: Step,
}

/// Reports that the piece of a step is lost: of a cut that is done, or of the next pending one.
///
/// The wire of a done cut moves from cut to scrapped. The wire that was lost in a pending one, `lost_length` or else the
/// length of the piece, is booked as scrap, and the step counts as executed. In both cases the step is spoiled and the
/// piece is needed again. A string can break after its list is finished; the loss is booked then, too. `coils` are all coils of the list's pending steps and of the step itself.
///
/// # Errors
/// [`FloorError`]: the list is neither running nor finished, there is no such step or no piece in it to lose, `lost_length` is given for a
/// done step, or is more than is left on the coil by the books and the length of the piece together. The books may be a piece
/// off, as they may for a piece that is cut; if they are farther off, the coil is weighed first.
#[expect(
    clippy::too_many_arguments,
    reason = "the report and the floor that it falls on; each is one plain value"
)]
pub fn spoil(
    list: &CutList,
    coils: &[FloorCoil],
    station: &Station,
    step_number: u32,
    cause: SpoilCause,
    lost_length: Option<Um>,
    now_us: i64,
    actor: &str,
) -> Result<Spoilage, FloorError> {
    require_state(list, &[CutListState::Running, CutListState::Finished])?;
    let mut work = Work::on(list, coils, station);
    let step = list.steps.iter().find(|step| step.step_number == step_number);
    let step = step.ok_or(FloorError::StepMissing { step_number })?;
    let Some(piece) = step.piece.as_ref().filter(|_| step.kind == StepKind::Cut) else {
        return Err(FloorError::NotSpoilable { step_number });
    };
    let mut spoiled = step.clone();
    let is_next = list.next().is_some_and(|next| next.step_number == step_number);
    match step.state {
        StepState::Done if lost_length.is_some() => {
            return Err(lost_length_fault(lost_length, "absent for a piece that is already cut"));
        }
        StepState::Done => work.book(&step.coil_id, BookingKind::CutToScrap, step.length)?,
        StepState::Pending if is_next => {
            lose_pending(&mut work, &mut spoiled, lost_length)?;
            spoiled.done_us = Some(now_us);
            actor.clone_into(&mut spoiled.done_by);
        }
        StepState::Pending | StepState::Spoiled => return Err(FloorError::NotSpoilable { step_number }),
    }
    spoiled.state = StepState::Spoiled;
    spoiled.spoil_cause = Some(cause);
    let recut = recut_of(step, piece);
    work.change.changed_steps.push(spoiled);
    if list.header.state == CutListState::Finished {
        work.change.shortages = Some(with_lacking(&list.shortages, &[recut]));
        return Ok(Spoilage::Owed { change: work.finished(list).0 });
    }
    decide_recut(work, list, recut)
}

/// Makes one change of a loss and the new plan of what is pending with the lost piece, as
/// [`pending_needs`](crate::pending_needs) of [`NeedsReplan::list`] and [`NeedsReplan::piece`] states it. What was short before
/// stays so. Returns the step in which the piece is cut again as well; `None` if the stock has no wire for it.
///
/// # Errors
/// [`FloorError::PlanForeign`] if a planned step is not pending.
pub fn spoil_with_replan(
    before: &CutList,
    loss: NeedsReplan,
    mut planned: PlannedSteps,
) -> Result<(FloorChange, Option<u32>), FloorError> {
    let NeedsReplan { mut change, list: _, coils: _, piece } = loss;
    planned.shortages = sum_shortages(rows(&before.shortages).chain(rows(&planned.shortages)));
    set_plan(&mut change, before, planned)?;
    let names = |step: &&Step| match (&step.piece, &piece.piece) {
        (Some(a), Some(b)) => a.serial_id == b.serial_id && a.piece_id == b.piece_id,
        _ => false,
    };
    let recut = change.replace_pending.iter().flatten().find(names).map(|step| step.step_number);
    Ok((change, recut))
}

fn lose_pending(work: &mut Work, step: &mut Step, lost_length: Option<Um>) -> Result<(), FloorError> {
    let lost = lost_length.unwrap_or(step.length);
    work.require_mounted(step)?;
    work.require_usable(&step.coil_id)?;
    let left = work.coil(&step.coil_id)?.coil.remaining;
    let most = left.checked_add(step.length).unwrap_or(Um::new(i64::MAX));
    if lost < Um::ZERO || lost > most {
        let (most, left) = (most.as_mm(), left.as_mm());
        let allowed = format!(
            "0 to {most} mm: a piece and the {left} mm that are left on coil {} by the books; if there was more, weigh it first",
            step.coil_id
        );
        return Err(lost_length_fault(lost_length, &allowed));
    }
    step.length = lost;
    step.remaining_after = work.take(&step.coil_id, BookingKind::Scrap, lost)?;
    Ok(())
}

fn lost_length_fault(lost_length: Option<Um>, allowed: &str) -> FloorError {
    let value = lost_length.map(|length| length.as_mm().to_string()).unwrap_or_default();
    FloorError::Invalid(vec![Fault::new("lost_length_mm", value, allowed)])
}

fn recut_of(step: &Step, piece: &StepPiece) -> Step {
    Step {
        state: StepState::Pending,
        piece: Some(StepPiece { recut: true, ..piece.clone() }),
        length: piece.length,
        spoil_cause: None,
        done_us: None,
        done_by: String::new(),
        ..step.clone()
    }
}

/// The piece is cut again at once if its coil is still on its reel and has enough that nobody counts on.
fn decide_recut(mut work: Work, list: &CutList, mut recut: Step) -> Result<Spoilage, FloorError> {
    let coil_id = recut.coil_id.clone();
    let mut pending: Vec<Step> = work.change.applied_to(list).pending().to_vec();
    let others = work.rely_on_others(&coil_id)?;
    let coil = work.coil(&coil_id)?.coil.clone();
    let policy = &list.header.policy;
    let mut needed = vec![recut.length, others, policy.coil_margin, policy.own_margin(&coil.estimate)];
    needed.extend(pending.iter().filter(|step| step.coil_id == coil_id).map(Step::reserves));
    let enough = Um::checked_sum(needed).is_some_and(|needed| needed <= coil.remaining);
    let position = work.station.position_of(&coil_id);
    match position {
        Some(position) if enough && coil.state.is_usable() => {
            recut.reel_position = position;
            pending.insert(0, recut);
            let number = u32::try_from(work.change.applied_to(list).done().len())
                .unwrap_or(u32::MAX)
                .saturating_add(1);
            renumber(&mut pending, number);
            work.rebase(&mut pending)?;
            work.change.replace_pending = Some(pending);
            let (change, _) = work.finished(list);
            Ok(Spoilage::Recut { change, recut_step_number: number })
        }
        _ => {
            let (change, coils) = work.finished(list);
            let after = change.applied_to(list);
            Ok(Spoilage::NeedsReplan(Box::new(NeedsReplan { change, list: after, coils, piece: recut })))
        }
    }
}
