//! Tiny problems solved by trying every assignment: no level of the objective has a better value than the planner's bounds
//! allow, and what the planner calls proven is the optimum.

use becket_planner::{
    BestPlanner, Coil, Effort, Level, LevelOrder, Piece, PieceOrder, Problem, Unison, check_plan,
};
use becket_units::Um;
use proptest::prelude::*;

use crate::instances::{empty, mm, opened, piece};

fn planner() -> BestPlanner {
    BestPlanner { effort: Effort { rounds_per_coil: 10 }, ..BestPlanner::default() }
}

/// Up to 6 pieces of up to 2 serials and 3 coils of one wire, as many trays as serials.
fn tiny() -> impl Strategy<Value = Problem> {
    let pieces = prop::collection::vec((10..40i64, 0..2u32, 0..3u32), 0..7);
    let coils = prop::collection::vec((20..130i64, any::<bool>(), 0..2u32, any::<bool>(), 0..3i64), 0..4);
    let unison = prop_oneof![Just(Unison::Hard), Just(Unison::Preferred), Just(Unison::Off)];
    (pieces, coils, 0..4i64, 0..4i64, 0..30i64, unison).prop_map(
        |(pieces, coils, trim, margin, keep, unison)| {
            let mut problem = empty();
            problem.serials = 2;
            problem.wires[0].smallest_remnant = mm(keep);
            problem.policy.unison = unison;
            problem.policy.end_trim = mm(trim);
            problem.policy.margin = mm(margin);
            problem.policy.piece_order = PieceOrder::BySize;
            problem.pieces = pieces
                .into_iter()
                .map(|(length, serial, group)| Piece {
                    serial: becket_planner::SerialIndex(serial),
                    ..piece(length, 10 * serial + group)
                })
                .collect();
            problem.coils = (0u32..)
                .zip(coils)
                .map(|(rank, (length, is_opened, lot, mounted, margin))| Coil {
                    opened: is_opened,
                    received_rank: rank,
                    lot,
                    mounted_at: mounted.then_some(rank),
                    margin: mm(margin * margin),
                    ..opened(length)
                })
                .collect();
            problem
        },
    )
}

/// Uncut pieces serial by serial, groups split, scrap, coils opened, reel changes, lots.
type Value = (Vec<i64>, [i64; 5]);

/// What an assignment comes to, computed from the definition of the levels; `None` if the coils cannot give it.
fn value(problem: &Problem, choice: &[Option<usize>]) -> Option<Value> {
    let policy = problem.policy;
    let (mut scrap, mut opened, mut changes) = (0, 0, 0);
    for (c, coil) in problem.coils.iter().enumerate() {
        let given = problem.pieces.iter().zip(choice).filter(|(_, choice)| **choice == Some(c));
        let lengths: Vec<i64> = given.map(|(piece, _)| piece.length.get()).collect();
        if lengths.is_empty() {
            continue;
        }
        let mounts = coil.mounted_at.is_none();
        let trim = if mounts { policy.end_trim.get() } else { 0 };
        let left = coil.available.get() - trim - lengths.iter().sum::<i64>();
        if left < policy.margin.get() + coil.margin.get() {
            return None;
        }
        scrap += trim + if left < problem.wires[0].smallest_remnant.get() { left } else { 0 };
        changes += i64::from(mounts);
        opened += i64::from(mounts && !coil.opened);
    }
    let mut uncut = vec![0, 0];
    for (piece, _) in problem.pieces.iter().zip(choice).filter(|(_, choice)| choice.is_none()) {
        uncut[piece.serial.index()] += 1;
    }
    let mut split = 0;
    let mut groups: Vec<_> = problem.pieces.iter().map(|piece| piece.group).collect();
    groups.sort_unstable();
    groups.dedup();
    for group in groups {
        let members = problem.pieces.iter().zip(choice).filter(|(piece, _)| piece.group == group);
        let mut coils: Vec<_> = members.map(|(_, choice)| *choice).collect();
        coils.sort_unstable();
        coils.dedup();
        if policy.unison == Unison::Hard && coils.len() > 1 {
            return None;
        }
        split += i64::from(policy.unison != Unison::Off && coils.iter().flatten().count() > 1);
    }
    let mut lots: Vec<_> = problem
        .pieces
        .iter()
        .zip(choice)
        .filter_map(|(piece, choice)| Some((piece.serial, problem.coils[(*choice)?].lot)))
        .collect();
    lots.sort_unstable();
    lots.dedup();
    Some((uncut, [split, scrap, opened, changes, i64::try_from(lots.len()).unwrap()]))
}

/// The best value of all assignments.
fn best(problem: &Problem) -> Value {
    let mut all: Vec<Vec<Option<usize>>> = vec![Vec::new()];
    for _ in &problem.pieces {
        let longer = all.iter().flat_map(|start| {
            std::iter::once(None)
                .chain((0..problem.coils.len()).map(Some))
                .map(move |choice| [start.clone(), vec![choice]].concat())
        });
        all = longer.collect();
    }
    all.iter().filter_map(|choice| value(problem, choice)).min().unwrap()
}

const LEVELS: [Level; 5] =
    [Level::GroupsSplit, Level::Scrap, Level::CoilsOpened, Level::ReelChanges, Level::Lots];

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, max_shrink_iters: 100, ..ProptestConfig::default() })]

    #[test]
    fn bounds_hold_and_what_is_proven_is_the_optimum(problem in tiny()) {
        // Without effort there is no exact method, whose bounds are the values.
        let planner = BestPlanner { effort: Effort { rounds_per_coil: 0 }, ..planner() };
        let planned = planner.plan_until(&problem, &|| false).unwrap();
        prop_assert_eq!(check_plan(&problem, &planned.plan), Ok(()));
        let (uncut, rest) = best(&problem);
        let quality = &planned.quality;
        let pieces = quality.level(Level::PiecesUncut).unwrap();
        let mut found = vec![0, 0];
        for p in &planned.plan.uncut {
            found[problem.pieces[p.index()].serial.index()] += 1;
        }
        prop_assert!(found >= uncut, "better than the best: {found:?} {uncut:?}");
        let whole = quality.level(Level::SerialsNotWhole).unwrap();
        let not_whole = 2 - uncut.iter().take_while(|n| **n == 0).count();
        prop_assert!(whole.lower_bound <= i64::try_from(not_whole).unwrap());
        if pieces.proven {
            prop_assert_eq!(&found, &uncut);
        }
        // Level by level, as long as the planner is as good as the best before it.
        let mut equal = found == uncut;
        for (level, best) in LEVELS.into_iter().zip(rest) {
            if !equal {
                break;
            }
            let report = quality.level(level).unwrap();
            prop_assert!(report.lower_bound <= best, "{level:?}: bound {} above {best}", report.lower_bound);
            prop_assert!(report.value >= best, "{level:?}: value {} below {best}", report.value);
            equal = report.value == best;
        }
    }

    /// All levels but the wanted order, which [`crate::oracle`] has.
    #[test]
    fn tiny_problems_are_solved_to_the_optimum(problem in tiny()) {
        let (found, best) = found_and_best(&problem);
        prop_assert_eq!(found, best);
    }

    #[test]
    fn the_report_is_what_the_plan_comes_to(problem in tiny()) {
        let planned = planner().plan_until(&problem, &|| false).unwrap();
        prop_assert_eq!(becket_planner::check_quality(&problem, &planned.plan, &LevelOrder::default(), &planned.quality), Ok(()));
        let mut wrong = planned.quality.clone();
        wrong.levels[3].value += 1;
        prop_assert!(becket_planner::check_quality(&problem, &planned.plan, &LevelOrder::default(), &wrong).is_err());
    }
}

/// Uncut pieces serial by serial; groups split, scrap, coils opened, reel changes, lots.
type Searched = (Vec<i64>, Vec<i64>);

/// What is searched for: as planned, and at best.
fn found_and_best(problem: &Problem) -> (Searched, Searched) {
    let planned = planner().plan_until(problem, &|| false).unwrap();
    let mut uncut = vec![0, 0];
    for p in &planned.plan.uncut {
        uncut[problem.pieces[p.index()].serial.index()] += 1;
    }
    let values = LEVELS.iter().map(|level| planned.quality.level(*level).unwrap().value).collect();
    let (best_uncut, rest) = best(problem);
    ((uncut, values), (best_uncut, rest.to_vec()))
}

/// A coil that first fit decreasing cuts badly.
#[test]
fn two_short_pieces_are_better_than_one_long() {
    let mut problem = empty();
    problem.pieces = vec![piece(600, 0), piece(500, 1), piece(500, 2)];
    problem.coils = vec![opened(1000)];
    let planned = planner().plan_until(&problem, &|| false).unwrap();
    assert_eq!(planned.plan.figures.pieces_cut, 2);
    assert_eq!(planned.plan.figures.scrap, Um::ZERO);
    let pieces = planned.quality.level(Level::PiecesUncut).unwrap();
    assert!(pieces.proven && pieces.value == 1);
}
