//! What a new plan keeps of the former one.

use crate::model::CoilIndex;
use crate::plan::{Plan, Step};

use super::Disturbed;
use super::shelf::{former_coils, rooms};

/// What became of the cuts of the former plan.
///
/// `kept`, `moved` and `forced` together are all cuts of the former plan that are still wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Moves {
    /// Pieces that are cut from the same coil as before.
    pub kept: u64,
    /// Pieces that are cut from another coil, or no longer cut, and need not have been.
    pub moved: u64,
    /// Pieces that had to leave their coil: the fewest that must go for the others to fit.
    pub forced: u64,
    /// Pieces that the former plan did not cut: lost, added, or short before.
    pub added: u64,
    /// Of the kept cuts, the fewest that must be put elsewhere in the former order to get the new one.
    pub reordered: u64,
}

impl Moves {
    /// Compares a plan with the former one.
    #[must_use]
    pub fn between(floor: &Disturbed<'_>, plan: &Plan) -> Self {
        let former = former_coils(floor);
        let mut place = vec![0usize; former.len()];
        for (i, step) in floor.former.iter().enumerate() {
            if let Step::Cut { piece, .. } = step
                && let Some(slot) = place.get_mut(piece.index())
            {
                *slot = i;
            }
        }
        let mut moves = Self::default();
        let mut kept = Vec::new();
        for step in &plan.steps {
            let Step::Cut { coil, piece, .. } = step else { continue };
            match former[piece.index()] {
                Some(before) if before == *coil => kept.push(place[piece.index()]),
                Some(_) => {}
                None => moves.added += 1,
            }
        }
        let wanted = former.iter().flatten().fold(0u64, |n, _| n + 1);
        moves.kept = as_count(kept.len());
        moves.forced = forced(floor, &former).min(wanted - moves.kept.min(wanted));
        moves.moved = wanted - moves.kept - moves.forced;
        moves.reordered = as_count(kept.len() - longest_rising(&kept));
        moves
    }
}

/// Fewest pieces that must leave their coils: the longest ones, until the others fit.
fn forced(floor: &Disturbed<'_>, former: &[Option<CoilIndex>]) -> u64 {
    let (rooms, _) = rooms(floor);
    let mut loads: Vec<Vec<i64>> = vec![Vec::new(); rooms.len()];
    for (piece, coil) in floor.problem.pieces.iter().zip(former) {
        if let Some(coil) = coil {
            loads[coil.index()].push(piece.length.get());
        }
    }
    let mut forced = 0;
    for (room, mut lengths) in rooms.into_iter().zip(loads) {
        lengths.sort_unstable();
        let mut load: i64 = lengths.iter().sum();
        while load > room.max(0) {
            let Some(longest) = lengths.pop() else { break };
            load -= longest;
            forced += 1;
        }
    }
    forced
}

/// Length of the longest rising subsequence of different numbers.
fn longest_rising(numbers: &[usize]) -> usize {
    let mut ends: Vec<usize> = Vec::new();
    for number in numbers {
        let place = ends.partition_point(|end| end < number);
        match ends.get_mut(place) {
            Some(end) => *end = *number,
            None => ends.push(*number),
        }
    }
    ends.len()
}

fn as_count(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(u64::MAX)
}
