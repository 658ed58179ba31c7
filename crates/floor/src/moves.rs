//! What a new plan changes of the former one.

use std::collections::{BTreeMap, BTreeSet};

use crate::ids::{CoilId, PieceId, SerialId};
use crate::step::{Step, StepKind};

/// What a new plan changes of the steps that were pending.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct PlanMoves {
    /// Steps that are pending before and after, unchanged in coil and piece.
    pub kept: u32,
    /// Cut steps that are new or on another coil.
    pub moved: u32,
    /// Those of the moved ones that had to move, since nothing can be cut from their coil any more.
    pub forced: u32,
    /// Pieces that were to be cut and are on no step any more: the stock has no wire for them.
    pub uncut: u32,
}

/// What makes two steps the same: kind, coil and piece.
type Likeness<'a> = (StepKind, &'a CoilId, Option<(&'a SerialId, &'a PieceId)>);

fn likeness(step: &Step) -> Likeness<'_> {
    let piece = step.piece.as_ref().map(|piece| (&piece.serial_id, &piece.piece_id));
    (step.kind, &step.coil_id, piece)
}

impl PlanMoves {
    /// Compares pending steps before and after a new plan. `gone` are coils from which nothing can be cut any more.
    #[must_use]
    pub fn between(before: &[Step], after: &[Step], gone: &BTreeSet<CoilId>) -> Self {
        let mut left: BTreeMap<Likeness<'_>, u32> = BTreeMap::new();
        let mut homes: BTreeMap<(&SerialId, &PieceId), &CoilId> = BTreeMap::new();
        for step in before {
            let likeness = likeness(step);
            *left.entry(likeness).or_default() += 1;
            homes.extend(likeness.2.map(|piece| (piece, &step.coil_id)));
        }
        let mut moves = Self::default();
        for step in after {
            let likeness = likeness(step);
            let home = likeness.2.and_then(|piece| homes.remove(&piece));
            match left.get_mut(&likeness).filter(|count| **count > 0) {
                Some(count) => {
                    *count -= 1;
                    moves.kept += 1;
                }
                None if step.kind == StepKind::Cut => {
                    moves.moved += 1;
                    moves.forced += u32::from(home.is_some_and(|home| gone.contains(home)));
                }
                None => {}
            }
        }
        // A piece that is on no step after has left its home among the rest.
        moves.uncut = u32::try_from(homes.len()).unwrap_or(u32::MAX);
        moves
    }
}
