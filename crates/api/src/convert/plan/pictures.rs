//! How each coil is divided.

use becket_planner::{CoilIndex, Plan, Step, Tail};

use super::PlanQuestion;
use crate::convert::count;
use crate::cutting::{CoilPicture, CoilSegment, SegmentKind};

/// What is known of a coil on the way through the steps.
#[derive(Default, Clone)]
struct Division {
    segments: Vec<CoilSegment>,
    /// Batch of the last piece, if nothing came after it.
    last: Option<usize>,
    /// What a tail is that goes back, as long as nothing is cut from it.
    kept: i64,
}

/// Every coil that the plan handles, in the order of the request.
pub(super) fn pictures(question: &PlanQuestion, plan: &Plan) -> Vec<CoilPicture> {
    let mut divisions: Vec<Option<Division>> = vec![None; question.problem.coils.len()];
    for step in &plan.steps {
        let (Step::Mount { coil, .. } | Step::Cut { coil, .. } | Step::Unmount { coil, .. }) = *step;
        if let Some(slot) = divisions.get_mut(coil.index()) {
            divide(question, slot.get_or_insert_default(), step);
        }
    }
    (0u32..)
        .map(CoilIndex)
        .zip(divisions)
        .filter_map(|(coil, division)| Some(picture(question, coil, division?)))
        .collect()
}

fn divide(question: &PlanQuestion, division: &mut Division, step: &Step) {
    match *step {
        Step::Mount { .. } => {
            division.kept = 0;
            push(division, SegmentKind::Trim, question.problem.policy.end_trim.get());
        }
        Step::Cut { piece, .. } => {
            division.kept = 0;
            let Some((number, batch)) = question.names.batch_of(piece) else { return };
            if let (true, Some(segment)) = (division.last == Some(number), division.segments.last_mut()) {
                segment.count += 1;
                return;
            }
            division.last = Some(number);
            division.segments.push(CoilSegment {
                kind: SegmentKind::Cut.into(),
                length_um: question.problem.pieces.get(piece.index()).map_or(0, |p| p.length.get()),
                count: 1,
                serial_id: question.names.serial(batch.serial),
                piece_id: super::text(batch.piece_id.as_ref()),
            });
        }
        Step::Unmount { tail, .. } => match tail {
            Tail::Empty => {}
            Tail::Scrap(length) => push(division, SegmentKind::Scrap, length.get()),
            Tail::Remnant(length) => division.kept = length.get(),
        },
    }
}

/// A stretch that is no piece; one of no length is not shown.
fn push(division: &mut Division, kind: SegmentKind, length_um: i64) {
    division.last = None;
    if length_um > 0 {
        division.segments.push(CoilSegment {
            kind: kind.into(),
            length_um,
            count: count(1),
            ..CoilSegment::default()
        });
    }
}

fn picture(question: &PlanQuestion, coil: CoilIndex, mut division: Division) -> CoilPicture {
    let kept = division.kept;
    push(&mut division, SegmentKind::Remnant, kept);
    let stated = question.problem.coils.get(coil.index());
    let name = question.names.coils.get(coil.index());
    let wire = stated.and_then(|coil| question.names.wires.get(coil.wire.index()));
    CoilPicture {
        coil_id: question.names.coil(coil),
        wire_id: super::text(wire.and_then(Option::as_ref)),
        lot_id: super::text(name.and_then(|name| name.lot_id.as_ref())),
        length_um: stated.map_or(0, |coil| coil.available.get()),
        segments: division.segments,
    }
}
