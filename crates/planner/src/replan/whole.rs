//! Planning anew: some wires, or everything.

use std::collections::BTreeMap;

use crate::best::BestPlanner;
use crate::first::{FirstPlanner, Forecast, Ledger, Sequencer};
use crate::model::{
    CoilIndex, GroupIndex, Piece, PieceIndex, Problem, SerialIndex, Station, Unison, WireIndex,
};
use crate::plan::{Plan, PlanError, Planner, Step};

use super::sequence::{Entry, open_flags};
use super::shelf::former_coils;
use super::{Disturbed, Kin};

/// Coils of the pieces of some wires by a new plan of these, as much as can be as they were: which of several equal blocks
/// comes from which coil makes no difference to a plan. Pieces of other wires keep the coil that `coil_of` says.
pub(super) fn assign_anew(
    floor: &Disturbed<'_>,
    best: &BestPlanner,
    wires: &[bool],
    coil_of: &[Option<CoilIndex>],
    stop: &(dyn Fn() -> bool + Sync),
) -> Result<Vec<Option<CoilIndex>>, PlanError> {
    let problem = floor.problem;
    let taken: Vec<PieceIndex> =
        problem.indexed_pieces().filter(|(_, piece)| wires[piece.wire.index()]).map(|(p, _)| p).collect();
    let mut part = problem.clone();
    part.pieces = taken.iter().map(|p| problem.pieces[p.index()]).collect();
    // One batch: whether the trays suffice is seen when the steps are put in order.
    part.station = Station { trays: problem.serials.max(1), ..problem.station };
    let plan = best.plan_until(&part, stop)?.plan;
    let mut found: Vec<Option<CoilIndex>> = coil_of.to_vec();
    for piece in &taken {
        found[piece.index()] = None;
    }
    for step in &plan.steps {
        if let Step::Cut { coil, piece, .. } = step {
            found[taken[piece.index()].index()] = Some(*coil);
        }
    }
    stay_put(floor, &taken, &mut found);
    Ok(found)
}

/// Blocks that can stand for each other: the same wire and lengths, and cut or not alike.
type Likeness = (WireIndex, Vec<i64>);

/// Swaps the coils of equal blocks so that as many as can be stay on the coil of their note, or where they were.
fn stay_put(floor: &Disturbed<'_>, pieces: &[PieceIndex], coil_of: &mut [Option<CoilIndex>]) {
    let problem = floor.problem;
    let former = former_coils(floor);
    let mut blocks: BTreeMap<(GroupIndex, Option<CoilIndex>), Vec<PieceIndex>> = BTreeMap::new();
    for (n, piece) in (0u32..).zip(pieces) {
        let Some(coil) = coil_of[piece.index()] else { continue };
        let group = match problem.policy.unison {
            Unison::Off => GroupIndex(n),
            Unison::Hard | Unison::Preferred => problem.pieces[piece.index()].group,
        };
        blocks.entry((group, Some(coil))).or_default().push(*piece);
    }
    let mut classes: BTreeMap<Likeness, Vec<(Vec<PieceIndex>, CoilIndex)>> = BTreeMap::new();
    for ((_, coil), mut pieces) in blocks {
        let Some(coil) = coil else { continue };
        let entry = |p: &PieceIndex| &problem.pieces[p.index()];
        pieces.sort_by_key(|p| (entry(p).length, *p));
        let wire = pieces.first().map(|p| entry(p).wire).unwrap_or(WireIndex(0));
        let lengths = pieces.iter().map(|p| entry(p).length.get()).collect();
        classes.entry((wire, lengths)).or_default().push((pieces, coil));
    }
    for blocks in classes.into_values().filter(|blocks| blocks.len() > 1) {
        let mut slots: BTreeMap<CoilIndex, usize> = BTreeMap::new();
        for (_, coil) in &blocks {
            *slots.entry(*coil).or_default() += 1;
        }
        let wish = |pieces: &[PieceIndex]| {
            let first = pieces.first().map_or(0, |p| p.index());
            let kin = floor.kin.get(first).copied().flatten().and_then(|Kin { coil, .. }| coil);
            (kin, former[first])
        };
        let mut waiting = Vec::new();
        let mut take = |coil: Option<CoilIndex>| {
            let coil = coil.filter(|coil| slots.get(coil).is_some_and(|n| *n > 0))?;
            *slots.entry(coil).or_default() -= 1;
            Some(coil)
        };
        let mut settle = |pieces: &[PieceIndex], coil: CoilIndex| {
            for piece in pieces {
                coil_of[piece.index()] = Some(coil);
            }
        };
        // First who has kin, then who was somewhere, then the others.
        for (pieces, _) in blocks {
            match take(wish(&pieces).0) {
                Some(coil) => settle(&pieces, coil),
                None => waiting.push(pieces),
            }
        }
        let (mut rest, all) = (Vec::new(), waiting);
        for pieces in all {
            match take(wish(&pieces).1) {
                Some(coil) => settle(&pieces, coil),
                None => rest.push(pieces),
            }
        }
        let left: Vec<CoilIndex> =
            slots.iter().flat_map(|(coil, n)| std::iter::repeat_n(*coil, *n)).collect();
        for (pieces, coil) in rest.iter().zip(left) {
            settle(pieces, coil);
        }
    }
}

/// Steps for an assignment in a new order: as many serials at a time as there are trays, those that are open first.
///
/// # Errors
/// A piece and its coil if that does not bear so many mountings.
pub(super) fn in_batches(
    floor: &Disturbed<'_>,
    coil_of: &[Option<CoilIndex>],
) -> Result<Plan, Option<(CoilIndex, Vec<PieceIndex>)>> {
    let problem = floor.problem;
    let mut ledger = Ledger::new(problem);
    let mut sequencer = Sequencer::new(problem, Forecast::new(problem));
    let order = open_first(floor);
    let mut placed: Vec<Vec<(CoilIndex, PieceIndex)>> = vec![Vec::new(); order.len()];
    let mut uncut = Vec::new();
    for ((p, piece), coil) in problem.indexed_pieces().zip(coil_of) {
        match coil {
            Some(coil) => placed[piece.serial.index()].push((*coil, p)),
            None => uncut.push(p),
        }
    }
    let waiting: Vec<SerialIndex> = order.into_iter().filter(|s| !placed[s.index()].is_empty()).collect();
    for serials in waiting.chunks(problem.serials_at_a_time() as usize) {
        let batch: Vec<_> = serials.iter().flat_map(|s| placed[s.index()].iter().copied()).collect();
        for (coil, piece) in &batch {
            let length = problem.pieces[piece.index()].length.get();
            ledger.tail_after(*coil, length).ok_or_else(|| Some((*coil, vec![*piece])))?;
            ledger.take(*coil, length);
        }
        let last = serials.iter().copied().max().unwrap_or(SerialIndex(0));
        sequencer.cut_batch(&mut ledger, &batch, last);
        ledger.end_batch();
    }
    Ok(sequencer.finish(&mut ledger, uncut))
}

/// A plan of everything, by the best planner or by the first, that takes serials which are open at the start before the others.
pub(super) fn plan_all(
    floor: &Disturbed<'_>,
    best: Option<&BestPlanner>,
    stop: &(dyn Fn() -> bool + Sync),
) -> Result<Plan, PlanError> {
    let order = open_first(floor);
    let mut rank = vec![SerialIndex(0); order.len()];
    for (new, old) in (0u32..).map(SerialIndex).zip(&order) {
        rank[old.index()] = new;
    }
    let mut turned: Problem = floor.problem.clone();
    for piece in &mut turned.pieces {
        *piece = Piece { serial: rank[piece.serial.index()], ..*piece };
    }
    match best {
        Some(best) => Ok(best.plan_until(&turned, stop)?.plan),
        None => FirstPlanner.plan(&turned),
    }
}

/// Steps of a plan without their figures.
pub(super) fn entries_of(plan: &Plan) -> Vec<Entry> {
    let entry = |step: &Step| match *step {
        Step::Mount { coil, position, .. } => Entry::Mount(coil, position),
        Step::Cut { coil, piece, .. } => Entry::Cut(coil, piece),
        Step::Unmount { coil, position, .. } => Entry::Unmount(coil, position),
    };
    plan.steps.iter().map(entry).collect()
}

/// Serials in the order in which they get trays: those that hold one, then the others, each in due order.
fn open_first(floor: &Disturbed<'_>) -> Vec<SerialIndex> {
    let open = open_flags(floor);
    let mut order: Vec<SerialIndex> = (0..floor.problem.serials).map(SerialIndex).collect();
    order.sort_by_key(|serial| (!open[serial.index()], *serial));
    order
}
