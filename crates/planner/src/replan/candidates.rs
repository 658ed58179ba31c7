//! The candidates for a new plan.

use crate::best::{BestPlanner, Effort};
use crate::model::{CoilIndex, PieceIndex, Problem};
use crate::objective::Quality;
use crate::plan::{Plan, PlanError};

use super::choose::{Candidate, choose, torn};
use super::sequence::Sequence;
use super::shelf::Shelf;
use super::whole::{assign_anew, entries_of, in_batches, plan_all};
use super::write::write;
use super::{Disturbed, Method, Replanned, Replanner};

/// Times that pieces which fit in nowhere get other coils.
const MOST_BARS: usize = 8;

/// Makes candidates till one is good enough, and chooses.
pub(super) fn best_of(
    replanner: &Replanner,
    floor: &Disturbed<'_>,
    stop: &(dyn Fn() -> bool + Sync),
) -> Result<Replanned, PlanError> {
    let problem = floor.problem;
    // The stringer waits: constructions only, no search.
    let quick = BestPlanner { effort: Effort { rounds_per_coil: 0 }, ..replanner.best };
    let order = &replanner.best.order;
    let candidate = |plan: Plan, method| Candidate::new(floor, order, plan, method);
    let mut candidates = Vec::new();

    let mut shelf = Shelf::of_former(floor, &replanner.policy);
    let bearable = torn_before(floor, &shelf);
    shelf.repair();
    let mut other = shelf.clone();
    let kept = till_it_fits(&mut shelf, |coil_of| {
        let sequence = Sequence::keep_order(floor, coil_of)?;
        write(floor, &sequence.entries).ok_or(None)
    });
    let coil_of = shelf.coil_of_pieces();
    // A rush job or a lost coil can cost mountings that another order saves.
    let mounts_more = kept.as_ref().is_none_or(|plan| plan.figures.reel_changes > planned_mountings(floor));
    candidates.extend(kept.map(|plan| candidate(plan, Method::Repair)));
    if mounts_more {
        let plan = till_it_fits(&mut other, |coil_of| in_batches(floor, coil_of));
        candidates.extend(plan.map(|plan| candidate(plan, Method::RepairReordered)));
    }

    let mut faulty = faulty_wires(problem, &shelf, &coil_of);
    if let Some(best) = candidates.first() {
        let torn = torn(floor, &best.replanned.plan.steps);
        for (faulty, (now, before)) in faulty.iter_mut().zip(torn.iter().zip(&bearable)) {
            *faulty |= now.0 > *before;
        }
    } else {
        faulty.fill(true);
    }
    if faulty.contains(&true) && !stop() {
        let anew = assign_anew(floor, &quick, &faulty, &coil_of, stop)?;
        let kept =
            Sequence::keep_order(floor, &anew).ok().and_then(|sequence| write(floor, &sequence.entries));
        candidates.extend(kept.map(|plan| candidate(plan, Method::Anew)));
        candidates.extend(in_batches(floor, &anew).ok().map(|plan| candidate(plan, Method::AnewReordered)));
    }
    let lacks = candidates.iter().all(|c| c.uncut.iter().any(|uncut| *uncut > 0));
    if lacks && !stop() {
        let plan = plan_all(floor, Some(&quick), stop)?;
        candidates.extend(write(floor, &entries_of(&plan)).map(|plan| candidate(plan, Method::Whole)));
    }
    if candidates.is_empty() {
        let plan = plan_all(floor, None, stop)?;
        candidates.push(candidate(plan, Method::Whole));
    }
    Ok(choose(&replanner.policy, candidates).unwrap_or_else(|| Replanned {
        plan: Plan::default(),
        quality: Quality::default(),
        moves: super::Moves::default(),
        method: Method::Whole,
    }))
}

/// Makes a plan of an assignment, giving pieces that fit in nowhere other coils.
fn till_it_fits(
    shelf: &mut Shelf<'_>,
    make: impl Fn(&[Option<CoilIndex>]) -> Result<Plan, Option<(CoilIndex, Vec<PieceIndex>)>>,
) -> Option<Plan> {
    for _ in 0..MOST_BARS {
        match make(&shelf.coil_of_pieces()) {
            Ok(plan) => return Some(plan),
            Err(Some((coil, pieces))) => shelf.bar(coil, &pieces),
            Err(None) => return None,
        }
    }
    None
}

/// For each wire, notes that are torn in the former plan, and those that are bound to be since their coil is gone.
fn torn_before(floor: &Disturbed<'_>, shelf: &Shelf<'_>) -> Vec<u64> {
    let mut before: Vec<u64> = torn(floor, floor.former).into_iter().map(|(coils, _)| coils).collect();
    for block in &shelf.blocks {
        let gone = block.from.is_none() && block.kin.is_some_and(|kin| kin.coil.is_none());
        if let Some(piece) = block.pieces.first().filter(|_| gone) {
            before[floor.problem.pieces[piece.index()].wire.index()] += 1;
        }
    }
    before
}

/// Wires on which the repair left a piece uncut or a tail that is scrap.
fn faulty_wires(problem: &Problem, shelf: &Shelf<'_>, coil_of: &[Option<CoilIndex>]) -> Vec<bool> {
    let mut faulty = vec![false; problem.wires.len()];
    for (piece, coil) in problem.pieces.iter().zip(coil_of) {
        faulty[piece.wire.index()] |= coil.is_none();
    }
    for (c, coil) in problem.indexed_coils() {
        faulty[coil.wire.index()] |= shelf.is_faulty(c);
    }
    faulty
}

/// Mountings of the former plan.
fn planned_mountings(floor: &Disturbed<'_>) -> u64 {
    floor.former.iter().filter(|step| matches!(step, crate::plan::Step::Mount { .. })).fold(0, |n, _| n + 1)
}
