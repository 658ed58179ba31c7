//! A coil that comes to its end before the books say so.

use becket_units::{Fault, Um};

use crate::change::FloorChange;
use crate::coil::{BookingKind, CoilState};
use crate::cut_list::{CutList, CutListState};
use crate::error::FloorError;
use crate::evidence::{EvidenceKind, EvidenceState, Finding};
use crate::lifecycle::{rows, set_plan, sum_shortages};
use crate::plan_frame::PlannedSteps;
use crate::station::{FloorCoil, Station};
use crate::step::{Step, StepKind, StepState, TailUse};
use crate::work::{Work, require_state};

/// Standard deviation in mm of a rest that the stringer has measured. Common practice, no source.
const MEASURED_SD_MM: f64 = 1.0;

/// What follows from a coil that ran out. All that is pending must be planned anew, on the floor as it is then;
/// [`run_out_with_replan`] makes one change of both.
#[derive(Debug, Clone, PartialEq)]
pub struct RunOut {
    /// The run-out alone; not to be stored by itself, since pending steps may still name the coil.
    pub change: FloorChange,
    /// The list as it was, with its pending steps.
    pub list: CutList,
    /// The coils that were given, as the run-out leaves them.
    pub coils: Vec<FloorCoil>,
    /// The station with the coil off its reel.
    pub station: Station,
    /// What was found, and how far it lies from what was believed. It is booked however far that is.
    pub finding: Finding,
}

/// Reports that a coil ran out at the next step: less is left on it than the piece needs.
///
/// `remaining` is what is left, if the stringer has measured it and it may be of use. If it is absent the rest is scrap; it lies
/// anywhere between nothing and the piece, so half the piece is booked, with the standard deviation of a rectangular
/// distribution, l/√12.
///
/// What the stringer sees is taken at once, however far from the books it lies, since wire that is not there cannot be cut: the
/// books are corrected by the difference. The rest is scrapped, unless it was measured and is no shorter than the smallest remnant, or others
/// count on the coil. The coil is taken off its reel, which the list tells as a step of its own. `coils` are all coils
/// of the list's pending steps.
///
/// # Errors
/// [`FloorError`]: the list is not running, the step is not the next one or no cut, the coil is not on its reel or cannot be cut
/// from, or `remaining` is negative or enough for the piece.
pub fn run_out(
    list: &CutList,
    coils: &[FloorCoil],
    station: &Station,
    step_number: u32,
    remaining: Option<Um>,
    now_us: i64,
    actor: &str,
) -> Result<RunOut, FloorError> {
    require_state(list, &[CutListState::Running])?;
    let next = list.next().filter(|next| next.step_number == step_number && next.kind == StepKind::Cut);
    let step = next.ok_or(FloorError::NoRunOut { step_number })?;
    let mut work = Work::on(list, coils, station);
    work.require_mounted(step)?;
    work.require_usable(&step.coil_id)?;
    let finding = found(&mut work, step, remaining)?;
    let mut off = taken_off(step, now_us, actor);
    work.take_off(&step.coil_id, step.reel_position)?;
    if is_scrap(&mut work, step, remaining)? {
        off.tail_use = Some(TailUse::Scrap);
        off.length = finding.length;
        work.book(&step.coil_id, BookingKind::Scrap, finding.length)?;
    }
    off.remaining_after = work.coil(&step.coil_id)?.coil.remaining;
    if off.remaining_after == Um::ZERO {
        work.set_state(&step.coil_id, CoilState::UsedUp)?;
    }
    work.change.added_steps.push(off);
    work.change.replace_pending = Some(Vec::new());
    let station = work.station.clone();
    let (change, coils) = work.finished(list);
    Ok(RunOut { change, list: list.clone(), coils, station, finding })
}

/// Makes one change of a run-out and the new plan of what is pending, as [`pending_needs`](crate::pending_needs) of
/// [`RunOut::list`] states it. What was short before stays so.
///
/// # Errors
/// [`FloorError::PlanForeign`] if a planned step is not pending.
pub fn run_out_with_replan(run_out: RunOut, mut planned: PlannedSteps) -> Result<FloorChange, FloorError> {
    let RunOut { mut change, list, .. } = run_out;
    planned.shortages = sum_shortages(rows(&list.shortages).chain(rows(&planned.shortages)));
    set_plan(&mut change, &list, planned)?;
    Ok(change)
}

/// Corrects the books by what is left in truth.
fn found(work: &mut Work, step: &Step, remaining: Option<Um>) -> Result<Finding, FloorError> {
    if let Some(left) = remaining
        && !(Um::ZERO..step.length).contains(&left)
    {
        let allowed = format!(
            "0 to less than {} mm, the length of the piece; with more than that the piece can be cut",
            step.length.as_mm()
        );
        return Err(FloorError::Invalid(vec![Fault::new("remaining_length_mm", left.as_mm(), allowed)]));
    }
    let half = Um::new(step.length.get() / 2);
    let sd_mm = if remaining.is_some() { MEASURED_SD_MM } else { step.length.as_mm() / 12.0_f64.sqrt() };
    let length = remaining.unwrap_or(half);
    let coil = &work.coil(&step.coil_id)?.coil;
    let combined = coil.estimate.with_length(coil.remaining, length, sd_mm);
    let mut estimate = combined.estimate;
    // The end of the wire was seen: how far off the books were does not make it any less certain, or more.
    estimate.variance_mm2 = sd_mm * sd_mm;
    let finding = Finding {
        kind: EvidenceKind::RunOut,
        state: EvidenceState::Merged,
        length,
        sd_mm,
        deviation_sds: combined.deviation_sds,
        estimate,
    };
    let booking = coil.settle(length, finding)?;
    work.book_finding(booking)?;
    Ok(finding)
}

fn is_scrap(work: &mut Work, step: &Step, remaining: Option<Um>) -> Result<bool, FloorError> {
    let Some(left) = remaining else { return Ok(true) };
    let others = work.rely_on_others(&step.coil_id)?;
    Ok(left > Um::ZERO && others == Um::ZERO && left < work.coil(&step.coil_id)?.smallest_remnant)
}

/// The step that was not planned.
fn taken_off(step: &Step, now_us: i64, actor: &str) -> Step {
    Step {
        kind: StepKind::Unmount,
        state: StepState::Done,
        piece: None,
        length: Um::ZERO,
        tail_use: Some(TailUse::Keep),
        opens_coil: false,
        spoil_cause: None,
        done_us: Some(now_us),
        done_by: actor.to_owned(),
        ..step.clone()
    }
}
