//! What holds for every plan of the first planner, on random problems.

use std::collections::BTreeSet;

use becket_planner::{
    Coil, CoilIndex, FirstPlanner, PieceIndex, Plan, Planner, Problem, SerialIndex, Step, Tail, Unison,
    check_plan,
};
use becket_units::Um;
use proptest::prelude::*;
use proptest::sample::Index;

use crate::instances::any_problem;

/// What the plan leaves on each coil, and which coils end a mounting as scrap or empty.
fn ends(problem: &Problem, plan: &Plan) -> (Vec<i64>, BTreeSet<CoilIndex>) {
    let mut left: Vec<i64> = problem.coils.iter().map(|c| c.available.get()).collect();
    let mut gone = BTreeSet::new();
    for step in &plan.steps {
        match step {
            Step::Mount { coil, remaining_after, .. } | Step::Cut { coil, remaining_after, .. } => {
                left[coil.index()] = remaining_after.get();
            }
            Step::Unmount { coil, tail: Tail::Empty | Tail::Scrap(_), .. } => {
                gone.insert(*coil);
            }
            Step::Unmount { .. } => {}
        }
    }
    (left, gone)
}

/// Coils that are on when the last piece is cut, before everything is taken off.
fn on_after_last_cut(problem: &Problem, plan: &Plan) -> BTreeSet<CoilIndex> {
    let end = plan.steps.iter().rposition(|step| matches!(step, Step::Cut { .. })).map_or(0, |last| last + 1);
    let mut on: BTreeSet<_> =
        problem.indexed_coils().filter(|(_, coil)| coil.mounted_at.is_some()).map(|(c, _)| c).collect();
    for step in &plan.steps[..end] {
        match step {
            Step::Mount { coil, .. } => drop(on.insert(*coil)),
            Step::Unmount { coil, .. } => drop(on.remove(coil)),
            Step::Cut { .. } => {}
        }
    }
    on
}

/// What the first `serials` serials lack in a plan for all.
fn uncut_among(problem: &Problem, serials: u32) -> Vec<PieceIndex> {
    let is_early = |p: &PieceIndex| problem.pieces[p.index()].serial < SerialIndex(serials);
    FirstPlanner.plan(problem).unwrap().uncut.into_iter().filter(is_early).collect()
}

/// What the first `serials` serials lack in a plan for them alone.
fn uncut_alone(problem: &Problem, serials: u32) -> Vec<PieceIndex> {
    let kept: Vec<_> = problem.indexed_pieces().filter(|(_, p)| p.serial < SerialIndex(serials)).collect();
    let pieces = kept.iter().map(|(_, piece)| **piece).collect();
    let alone = Problem { pieces, serials, ..problem.clone() };
    FirstPlanner.plan(&alone).unwrap().uncut.into_iter().map(|p| kept[p.index()].0).collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1500, ..ProptestConfig::default() })]

    #[test]
    fn the_checker_passes_every_plan(problem in any_problem()) {
        let plan = FirstPlanner.plan(&problem).unwrap();
        prop_assert_eq!(check_plan(&problem, &plan), Ok(()));
        prop_assert!(plan.uncut.is_sorted());
    }

    #[test]
    fn the_same_problem_gives_the_same_plan(problem in any_problem()) {
        prop_assert_eq!(FirstPlanner.plan(&problem.clone()), FirstPlanner.plan(&problem));
    }

    #[test]
    fn wire_goes_into_pieces_scrap_and_remnants_and_nowhere_else(problem in any_problem()) {
        let plan = FirstPlanner.plan(&problem).unwrap();
        let taken_off: BTreeSet<CoilIndex> = plan.steps.iter().filter_map(|step| match step {
            Step::Unmount { coil, .. } => Some(*coil),
            Step::Mount { .. } | Step::Cut { .. } => None,
        }).collect();
        let before: i64 = taken_off.iter().map(|c| problem.coils[c.index()].available.get()).sum();
        let figures = plan.figures;
        prop_assert_eq!(before, figures.cut_length.get() + figures.scrap.get() + figures.remnant_length.get());
    }

    #[test]
    fn ample_wire_leaves_nothing_uncut_and_no_group_split(mut problem in any_problem()) {
        let total: i64 = problem.pieces.iter().map(|p| p.length.get()).sum();
        // One coil of each wire that could give everything, with a trim for each serial.
        let trims = i64::from(problem.serials) * problem.policy.end_trim.get();
        let available = Um::new(total + trims + problem.policy.margin.get());
        for (wire, _) in (0u32..).map(becket_planner::WireIndex).zip(problem.wires.clone()) {
            problem.coils.push(Coil { wire, available, opened: false, received_rank: 9, lot: 0, mounted_at: None, margin: Um::ZERO });
            // So that the coil never counts as scrap in between.
            problem.wires[wire.index()].smallest_remnant = Um::ZERO;
        }
        let plan = FirstPlanner.plan(&problem).unwrap();
        prop_assert_eq!(check_plan(&problem, &plan), Ok(()));
        prop_assert_eq!(&plan.uncut, &[]);
        if problem.policy.unison != Unison::Off {
            prop_assert_eq!(plan.figures.groups_split, 0);
        }
    }

    #[test]
    fn nothing_is_left_uncut_that_would_still_fit(mut problem in any_problem()) {
        // Under hard unison a piece may fit and its group not.
        if problem.policy.unison == Unison::Hard {
            problem.policy.unison = Unison::Preferred;
        }
        let plan = FirstPlanner.plan(&problem).unwrap();
        let (left, gone) = ends(&problem, &plan);
        let on = on_after_last_cut(&problem, &plan);
        for piece in plan.uncut.iter().map(|p| problem.pieces[p.index()]) {
            let candidates = problem.indexed_coils().filter(|(c, coil)| coil.wire == piece.wire && !gone.contains(c));
            for (c, _) in candidates {
                // A coil that is off pays another trim to come back.
                let trim = if on.contains(&c) { 0 } else { problem.policy.end_trim.get() };
                let room = left[c.index()] - trim - problem.policy.margin.get() - problem.coils[c.index()].margin.get();
                prop_assert!(room < piece.length.get(), "coil {} has room {} for {:?}", c.0, room, piece);
            }
        }
    }

    #[test]
    fn later_serials_take_nothing_from_the_first(problem in any_problem()) {
        prop_assert_eq!(uncut_among(&problem, 1), uncut_alone(&problem, 1));
    }

    /// Which coils stay on between batches may depend on what comes later, and with it trims and scrap of the batches
    /// between. Without these, earlier serials get exactly what they would get alone.
    #[test]
    fn without_trim_and_scrap_later_serials_take_nothing(mut problem in any_problem(), serials in any::<Index>()) {
        let serials = u32::try_from(serials.index(problem.serials as usize)).unwrap();
        problem.policy.end_trim = Um::ZERO;
        for wire in &mut problem.wires {
            wire.smallest_remnant = Um::ZERO;
        }
        prop_assert_eq!(uncut_among(&problem, serials), uncut_alone(&problem, serials));
    }
}
