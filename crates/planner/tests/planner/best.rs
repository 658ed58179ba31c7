//! What holds for every plan of the best planner, on random problems.

use becket_planner::{BestPlanner, Effort, FirstPlanner, Level, LevelOrder, Planner, Score, check_plan};
use proptest::prelude::*;

use crate::instances::any_problem;

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
