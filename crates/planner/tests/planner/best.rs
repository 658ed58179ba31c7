//! What holds for every plan of the best planner, on random problems.

use becket_planner::{
    BestPlanner, Effort, FirstPlanner, Level, LevelOrder, Planner, Problem, Score, Step, Unison, check_plan,
};
use proptest::prelude::*;

use crate::instances::{any_problem, empty, opened, piece};

fn planner() -> BestPlanner {
    BestPlanner { effort: Effort { rounds_per_coil: 3 }, ..BestPlanner::default() }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 25, ..ProptestConfig::default() })]

    #[test]
    fn the_checker_passes_every_plan_and_none_is_worse_than_the_first_planners(problem in any_problem()) {
        let order = LevelOrder::default();
        let best = planner().plan_until(&problem, &|| false).unwrap();
        prop_assert_eq!(check_plan(&problem, &best.plan), Ok(()));
        let first = FirstPlanner.plan(&problem).unwrap();
        prop_assert!(Score::of(&problem, &best.plan, &order) <= Score::of(&problem, &first, &order));
        for report in &best.quality.levels {
            prop_assert!(report.lower_bound <= report.value, "{:?}", report);
            prop_assert!(!report.proven || report.lower_bound == report.value, "{:?}", report);
        }
    }

    #[test]
    fn the_same_problem_gives_the_same_plan(problem in any_problem()) {
        prop_assert_eq!(planner().plan(&problem.clone()), planner().plan(&problem));
    }

    #[test]
    fn a_stop_at_once_still_gives_a_sound_plan(problem in any_problem()) {
        let best = planner().plan_until(&problem, &|| true).unwrap();
        prop_assert_eq!(check_plan(&problem, &best.plan), Ok(()));
        prop_assert!(best.quality.stopped);
    }

    #[test]
    fn any_order_of_levels_gives_a_sound_plan(problem in any_problem(), levels in Just([
        Level::Scrap, Level::CoilsOpened, Level::ReelChanges, Level::Lots,
    ]).prop_shuffle()) {
        let order = LevelOrder::new(levels).unwrap();
        let best = BestPlanner { order, ..planner() }.plan_until(&problem, &|| false).unwrap();
        prop_assert_eq!(check_plan(&problem, &best.plan), Ok(()));
        let first = FirstPlanner.plan(&problem).unwrap();
        prop_assert!(Score::of(&problem, &best.plan, &order) <= Score::of(&problem, &first, &order));
    }
}

#[test]
fn of_equal_pieces_the_one_that_is_easiest_to_move_is_cut_last() {
    // Three pieces of one length: the first is alone in its note, the others are a pair. What the coil may lack at its end is
    // then one piece that can come from anywhere.
    let mut problem = Problem { coils: vec![opened(4000)], ..empty() };
    problem.pieces = vec![piece(900, 0), piece(900, 1), piece(900, 1), piece(1000, 2)];
    problem.policy.unison = Unison::Preferred;
    let plan = BestPlanner::default().plan(&problem).unwrap();
    let cut = |step: &Step| match step {
        Step::Cut { piece, .. } => Some(piece.0),
        _ => None,
    };
    let order: Vec<u32> = plan.steps.iter().filter_map(cut).collect();
    assert_eq!(order, [3, 1, 2, 0], "longest first is wanted, and of equals the pair");
}
