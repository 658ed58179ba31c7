//! The steps of a plan in the caller's names.

use becket_planner::{Plan, Step, Tail};

use super::PlanQuestion;
use crate::convert::count;
use crate::convert::enums::Known as _;
use crate::cutting::PlanStep;

/// All steps; cuts of one batch that follow each other on one coil become one.
pub(super) fn steps(question: &PlanQuestion, plan: &Plan) -> Vec<PlanStep> {
    let names = &question.names;
    let mut positions: Vec<u32> =
        question.problem.coils.iter().map(|coil| coil.mounted_at.unwrap_or_default()).collect();
    let mut shown: Vec<PlanStep> = Vec::new();
    let mut last = None;
    for step in &plan.steps {
        let (Step::Mount { coil, .. } | Step::Cut { coil, .. } | Step::Unmount { coil, .. }) = *step;
        if let (Step::Mount { position, .. }, Some(slot)) = (step, positions.get_mut(coil.index())) {
            *slot = *position;
        }
        let batch = match *step {
            Step::Cut { piece, .. } => names.batch_of(piece).map(|(number, batch)| (coil, number, batch)),
            Step::Mount { .. } | Step::Unmount { .. } => None,
        };
        let like = batch.map(|(coil, number, _)| (coil, number));
        if let (true, Step::Cut { remaining_after, .. }, Some(before)) =
            (like.is_some() && like == last, step, shown.last_mut())
        {
            before.count += 1;
            before.remaining_after_um = remaining_after.get();
            continue;
        }
        last = like;
        let mut next = PlanStep {
            coil_id: names.coil(coil),
            reel_position: count(positions.get(coil.index()).copied().unwrap_or_default().saturating_add(1)),
            ..PlanStep::default()
        };
        match *step {
            Step::Mount { remaining_after, .. } => {
                next.kind = becket_floor::StepKind::Mount.number();
                next.length_um = question.problem.policy.end_trim.get();
                next.remaining_after_um = remaining_after.get();
            }
            Step::Cut { piece, remaining_after, .. } => {
                next.kind = becket_floor::StepKind::Cut.number();
                next.count = 1;
                next.length_um = question.problem.pieces.get(piece.index()).map_or(0, |p| p.length.get());
                next.remaining_after_um = remaining_after.get();
                if let Some((_, _, batch)) = batch {
                    next.serial_id = names.serial(batch.serial);
                    next.piece_id = super::text(batch.piece_id.as_ref());
                }
            }
            Step::Unmount { tail, .. } => {
                let (tail_use, scrapped, kept) = match tail {
                    Tail::Empty => (becket_floor::TailUse::Scrap, 0, 0),
                    Tail::Scrap(length) => (becket_floor::TailUse::Scrap, length.get(), 0),
                    Tail::Remnant(length) => (becket_floor::TailUse::Keep, 0, length.get()),
                };
                next.kind = becket_floor::StepKind::Unmount.number();
                next.tail_use = tail_use.number();
                next.length_um = scrapped;
                next.remaining_after_um = kept;
            }
        }
        shown.push(next);
    }
    shown
}
