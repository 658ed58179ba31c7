//! The checker of reports: recomputes every level from the steps of a plan. It shares no code with any planner.

use std::collections::{BTreeMap, BTreeSet};

use crate::model::{PieceOrder, Problem, Unison};
use crate::objective::{Level, LevelOrder, Quality};
use crate::plan::{Plan, Step, Tail};

/// What is wrong with a report.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReportFault {
    /// The levels are not those of the order, each once and in its place.
    LevelsWrong,
    /// A value is not what the plan comes to.
    ValueWrong {
        /// Level.
        level: Level,
        /// What the report says.
        stated: i64,
        /// What the steps come to.
        actual: i64,
    },
    /// A bound is above the value of the plan.
    BoundAboveValue(Level),
    /// A level is called proven though value and bound differ.
    NotProven(Level),
}

/// Checks a report against the plan that it is about. The plan itself is checked by [`check_plan`](crate::check_plan).
///
/// # Errors
///
/// All faults, by level. That a bound is true cannot be seen from the plan and is not checked here.
pub fn check_quality(
    problem: &Problem,
    plan: &Plan,
    order: &LevelOrder,
    quality: &Quality,
) -> Result<(), Vec<ReportFault>> {
    let stated: Vec<Level> = quality.levels.iter().map(|report| report.level).collect();
    let mut faults = Vec::new();
    if stated != order.all() {
        faults.push(ReportFault::LevelsWrong);
    }
    for report in &quality.levels {
        let (level, stated, actual) = (report.level, report.value, recompute(problem, plan, report.level));
        if stated != actual {
            faults.push(ReportFault::ValueWrong { level, stated, actual });
        }
        if report.lower_bound > stated {
            faults.push(ReportFault::BoundAboveValue(level));
        }
        if report.proven && report.lower_bound != stated {
            faults.push(ReportFault::NotProven(level));
        }
    }
    if faults.is_empty() { Ok(()) } else { Err(faults) }
}

fn recompute(problem: &Problem, plan: &Plan, level: Level) -> i64 {
    let cuts: Vec<(usize, usize)> = plan
        .steps
        .iter()
        .filter_map(|step| match step {
            Step::Cut { coil, piece, .. } => Some((coil.index(), piece.index())),
            Step::Mount { .. } | Step::Unmount { .. } => None,
        })
        .filter(|(coil, piece)| *coil < problem.coils.len() && *piece < problem.pieces.len())
        .collect();
    match level {
        Level::SerialsNotWhole => {
            let cut: BTreeSet<usize> = cuts.iter().map(|(_, piece)| *piece).collect();
            let lacking = problem.pieces.iter().enumerate().filter(|(p, _)| !cut.contains(p));
            let first = lacking.map(|(_, piece)| piece.serial.0).min();
            first.map_or(0, |first| i64::from(problem.serials) - i64::from(first))
        }
        Level::PiecesUncut => count(problem.pieces.len()) - count(cuts.len()),
        Level::GroupsSplit => {
            let mut coils: BTreeMap<_, BTreeSet<usize>> = BTreeMap::new();
            for (coil, piece) in &cuts {
                coils.entry(problem.pieces[*piece].group).or_default().insert(*coil);
            }
            let split = coils.values().filter(|coils| coils.len() > 1).count();
            if problem.policy.unison == Unison::Off { 0 } else { count(split) }
        }
        Level::Scrap => plan
            .steps
            .iter()
            .map(|step| match step {
                Step::Mount { .. } => problem.policy.end_trim.get(),
                Step::Unmount { tail: Tail::Scrap(length), .. } => length.get(),
                Step::Unmount { .. } | Step::Cut { .. } => 0,
            })
            .sum(),
        Level::CoilsOpened => {
            count(mounted(plan).filter(|coil| is_sealed(problem, *coil)).collect::<BTreeSet<_>>().len())
        }
        Level::ReelChanges => count(mounted(plan).count()),
        Level::Lots => {
            let lots = cuts.iter().map(|(coil, piece)| {
                let piece = &problem.pieces[*piece];
                (piece.serial, piece.wire, problem.coils[*coil].lot)
            });
            count(lots.collect::<BTreeSet<_>>().len())
        }
        Level::OutOfOrder => {
            let mut sequences: BTreeMap<_, Vec<usize>> = BTreeMap::new();
            for (_, piece) in &cuts {
                sequences.entry(problem.pieces[*piece].serial).or_default().push(*piece);
            }
            let breaks = |sequence: &Vec<usize>| {
                sequence.windows(2).filter(|pair| is_out_of_order(problem, pair[0], pair[1])).count()
            };
            count(sequences.values().map(breaks).sum())
        }
    }
}

fn mounted(plan: &Plan) -> impl Iterator<Item = usize> {
    plan.steps.iter().filter_map(|step| match step {
        Step::Mount { coil, .. } => Some(coil.index()),
        Step::Cut { .. } | Step::Unmount { .. } => None,
    })
}

fn is_sealed(problem: &Problem, coil: usize) -> bool {
    problem.coils.get(coil).is_some_and(|coil| !coil.opened && coil.mounted_at.is_none())
}

fn is_out_of_order(problem: &Problem, before: usize, next: usize) -> bool {
    let (before, next) = (&problem.pieces[before], &problem.pieces[next]);
    match problem.policy.piece_order {
        PieceOrder::BySize => next.length > before.length,
        PieceOrder::UpTheScale => next.rank < before.rank,
        PieceOrder::DownTheScale => next.rank > before.rank,
    }
}

fn count(n: usize) -> i64 {
    i64::try_from(n).unwrap_or(i64::MAX)
}
