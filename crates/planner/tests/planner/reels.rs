//! Order of reels, lots and pieces, on days whose best plan can be told by hand. The exact method is left out of these by an
//! effort of nothing, so that they show what larger days get.

use becket_planner::{
    BestPlan, BestPlanner, Coil, Effort, FirstPlanner, Level, LevelOrder, Piece, PieceOrder, Planner,
    Problem, SerialIndex, Station, WireIndex, check_plan, check_quality,
};
use becket_units::Um;

use crate::instances::{empty, mm, opened, piece};

fn plan(problem: &Problem) -> BestPlan {
    let planner = BestPlanner { effort: Effort { rounds_per_coil: 0 }, ..BestPlanner::default() };
    let planned = planner.plan_until(problem, &|| false).unwrap();
    assert_eq!(check_plan(problem, &planned.plan), Ok(()));
    assert_eq!(check_quality(problem, &planned.plan, &LevelOrder::default(), &planned.quality), Ok(()));
    planned
}

fn level(planned: &BestPlan, level: Level) -> (i64, i64) {
    let report = planned.quality.level(level).unwrap();
    (report.value, report.lower_bound)
}

/// A day with one long coil per wire; `needs` says which wires each serial has, one piece of each.
fn day(needs: &[&[u32]], reel_positions: u32, trays: u32) -> Problem {
    let mut problem = empty();
    let wires = needs.iter().copied().flatten().max().unwrap() + 1;
    problem.wires = vec![problem.wires[0]; wires as usize];
    problem.serials = u32::try_from(needs.len()).unwrap();
    problem.station = Station { reel_positions, trays };
    problem.policy.due_window = Some(trays - 1);
    for (serial, wires) in (0u32..).zip(needs) {
        for wire in *wires {
            let number = u32::try_from(problem.pieces.len()).unwrap();
            problem.pieces.push(Piece {
                wire: WireIndex(*wire),
                serial: SerialIndex(serial),
                rank: *wire,
                ..piece(500, number)
            });
        }
    }
    problem.coils = (0..wires).map(|wire| Coil { wire: WireIndex(wire), ..opened(90_000) }).collect();
    problem
}

#[test]
fn what_is_needed_next_stays_on() {
    // Four serials, four wires, two positions: all four for the first, then two for each.
    let problem = day(&[[0, 1, 2, 3].as_slice(); 4], 2, 1);
    assert_eq!(level(&plan(&problem), Level::ReelChanges), (10, 10));
    // What is mounted at the start counts.
    let mut problem = problem;
    problem.coils[3].mounted_at = Some(0);
    problem.coils[1].mounted_at = Some(1);
    assert_eq!(level(&plan(&problem), Level::ReelChanges), (8, 8));
}

#[test]
fn the_set_of_open_serials_slides() {
    // Serials 1 and 2 share wires 1 and 2, but are in two batches of two.
    let problem = day(&[&[0], &[0, 1, 2], &[0, 1, 2], &[0]], 1, 2);
    assert_eq!(FirstPlanner.plan(&problem).unwrap().figures.reel_changes, 5);
    assert_eq!(level(&plan(&problem), Level::ReelChanges).0, 4);
}

#[test]
fn a_coil_that_gives_out_is_not_kept() {
    // Coil 0 has wire for the first serial only; two positions.
    let mut problem = day(&[&[0, 1, 2], &[0, 1, 2]], 2, 1);
    problem.coils[0].available = mm(700);
    problem.coils.push(Coil { wire: WireIndex(0), ..opened(600) });
    // Three, and one of wire 0 for the second; wires 1 and 2 stay on.
    assert_eq!(level(&plan(&problem), Level::ReelChanges).0, 4);
}

#[test]
fn strict_due_order_has_its_price() {
    let mut problem = day(&[&[0, 1, 2], &[0, 1, 2], &[0, 1, 2], &[0, 1, 2]], 1, 4);
    let changes = |problem: &Problem| level(&plan(problem), Level::ReelChanges);
    assert_eq!(changes(&problem).0, 3);
    problem.policy.due_window = Some(1);
    assert_eq!(changes(&problem), (5, 5));
    problem.policy.due_window = Some(0);
    assert_eq!(changes(&problem), (9, 9));
}

#[test]
fn pieces_of_mounted_coils_come_in_the_wanted_order() {
    // Two wires take turns up the scale.
    let mut problem = day(&[&[0, 1]], 2, 1);
    problem.policy.piece_order = PieceOrder::UpTheScale;
    for rank in 2..8 {
        problem.pieces.push(Piece { rank, wire: WireIndex(rank % 2), ..piece(400, rank) });
    }
    assert_eq!(level(&plan(&problem), Level::OutOfOrder), (0, 0));
    // With one position only, all of one wire come first.
    problem.station.reel_positions = 1;
    assert_eq!(level(&plan(&problem), Level::OutOfOrder).0, 1);
}

#[test]
fn a_serial_gets_one_lot_where_that_costs_nothing() {
    let mut problem = empty();
    problem.serials = 2;
    problem.pieces =
        (0..8).map(|n| Piece { serial: SerialIndex(n % 2), ..piece(400 + 7 * i64::from(n), n) }).collect();
    problem.coils = vec![Coil { lot: 1, ..opened(2_000) }, Coil { lot: 2, ..opened(2_000) }];
    let planned = plan(&problem);
    assert_eq!(level(&planned, Level::Lots), (2, 2));
    assert_eq!(planned.plan.figures.scrap, Um::ZERO);
    // A serial that needs more than any lot has needs two.
    problem.coils[0].available = mm(1_000);
    problem.coils.push(Coil { lot: 3, ..opened(1_000) });
    let (lots, least) = level(&plan(&problem), Level::Lots);
    assert!(lots >= 3 && least == 2, "{lots} {least}");
}
