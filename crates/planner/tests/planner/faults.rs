//! Faults of problems are all found at once, and planners and the checker refuse.

use becket_planner::{
    CoilIndex, FirstPlanner, GroupIndex, MAX_LENGTH, MAX_PIECES, Piece, PieceIndex, Plan, PlanError, Planner,
    Problem, ProblemFault, SerialIndex, Station, Violation, WireIndex, check_plan,
};
use becket_units::Um;

use crate::instances::{empty, mm, opened, piece};

#[test]
fn all_faults_are_listed() {
    let mut problem = empty();
    let too_long = Um::new(MAX_LENGTH.get() + 1);
    problem.station = Station { reel_positions: 0, trays: 0 };
    problem.policy.end_trim = Um::new(-1);
    problem.policy.margin = too_long;
    problem.wires[0].smallest_remnant = Um::new(-5);
    problem.wires.push(problem.wires[0]);
    problem.wires[1].smallest_remnant = mm(1);
    problem.serials = 2;
    problem.pieces = vec![
        piece(100, 0),
        piece(0, 1),
        Piece { length: Um::new(-7), ..piece(1, 2) },
        Piece { length: too_long, ..piece(1, 3) },
        Piece { wire: WireIndex(2), ..piece(100, 4) },
        Piece { serial: SerialIndex(2), ..piece(100, 5) },
        Piece { wire: WireIndex(1), ..piece(100, 0) },
        Piece { serial: SerialIndex(1), ..piece(100, 0) },
    ];
    problem.coils = vec![opened(-1), opened(1), opened(1), opened(1)];
    problem.coils[1].wire = WireIndex(2);
    problem.coils[2].mounted_at = Some(0);
    problem.coils[3].mounted_at = Some(0);
    problem.coils[3].margin = Um::new(-2);
    let expected = vec![
        ProblemFault::NoReelPosition,
        ProblemFault::NoTray,
        ProblemFault::EndTrimOutOfRange(Um::new(-1)),
        ProblemFault::MarginOutOfRange(too_long),
        ProblemFault::SmallestRemnantOutOfRange(WireIndex(0), Um::new(-5)),
        ProblemFault::PieceLengthOutOfRange(PieceIndex(1), mm(0)),
        ProblemFault::PieceLengthOutOfRange(PieceIndex(2), Um::new(-7)),
        ProblemFault::PieceLengthOutOfRange(PieceIndex(3), too_long),
        ProblemFault::PieceOfUnknownWire(PieceIndex(4), WireIndex(2)),
        ProblemFault::PieceOfUnknownSerial(PieceIndex(5), SerialIndex(2)),
        ProblemFault::GroupOverSeveralWires(GroupIndex(0), PieceIndex(6)),
        ProblemFault::GroupOverSeveralSerials(GroupIndex(0), PieceIndex(7)),
        ProblemFault::CoilLengthOutOfRange(CoilIndex(0), mm(-1)),
        ProblemFault::CoilOfUnknownWire(CoilIndex(1), WireIndex(2)),
        ProblemFault::CoilOnUnknownPosition(CoilIndex(2), 0),
        ProblemFault::CoilMarginOutOfRange(CoilIndex(3), Um::new(-2)),
        ProblemFault::CoilOnUnknownPosition(CoilIndex(3), 0),
        ProblemFault::PositionTakenTwice(0, CoilIndex(2), CoilIndex(3)),
    ];
    assert_eq!(problem.check(), Err(expected.clone()));
    assert_eq!(FirstPlanner.plan(&problem), Err(PlanError::UnsoundProblem(expected.clone())));
    let violations = expected.into_iter().map(Violation::UnsoundProblem).collect();
    assert_eq!(check_plan(&problem, &Plan::default()), Err(violations));
}

#[test]
fn a_problem_that_is_too_big_is_refused_by_its_size_alone() {
    let mut problem = empty();
    problem.pieces = vec![piece(0, 0); MAX_PIECES + 1];
    assert_eq!(problem.check(), Err(vec![ProblemFault::TooManyPieces(MAX_PIECES + 1)]));
    let problem = Problem { serials: u32::MAX, ..empty() };
    assert_eq!(problem.check(), Err(vec![ProblemFault::TooManySerials(u32::MAX)]));
}

#[test]
fn the_greatest_numbers_are_planned_without_overflow() {
    let mut problem = empty();
    problem.pieces = (0..1000).map(|g| Piece { length: MAX_LENGTH, rank: u32::MAX, ..piece(1, g) }).collect();
    problem.coils = (0..900).map(|_| becket_planner::Coil { available: MAX_LENGTH, ..opened(1) }).collect();
    problem.station = Station { reel_positions: u32::MAX, trays: u32::MAX };
    let plan = FirstPlanner.plan(&problem).unwrap();
    assert_eq!(check_plan(&problem, &plan), Ok(()));
    assert_eq!(plan.figures.pieces_cut, 900);
    assert_eq!(plan.uncut.len(), 100);
}

#[test]
fn errors_read_as_sentences() {
    let problem = Problem { station: Station { reel_positions: 0, trays: 1 }, ..empty() };
    let mut problem = problem;
    problem.pieces = vec![piece(0, 0)];
    let error = FirstPlanner.plan(&problem).unwrap_err();
    assert_eq!(
        error.to_string(),
        "the problem cannot be planned: the station has no reel position; it needs at least 1; piece 0 is 0.000 mm \
         long; allowed are more than 0, up to 1000000000.000 mm"
    );
}
