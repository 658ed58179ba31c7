//! The checker against plans written by hand: one sound plan, and every kind of violation that can be made from it.

use becket_planner::{
    Coil, CoilIndex, Figure, Figures, GroupIndex, Piece, PieceIndex, PieceOrder, Plan, Problem, SerialIndex,
    Station, Step, Tail, Unison, Violation, WireIndex, WireRule, check_plan,
};
use becket_units::Um;

use crate::instances::{empty, mm, opened, piece, sealed};

fn mount(coil: u32, position: u32, left: i64) -> Step {
    Step::Mount { coil: CoilIndex(coil), position, remaining_after: mm(left) }
}

fn cut(coil: u32, piece: u32, left: i64) -> Step {
    Step::Cut { coil: CoilIndex(coil), piece: PieceIndex(piece), remaining_after: mm(left) }
}

fn unmount(coil: u32, position: u32, tail: Tail) -> Step {
    Step::Unmount { coil: CoilIndex(coil), position, tail }
}

/// Two serials, one reel position, one tray; coil 1 is mounted, coil 0 sealed, coil 2 of another wire.
fn problem() -> Problem {
    let mut problem = empty();
    problem.wires.push(WireRule { smallest_remnant: mm(0) });
    problem.serials = 2;
    problem.station = Station { reel_positions: 1, trays: 1 };
    problem.policy.unison = Unison::Hard;
    problem.policy.end_trim = mm(10);
    problem.policy.margin = mm(30);
    problem.policy.piece_order = PieceOrder::UpTheScale;
    problem.pieces = vec![
        piece(500, 0),
        Piece { rank: 1, ..piece(300, 0) },
        Piece { serial: SerialIndex(1), ..piece(200, 1) },
        Piece { serial: SerialIndex(1), ..piece(9000, 2) },
    ];
    problem.coils = vec![sealed(1000, 0), opened(260), opened(5000)];
    problem.coils[1].mounted_at = Some(0);
    problem.coils[2].wire = WireIndex(1);
    problem
}

fn sound() -> Plan {
    Plan {
        steps: vec![
            cut(1, 2, 60),
            unmount(1, 0, Tail::Scrap(mm(60))),
            mount(0, 0, 990),
            cut(0, 0, 490),
            cut(0, 1, 190),
            unmount(0, 0, Tail::Remnant(mm(190))),
        ],
        uncut: vec![PieceIndex(3)],
        figures: Figures {
            pieces_cut: 3,
            cut_length: mm(1000),
            scrap: mm(70),
            remnant_length: mm(190),
            coils_used: 2,
            coils_opened: 1,
            reel_changes: 1,
            groups_split: 0,
        },
    }
}

/// Changes problem and plan, and asserts that the checker names the violation.
#[track_caller]
fn finds(change: impl FnOnce(&mut Problem, &mut Plan), expected: Violation) {
    let (mut problem, mut plan) = (problem(), sound());
    change(&mut problem, &mut plan);
    let violations = check_plan(&problem, &plan).unwrap_err();
    assert!(violations.contains(&expected), "{expected:?} is not among {violations:#?}");
    assert!(violations.iter().all(|v| !v.to_string().is_empty()));
}

#[test]
fn the_sound_plan_passes() {
    assert_eq!(check_plan(&problem(), &sound()), Ok(()));
}

#[test]
fn pieces_are_cut_or_listed_once() {
    let p = PieceIndex;
    finds(|_, plan| plan.uncut.clear(), Violation::Forgotten { piece: p(3) });
    finds(|_, plan| plan.uncut.push(p(3)), Violation::UncutTwice { piece: p(3) });
    finds(|_, plan| plan.uncut.push(p(0)), Violation::CutAndUncut { piece: p(0) });
    finds(|_, plan| plan.uncut.push(p(4)), Violation::UnknownUncutPiece { piece: p(4) });
    finds(|_, plan| plan.steps[4] = cut(0, 0, 190), Violation::CutTwice { step: 4, piece: p(0) });
    finds(|_, plan| plan.steps[4] = cut(0, 4, 190), Violation::UnknownPiece { step: 4, piece: p(4) });
}

#[test]
fn coils_are_there_mounted_and_of_the_right_wire() {
    let c = CoilIndex;
    finds(|_, plan| plan.steps[0] = cut(3, 2, 60), Violation::UnknownCoil { step: 0, coil: c(3) });
    finds(|_, plan| plan.steps[0] = cut(0, 2, 800), Violation::CutFromUnmounted { step: 0, coil: c(0) });
    finds(
        |problem, _| problem.pieces[2].wire = WireIndex(1),
        Violation::WrongWire { step: 0, coil: c(1), piece: PieceIndex(2) },
    );
    finds(|_, plan| plan.steps[2] = mount(1, 0, 50), Violation::FinishedCoilMounted { step: 2, coil: c(1) });
    finds(
        |problem, plan| {
            problem.station.reel_positions = 2;
            plan.steps.insert(3, mount(0, 1, 980));
        },
        Violation::MountedTwice { step: 3, coil: c(0) },
    );
}

#[test]
fn the_balance_of_a_coil_is_exact() {
    let coil = CoilIndex(0);
    finds(
        |_, plan| plan.steps[3] = cut(0, 0, 491),
        Violation::RemainingWrong { step: 3, stated: mm(491), actual: mm(490) },
    );
    finds(
        |_, plan| plan.steps[2] = mount(0, 0, 1000),
        Violation::RemainingWrong { step: 2, stated: mm(1000), actual: mm(990) },
    );
    finds(
        |problem, _| problem.coils[0].available = mm(809),
        Violation::Overdrawn { step: 4, coil, remaining: mm(-1) },
    );
    finds(
        |problem, _| problem.coils[0].available = Um::new(839_999),
        Violation::MarginCut { step: 4, coil, remaining: Um::new(29_999) },
    );
    // 190 mm are left, of which 30 mm are the policy's margin.
    finds(
        |problem, _| problem.coils[0].margin = Um::new(160_001),
        Violation::MarginCut { step: 4, coil, remaining: mm(190) },
    );
    let (mut problem, plan) = (problem(), sound());
    problem.coils[0].margin = mm(160);
    assert_eq!(check_plan(&problem, &plan), Ok(()));
}

#[test]
fn positions_are_there_and_free() {
    finds(|_, plan| plan.steps[2] = mount(0, 1, 990), Violation::UnknownPosition { step: 2, position: 1 });
    finds(
        |_, plan| _ = plan.steps.remove(1),
        Violation::PositionTaken { step: 1, position: 0, holder: CoilIndex(1) },
    );
    finds(
        |_, plan| plan.steps[1] = unmount(1, 1, Tail::Scrap(mm(60))),
        Violation::NotOnPosition { step: 1, coil: CoilIndex(1), position: 1 },
    );
    finds(|_, plan| _ = plan.steps.pop(), Violation::StillMounted { coil: CoilIndex(0) });
}

#[test]
fn tails_are_what_they_are() {
    for (step, coil, stated, actual) in [
        (1, 1, Tail::Remnant(mm(60)), Tail::Scrap(mm(60))),
        (1, 1, Tail::Scrap(mm(61)), Tail::Scrap(mm(60))),
        (5, 0, Tail::Empty, Tail::Remnant(mm(190))),
    ] {
        finds(
            |_, plan| plan.steps[step] = unmount(coil, 0, stated),
            Violation::TailWrong { step, stated, actual },
        );
    }
}

#[test]
fn open_serials_do_not_exceed_the_trays() {
    // Serial 1 gets another piece at the end, so it is open while serial 0 is cut.
    let late_piece = |problem: &mut Problem, plan: &mut Plan| {
        problem.pieces[3].length = mm(100);
        plan.uncut.clear();
        plan.steps[5] = cut(0, 3, 90);
        plan.steps.push(unmount(0, 0, Tail::Scrap(mm(90))));
    };
    finds(late_piece, Violation::TraysExceeded { step: 3, open: 2 });

    let (mut problem, mut plan) = (problem(), sound());
    late_piece(&mut problem, &mut plan);
    problem.station.trays = 2;
    let violations = check_plan(&problem, &plan).unwrap_err();
    assert!(violations.iter().all(|v| matches!(v, Violation::FigureWrong { .. })), "{violations:#?}");
}

#[test]
fn hard_groups_are_whole() {
    let group = GroupIndex(0);
    finds(
        |_, plan| {
            plan.steps.remove(4);
            plan.uncut.push(PieceIndex(1));
        },
        Violation::GroupCutInPart { group },
    );
    let split = |problem: &mut Problem, plan: &mut Plan| {
        problem.station.trays = 2;
        problem.coils[1].available = mm(600);
        plan.steps.remove(4);
        plan.steps.insert(1, cut(1, 1, 100));
    };
    finds(split, Violation::GroupSplit { group });
    finds(split, Violation::FigureWrong { figure: Figure::GroupsSplit, stated: 0, actual: 1 });
    let (mut problem, mut plan) = (problem(), sound());
    split(&mut problem, &mut plan);
    problem.policy.unison = Unison::Preferred;
    assert!(!check_plan(&problem, &plan).unwrap_err().contains(&Violation::GroupSplit { group }));
}

#[test]
fn the_wanted_order_is_kept() {
    let piece = PieceIndex(1);
    finds(
        |problem, _| problem.policy.piece_order = PieceOrder::DownTheScale,
        Violation::OutOfOrder { step: 4, piece },
    );
    finds(
        |problem, _| {
            problem.policy.piece_order = PieceOrder::BySize;
            problem.pieces[0].length = mm(299);
        },
        Violation::OutOfOrder { step: 4, piece },
    );
    finds(|problem, _| problem.pieces[0].rank = 2, Violation::OutOfOrder { step: 4, piece });
}

#[test]
fn a_new_mounting_begins_a_new_order() {
    let mut problem = problem();
    // The piece of higher rank is cut first; then the coil is off and on again.
    problem.pieces[0].rank = 2;
    let mut plan = sound();
    plan.steps.splice(
        4..,
        [
            unmount(0, 0, Tail::Remnant(mm(490))),
            mount(0, 0, 480),
            cut(0, 1, 180),
            unmount(0, 0, Tail::Remnant(mm(180))),
        ],
    );
    plan.figures.reel_changes = 2;
    plan.figures.scrap = mm(80);
    plan.figures.remnant_length = mm(180);
    assert_eq!(check_plan(&problem, &plan), Ok(()));
}

#[test]
fn every_figure_is_recomputed() {
    let one = Um::new(1);
    let wrong = |figure, stated, actual| Violation::FigureWrong { figure, stated, actual };
    finds(|_, plan| plan.figures.pieces_cut = 4, wrong(Figure::PiecesCut, 4, 3));
    finds(|_, plan| plan.figures.cut_length = one, wrong(Figure::CutLength, 1, 1_000_000));
    finds(|_, plan| plan.figures.scrap = one, wrong(Figure::Scrap, 1, 70_000));
    finds(|_, plan| plan.figures.remnant_length = one, wrong(Figure::RemnantLength, 1, 190_000));
    finds(|_, plan| plan.figures.coils_used = 3, wrong(Figure::CoilsUsed, 3, 2));
    finds(|_, plan| plan.figures.coils_opened = 2, wrong(Figure::CoilsOpened, 2, 1));
    finds(|_, plan| plan.figures.reel_changes = 2, wrong(Figure::ReelChanges, 2, 1));
    finds(|_, plan| plan.figures.groups_split = 1, wrong(Figure::GroupsSplit, 1, 0));
}

#[test]
fn a_serial_ahead_of_its_due_window() {
    // Serial 1 is cut before serial 0.
    let ahead = Violation::AheadOfDueOrder { step: 0, serial: SerialIndex(1), open: SerialIndex(0) };
    finds(|problem, _| problem.policy.due_window = Some(0), ahead);
    let mut problem = problem();
    problem.policy.due_window = Some(1);
    assert_eq!(check_plan(&problem, &sound()), Ok(()));
    // A serial of which nothing is cut has no place.
    problem.serials = 3;
    problem.policy.due_window = Some(0);
    problem.pieces[2].serial = SerialIndex(0);
    problem.pieces[3].serial = SerialIndex(1);
    problem.pieces.push(Piece { serial: SerialIndex(2), ..piece(100, 3) });
    let mut plan = sound();
    plan.steps.insert(5, cut(0, 4, 90));
    plan.steps[6] = unmount(0, 0, Tail::Scrap(mm(90)));
    plan.figures = Figures {
        pieces_cut: 4,
        cut_length: mm(1100),
        scrap: mm(160),
        remnant_length: mm(0),
        ..plan.figures
    };
    assert_eq!(check_plan(&problem, &plan), Ok(()));
}

#[test]
fn a_coil_opened_before_an_older_one() {
    let newer = |problem: &mut Problem| {
        problem.coils.push(Coil { received_rank: 1, ..problem.coils[0] });
        problem.coils[0].received_rank = 2;
    };
    let found = Violation::NotFirstIn { step: 2, coil: CoilIndex(0), older: CoilIndex(3) };
    finds(|problem, _| newer(problem), found);
    let mut problem = problem();
    newer(&mut problem);
    problem.policy.fifo = false;
    assert_eq!(check_plan(&problem, &sound()), Ok(()));
    // Of another length, or opened before, it is no equal.
    problem.policy.fifo = true;
    problem.coils[3].available = mm(999);
    assert_eq!(check_plan(&problem, &sound()), Ok(()));
    problem.coils[3].available = mm(1000);
    problem.coils[3].opened = true;
    assert_eq!(check_plan(&problem, &sound()), Ok(()));
}
