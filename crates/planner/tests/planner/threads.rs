//! The same problem has the same plan on any number of threads.

use becket_planner::{BestPlan, BestPlanner, Effort, Problem, WireIndex, check_plan};

use crate::instances::{empty, mm, opened, piece, sealed};

/// Five wires, four serials, remnants and sealed coils, so that several wires are planned at a time and none is trivial.
fn day() -> Problem {
    let mut problem = empty();
    problem.wires = vec![problem.wires[0]; 5];
    problem.serials = 4;
    problem.station.trays = 2;
    problem.policy.end_trim = mm(10);
    for number in 0..240u32 {
        let wire = WireIndex(number % 5);
        let length = 260 + i64::from(number * 7919 % 1700);
        let serial = becket_planner::SerialIndex(number / 60);
        problem.pieces.push(becket_planner::Piece { wire, serial, ..piece(length, number / 3) });
    }
    // A group is of one wire.
    for (piece, number) in problem.pieces.iter_mut().zip(0u32..) {
        piece.group = becket_planner::GroupIndex(number);
    }
    for number in 0..75u32 {
        let wire = WireIndex(number % 5);
        let remnant = opened(1100 + i64::from(number * 104_729 % 4000));
        problem.coils.push(becket_planner::Coil { wire, received_rank: number, ..remnant });
    }
    for wire in (0..5).map(WireIndex) {
        problem.coils.push(becket_planner::Coil { wire, ..sealed(60_000, 80) });
    }
    problem
}

fn on_threads(threads: usize, problem: &Problem) -> BestPlan {
    let planner = BestPlanner { effort: Effort { rounds_per_coil: 20 }, ..BestPlanner::default() };
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
    pool.install(|| planner.plan_until(problem, &|| false)).unwrap()
}

#[test]
fn the_plan_does_not_depend_on_the_number_of_threads() {
    let problem = day();
    let one = on_threads(1, &problem);
    assert_eq!(check_plan(&problem, &one.plan), Ok(()));
    assert_eq!(one.plan.uncut, []);
    for threads in [2, 4, 7] {
        assert!(on_threads(threads, &problem) == one, "{threads} threads make another plan");
    }
}
