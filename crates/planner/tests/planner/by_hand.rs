//! Small cases whose plan can be worked out on paper.

use becket_planner::{
    Coil, CoilIndex, Figures, FirstPlanner, Piece, PieceIndex, PieceOrder, Plan, Planner, Problem,
    SerialIndex, Shortfall, Step, Tail, Unison, WireIndex, WireRule, check_plan,
};

use crate::instances::{empty, mm, opened, piece, sealed};

/// Plans, and has the plan checked.
fn plan(problem: &Problem) -> Plan {
    let plan = FirstPlanner.plan(problem).unwrap();
    assert_eq!(check_plan(problem, &plan), Ok(()), "{plan:#?}");
    plan
}

/// Pairs of coil and piece in the order of cutting.
fn cuts(plan: &Plan) -> Vec<(u32, u32)> {
    plan.steps
        .iter()
        .filter_map(|step| match step {
            Step::Cut { coil, piece, .. } => Some((coil.0, piece.0)),
            Step::Mount { .. } | Step::Unmount { .. } => None,
        })
        .collect()
}

/// Coils in the order of mounting, each with its position.
fn mountings(plan: &Plan) -> Vec<(u32, u32)> {
    plan.steps
        .iter()
        .filter_map(|step| match step {
            Step::Mount { coil, position, .. } => Some((coil.0, *position)),
            Step::Cut { .. } | Step::Unmount { .. } => None,
        })
        .collect()
}

#[test]
fn nothing_to_do_is_an_empty_plan() {
    let mut problem = empty();
    problem.coils = vec![opened(1000)];
    problem.coils[0].mounted_at = Some(2);
    assert_eq!(plan(&problem), Plan::default());
    problem.serials = 0;
    assert_eq!(plan(&problem), Plan::default());
}

#[test]
fn one_coil_two_pieces_step_by_step() {
    let mut problem = empty();
    problem.pieces = vec![piece(300, 0), piece(500, 1)];
    problem.coils = vec![sealed(1000, 0)];
    problem.policy.end_trim = mm(20);
    let expected = Plan {
        steps: vec![
            Step::Mount { coil: CoilIndex(0), position: 0, remaining_after: mm(980) },
            Step::Cut { coil: CoilIndex(0), piece: PieceIndex(1), remaining_after: mm(480) },
            Step::Cut { coil: CoilIndex(0), piece: PieceIndex(0), remaining_after: mm(180) },
            Step::Unmount { coil: CoilIndex(0), position: 0, tail: Tail::Remnant(mm(180)) },
        ],
        uncut: vec![],
        figures: Figures {
            pieces_cut: 2,
            cut_length: mm(800),
            scrap: mm(20),
            remnant_length: mm(180),
            coils_used: 1,
            coils_opened: 1,
            reel_changes: 1,
            groups_split: 0,
        },
    };
    assert_eq!(plan(&problem), expected);
}

#[test]
fn tails_are_empty_scrap_or_remnant() {
    for (available, tail) in [
        (500, Tail::Empty),
        (599, Tail::Scrap(mm(99))),
        (600, Tail::Remnant(mm(100))),
        (700, Tail::Remnant(mm(200))),
    ] {
        let mut problem = empty();
        problem.pieces = vec![piece(500, 0)];
        problem.coils = vec![opened(available)];
        let plan = plan(&problem);
        assert_eq!(
            plan.steps.last(),
            Some(&Step::Unmount { coil: CoilIndex(0), position: 0, tail }),
            "of {available} mm"
        );
    }
}

#[test]
fn a_mounted_coil_pays_no_trim() {
    let mut problem = empty();
    problem.pieces = vec![piece(500, 0)];
    problem.policy.end_trim = mm(20);
    problem.coils = vec![opened(500)];
    assert_eq!(plan(&problem).uncut, [PieceIndex(0)]);
    problem.coils[0].mounted_at = Some(3);
    let plan = plan(&problem);
    assert_eq!(plan.uncut, []);
    assert_eq!(plan.figures.reel_changes, 0);
    assert_eq!(plan.figures.scrap, mm(0));
}

#[test]
fn the_margin_stays_on_the_coil() {
    let mut problem = empty();
    problem.pieces = vec![piece(500, 0)];
    problem.policy.margin = mm(50);
    problem.coils = vec![opened(549)];
    assert_eq!(plan(&problem).uncut, [PieceIndex(0)]);
    problem.coils = vec![opened(550)];
    assert_eq!(plan(&problem).uncut, []);
}

#[test]
fn a_coil_of_doubtful_length_keeps_more() {
    let mut problem = empty();
    problem.pieces = vec![piece(500, 0)];
    problem.policy.margin = mm(50);
    problem.coils = vec![Coil { margin: mm(10), ..opened(559) }];
    assert_eq!(plan(&problem).uncut, [PieceIndex(0)]);
    // The one that is known well gives the piece, though it is longer.
    problem.coils = vec![Coil { margin: mm(10), ..opened(559) }, opened(600)];
    assert_eq!(cuts(&plan(&problem)), [(1, 0)]);
    problem.coils = vec![Coil { margin: mm(10), ..opened(560) }];
    assert_eq!(plan(&problem).uncut, []);
}

#[test]
fn opened_coils_come_first_and_the_best_fit_of_them() {
    let mut problem = empty();
    problem.pieces = vec![piece(500, 0)];
    problem.coils = vec![sealed(500, 0), opened(5000), opened(700), opened(499)];
    assert_eq!(cuts(&plan(&problem)), [(2, 0)]);
}

#[test]
fn a_wasteful_tail_is_avoided_and_a_minimal_one_is_not() {
    let mut problem = empty();
    problem.pieces = vec![piece(500, 0)];
    problem.coils = vec![opened(590), opened(2000)];
    assert_eq!(cuts(&plan(&problem)), [(1, 0)], "90 mm would be scrap");
    problem.coils[0].available = mm(505);
    assert_eq!(cuts(&plan(&problem)), [(0, 0)], "5 mm are next to nothing");
    problem.coils.truncate(1);
    problem.coils[0].available = mm(590);
    assert_eq!(cuts(&plan(&problem)), [(0, 0)], "better scrap than an uncut piece");
}

#[test]
fn sealed_coils_are_opened_by_order_of_receipt() {
    let mut problem = empty();
    problem.pieces = vec![piece(500, 0), piece(400, 1), piece(300, 2)];
    problem.coils = vec![sealed(5000, 9), sealed(600, 2), sealed(450, 1)];
    let plan = plan(&problem);
    // 500 goes to the oldest that holds it; then 400 opens the oldest; 300 fits only on the newest.
    assert_eq!(cuts(&plan), [(0, 2), (1, 0), (2, 1)]);
    assert_eq!(plan.figures.coils_opened, 3);
}

#[test]
fn groups_stay_together_split_or_are_left_by_policy() {
    let mut problem = empty();
    problem.pieces = vec![piece(500, 7), piece(400, 7), piece(100, 8)];
    problem.coils = vec![opened(520), opened(620)];

    problem.policy.unison = Unison::Hard;
    let hard = plan(&problem);
    assert_eq!(hard.uncut, [PieceIndex(0), PieceIndex(1)]);
    assert_eq!(hard.figures.groups_split, 0);

    problem.policy.unison = Unison::Preferred;
    let preferred = plan(&problem);
    assert_eq!(preferred.uncut, []);
    assert_eq!(preferred.figures.groups_split, 1);

    problem.coils.push(opened(900));
    let together = plan(&problem);
    assert_eq!(together.figures.groups_split, 0);
    assert_eq!(cuts(&together)[1..], [(2, 0), (2, 1)]);
}

#[test]
fn a_split_group_stays_within_a_lot_if_it_can() {
    let mut problem = empty();
    problem.policy.unison = Unison::Preferred;
    problem.pieces = vec![piece(1000, 0), piece(400, 0)];
    problem.coils = vec![opened(1100), opened(600), opened(900)];
    problem.coils[1].lot = 5;
    assert_eq!(cuts(&plan(&problem)), [(0, 0), (2, 1)]);
    problem.coils[1].lot = 0;
    problem.coils[2].lot = 5;
    assert_eq!(cuts(&plan(&problem)), [(0, 0), (1, 1)]);
}

#[test]
fn the_serial_that_is_due_first_gets_the_wire() {
    let mut problem = empty();
    problem.serials = 3;
    problem.pieces = vec![
        Piece { serial: SerialIndex(2), ..piece(600, 0) },
        Piece { serial: SerialIndex(1), ..piece(700, 1) },
        Piece { serial: SerialIndex(0), ..piece(500, 2) },
        Piece { serial: SerialIndex(2), ..piece(450, 3) },
    ];
    problem.coils = vec![opened(1000)];
    let plan = plan(&problem);
    assert_eq!(cuts(&plan), [(0, 2), (0, 3)]);
    assert_eq!(plan.uncut, [PieceIndex(0), PieceIndex(1)]);
}

#[test]
fn a_shortage_says_exactly_what_is_missing() {
    let mut problem = empty();
    problem.wires.push(WireRule { smallest_remnant: mm(50) });
    problem.serials = 2;
    let thin = |length, group| Piece { wire: WireIndex(1), ..piece(length, group) };
    let second = |piece: Piece| Piece { serial: SerialIndex(1), ..piece };
    problem.pieces = vec![
        piece(800, 0),
        thin(300, 1),
        second(piece(800, 2)),
        second(piece(750, 3)),
        second(thin(300, 4)),
        thin(2000, 5),
    ];
    problem.coils = vec![opened(1000), opened(700)];
    problem.coils[1].wire = WireIndex(1);
    let plan = plan(&problem);
    assert_eq!(cuts(&plan), [(0, 0), (1, 1), (1, 4)]);
    let lacks = |serial, wire, pieces, length| Shortfall {
        serial: SerialIndex(serial),
        wire: WireIndex(wire),
        pieces,
        length: mm(length),
    };
    assert_eq!(plan.shortfalls(&problem), [lacks(0, 1, 1, 2000), lacks(1, 0, 2, 1550)]);
}

#[test]
fn pieces_follow_the_wanted_order() {
    let mut problem = empty();
    problem.pieces = vec![piece(500, 40), piece(900, 30), piece(300, 50), piece(900, 20)];
    problem.coils = vec![opened(5000)];
    for (order, expected) in [
        (PieceOrder::BySize, [3, 1, 0, 2]),
        (PieceOrder::UpTheScale, [3, 1, 0, 2]),
        (PieceOrder::DownTheScale, [2, 0, 1, 3]),
    ] {
        problem.policy.piece_order = order;
        assert_eq!(cuts(&plan(&problem)).iter().map(|(_, p)| *p).collect::<Vec<_>>(), expected, "{order:?}");
    }
    problem.pieces[2].length = mm(950);
    problem.policy.piece_order = PieceOrder::BySize;
    assert_eq!(cuts(&plan(&problem)).iter().map(|(_, p)| *p).collect::<Vec<_>>(), [2, 3, 1, 0]);
}

/// Serials 0 … `serials`−1 each with one piece of wires 0 … `wires`−1, and one long coil of each wire.
fn grid(serials: u32, wires: u32) -> Problem {
    let mut problem = empty();
    problem.serials = serials;
    problem.wires = vec![WireRule { smallest_remnant: mm(100) }; wires as usize];
    for serial in 0..serials {
        for wire in 0..wires {
            let number = serial * wires + wire;
            problem.pieces.push(Piece {
                wire: WireIndex(wire),
                serial: SerialIndex(serial),
                ..piece(500, number)
            });
        }
    }
    problem.coils =
        (0..wires).map(|wire| becket_planner::Coil { wire: WireIndex(wire), ..opened(50_000) }).collect();
    problem
}

#[test]
fn a_batch_is_as_many_serials_as_there_are_trays() {
    let mut problem = grid(3, 2);
    problem.station.trays = 2;
    let plan = plan(&problem);
    // Serials 0 and 1 coil by coil, then serial 2.
    assert_eq!(cuts(&plan), [(0, 0), (0, 2), (1, 1), (1, 3), (0, 4), (1, 5)]);
    assert_eq!(mountings(&plan), [(0, 0), (1, 1)]);
}

#[test]
fn coils_that_are_mounted_are_cut_first() {
    let mut problem = grid(2, 3);
    problem.station.trays = 1;
    problem.station.reel_positions = 1;
    let plan = plan(&problem);
    // Coil 2 is on when the second serial begins.
    assert_eq!(mountings(&plan).iter().map(|(c, _)| *c).collect::<Vec<_>>(), [0, 1, 2, 0, 1]);
    assert_eq!(plan.figures.reel_changes, 5);
}

#[test]
fn the_coil_that_is_needed_last_is_taken_off() {
    let mut problem = grid(3, 3);
    problem.station.trays = 1;
    problem.station.reel_positions = 2;
    // Serial 1 needs wires 1 and 2, serial 2 needs all: when wire 2 comes, the coil of wire 0 has to go.
    problem.pieces.remove(3);
    let plan = plan(&problem);
    // In the last serial neither is needed again and both are equally long, so the lower position is cleared.
    assert_eq!(mountings(&plan), [(0, 0), (1, 1), (2, 0), (0, 0)]);
}

#[test]
fn a_mounted_coil_that_nobody_needs_goes_only_if_its_position_is_needed() {
    let mut problem = grid(1, 2);
    problem.station.reel_positions = 2;
    problem.pieces.retain(|p| p.wire == WireIndex(1));
    problem.coils[0].mounted_at = Some(0);
    assert_eq!(mountings(&plan(&problem)), [(1, 1)]);
    problem.station.reel_positions = 1;
    let plan = plan(&problem);
    assert_eq!(
        plan.steps[0],
        Step::Unmount { coil: CoilIndex(0), position: 0, tail: Tail::Remnant(mm(50_000)) }
    );
    assert_eq!(plan.figures.remnant_length, mm(50_000 + 49_500));
}

#[test]
fn a_coil_that_comes_back_is_counted_once_as_a_remnant_and_trimmed_twice() {
    let mut problem = grid(2, 2);
    problem.station = becket_planner::Station { reel_positions: 1, trays: 1 };
    problem.policy.end_trim = mm(10);
    let plan = plan(&problem);
    assert_eq!(mountings(&plan), [(0, 0), (1, 0), (0, 0)]);
    assert_eq!(plan.figures.scrap, mm(30));
    assert_eq!(plan.figures.remnant_length, mm(100_000 - 4 * 500 - 30));
}

#[test]
fn a_sealed_coil_that_is_mounted_counts_as_opened() {
    let mut problem = empty();
    problem.pieces = vec![piece(500, 0)];
    problem.coils = vec![opened(5000), sealed(2000, 0)];
    problem.coils[1].mounted_at = Some(0);
    let plan = plan(&problem);
    assert_eq!(cuts(&plan), [(1, 0)]);
    assert_eq!(plan.figures.coils_opened, 0);
}

#[test]
fn of_coils_that_fit_alike_the_mounted_one_is_taken() {
    let mut problem = empty();
    problem.pieces = vec![piece(500, 0)];
    problem.coils = vec![opened(2000), opened(2000)];
    assert_eq!(cuts(&plan(&problem)), [(0, 0)]);
    problem.coils[1].mounted_at = Some(0);
    assert_eq!(cuts(&plan(&problem)), [(1, 0)]);
}

#[test]
fn a_serial_that_gets_nothing_takes_no_tray() {
    let mut problem = grid(3, 2);
    problem.station.trays = 2;
    problem.pieces[0].length = mm(99_000);
    problem.pieces[1].length = mm(99_000);
    // Serials 1 and 2 make one batch.
    assert_eq!(cuts(&plan(&problem)), [(0, 2), (0, 4), (1, 3), (1, 5)]);
}

/// Three wires, two positions, one tray; coils 0 and 1 are on when coil 2 needs a position in the first serial.
fn two_positions() -> Problem {
    let mut problem = grid(2, 3);
    problem.station = becket_planner::Station { reel_positions: 2, trays: 1 };
    problem
}

#[test]
fn of_coils_that_are_needed_alike_the_shortest_is_taken_off() {
    let mut problem = two_positions();
    problem.coils[1].available = mm(40_000);
    assert_eq!(mountings(&plan(&problem))[2], (2, 1));
    problem.coils[0].available = mm(30_000);
    assert_eq!(mountings(&plan(&problem))[2], (2, 0));
}

#[test]
fn a_coil_that_is_too_short_for_later_pieces_is_taken_off() {
    let mut problem = two_positions();
    problem.coils[1].available = mm(20_000);
    // Without the longer piece, coil 1 would go as the shorter one.
    assert_eq!(mountings(&plan(&problem))[2], (2, 1));
    problem.pieces[3].length = mm(49_600);
    assert_eq!(mountings(&plan(&problem))[2], (2, 0));
}

#[test]
fn only_serials_to_come_count_as_next_use() {
    let mut problem = two_positions();
    problem.coils[1].available = mm(20_000);
    // No later serial needs wire 0, so its coil goes although it is longer.
    problem.pieces.remove(3);
    assert_eq!(mountings(&plan(&problem))[2], (2, 0));
}
