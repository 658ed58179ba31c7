//! Re-planning: by hand, and over random histories of a floor.

use becket_planner::{
    BestPlanner, Calm, Coil, CoilIndex, Disturbed, GroupIndex, Kin, Method, Moves, Piece, PieceIndex, Plan,
    Planner, Policy, Problem, ReplanPolicy, Replanned, Replanner, SerialIndex, Step, Unison, check_plan,
};
use becket_units::Um;
use proptest::prelude::*;

use crate::instances::{any_problem, empty, mm, opened, piece, sealed};
use crate::shop::{Shop, Trouble};

fn cuts(steps: &[Step]) -> Vec<(u32, u32)> {
    let cut = |step: &Step| match step {
        Step::Cut { coil, piece, .. } => Some((piece.0, coil.0)),
        _ => None,
    };
    steps.iter().filter_map(cut).collect()
}

fn mount(coil: u32, position: u32) -> Step {
    Step::Mount { coil: CoilIndex(coil), position, remaining_after: Um::ZERO }
}

fn cut(piece: u32, coil: u32) -> Step {
    Step::Cut { coil: CoilIndex(coil), piece: PieceIndex(piece), remaining_after: Um::ZERO }
}

fn replan(problem: &Problem, former: &[Step], kin: &[Option<Kin>]) -> Replanned {
    let floor = Disturbed { problem, former, open: &[], kin };
    let replanned = Replanner::default().replan(&floor, &|| false).unwrap();
    assert_eq!(check_plan(problem, &replanned.plan), Ok(()));
    replanned
}

/// Pieces of these lengths in mm, each its own group, on opened coils of these lengths in mm.
fn problem(pieces: &[i64], coils: &[i64]) -> Problem {
    let pieces = (0u32..).zip(pieces).map(|(g, length)| piece(*length, g)).collect();
    Problem { pieces, coils: coils.iter().map(|length| opened(*length)).collect(), ..empty() }
}

#[test]
fn a_floor_that_agrees_keeps_its_plan() {
    let problem = problem(&[900, 800, 700, 600, 500], &[2200, 1800]);
    let plan = BestPlanner::default().plan(&problem).unwrap();
    let again = replan(&problem, &plan.steps, &[]);
    assert_eq!(again.plan, plan);
    assert_eq!(again.moves, Moves { kept: 5, ..Moves::default() });
}

#[test]
fn a_short_coil_gives_up_one_piece() {
    // Coil 0 was believed to hold 2100 mm; it holds 1950. Coil 1 has 1000 mm to spare.
    let problem = problem(&[900, 700, 500, 800], &[1950, 1800]);
    let former = [mount(0, 0), cut(0, 0), cut(1, 0), cut(2, 0), mount(1, 1), cut(3, 1)];
    let again = replan(&problem, &former, &[]);
    assert_eq!(again.moves, Moves { kept: 3, forced: 1, ..Moves::default() });
    assert_eq!(again.method, Method::Repair);
    // Each of the three would do: without the 500, 350 mm are left; without another, more.
    assert_eq!(again.plan.figures.scrap, Um::ZERO);
}

#[test]
fn a_longer_coil_takes_what_saves_scrap() {
    // Coil 0 has 90 mm more than its pieces need, which is scrap; coil 1 ends with a long remnant. To change the 700 for the 790
    // fills coil 0.
    let problem = problem(&[900, 700, 790, 1000], &[1690, 5000]);
    let former = [mount(0, 0), cut(0, 0), cut(1, 0), mount(1, 1), cut(3, 1), cut(2, 1)];
    let again = replan(&problem, &former, &[]);
    assert_eq!(again.plan.figures.scrap, Um::ZERO);
    assert!(again.moves.moved <= 2, "{:?}", again.moves);
}

#[test]
fn within_the_tolerance_nothing_moves() {
    let problem = problem(&[900, 700, 710, 1000], &[1610, 5000]);
    let former = [mount(0, 0), cut(0, 0), cut(1, 0), mount(1, 1), cut(3, 1), cut(2, 1)];
    let again = replan(&problem, &former, &[]);
    assert_eq!(again.moves, Moves { kept: 4, ..Moves::default() });
    assert_eq!(again.plan.figures.scrap, mm(10));
    let strict = ReplanPolicy { scrap_tolerance: Um::ZERO, ..ReplanPolicy::default() };
    let floor = Disturbed { problem: &problem, former: &former, open: &[], kin: &[] };
    let strict = Replanner { policy: strict, ..Replanner::default() }.replan(&floor, &|| false).unwrap();
    assert_eq!(strict.plan.figures.scrap, Um::ZERO);
    assert_eq!(strict.moves.moved, 2);
}

#[test]
fn a_lost_piece_goes_back_to_the_coil_of_its_note_else_to_its_lot() {
    // Piece 0 was cut from coil 0, spoilt, and is to be cut again; the coil is full with piece 1 of another note.
    let mut problem = problem(&[700, 900], &[1000, 2000, 2000]);
    problem.policy.unison = Unison::Preferred;
    problem.coils[2].lot = 7;
    let kin = |coil: Option<u32>, lot| [Some(Kin { coil: coil.map(CoilIndex), lot: Some(lot) }), None];
    let former = [mount(0, 0), cut(1, 0)];
    let again = replan(&problem, &former, &kin(Some(0), 0));
    let mut found = cuts(&again.plan.steps);
    found.sort_unstable();
    assert_eq!(found, [(0, 0), (1, 1)], "the other piece makes way");
    problem.coils[0].available = mm(900);
    let again = replan(&problem, &former, &kin(None, 7));
    let mut found = cuts(&again.plan.steps);
    found.sort_unstable();
    assert_eq!(found, [(0, 2), (1, 0)], "the coil is gone, but there is another of the lot");
}

#[test]
fn a_lost_piece_whose_unisons_wait_stays_with_them() {
    // Pieces 0 and 1 are of one note; 0 was spoilt before 1 was cut, and the coil has no wire to spare for it.
    let mut problem = problem(&[700, 690, 600], &[1990, 3000]);
    problem.policy.unison = Unison::Hard;
    problem.pieces[1].group = GroupIndex(0);
    let former = [mount(0, 0), cut(1, 0), cut(2, 0)];
    let again = replan(&problem, &former, &[]);
    assert_eq!(again.plan.figures.groups_split, 0);
    assert!(again.plan.uncut.is_empty());
}

#[test]
fn what_waits_of_a_hard_note_stays_together_when_its_cut_part_lies_elsewhere() {
    // A note of three: one was cut from coil 0, which then gave no more; the others went to coil 1, where piece 0 was spoilt.
    // Coil 0 has wire for it again, but not for both that wait.
    let mut problem = problem(&[700, 690], &[800, 3000]);
    problem.policy.unison = Unison::Hard;
    problem.pieces[1].group = GroupIndex(0);
    problem.coils[1].mounted_at = Some(0);
    let kin = Some(Kin { coil: Some(CoilIndex(0)), lot: Some(0) });
    let again = replan(&problem, &[cut(1, 1)], &[kin, kin]);
    let mut found = cuts(&again.plan.steps);
    found.sort_unstable();
    assert_eq!(found, [(0, 1), (1, 1)]);
    assert_eq!(again.moves, Moves { kept: 1, added: 1, ..Moves::default() });
}

#[test]
fn a_hard_note_that_a_former_plan_tore_is_cut_from_one_coil() {
    // The former plan was made while notes were allowed to be split.
    let mut problem = problem(&[700, 690], &[1500, 3000]);
    problem.policy.unison = Unison::Hard;
    problem.pieces[1].group = GroupIndex(0);
    let again = replan(&problem, &[mount(0, 0), cut(0, 0), mount(1, 1), cut(1, 1)], &[]);
    assert_eq!((again.plan.figures.groups_split, again.plan.uncut.len()), (0, 0));
    assert_eq!(again.moves.kept, 1);
}

#[test]
fn a_coil_that_is_gone_moves_its_pieces_only() {
    let mut problem = problem(&[900, 700, 500, 800], &[0, 1800, 3000]);
    problem.coils[2] = sealed(3000, 1);
    let former = [mount(0, 0), cut(0, 0), cut(1, 0), mount(1, 1), cut(3, 1), cut(2, 1)];
    let again = replan(&problem, &former, &[]);
    assert!(again.plan.uncut.is_empty());
    assert_eq!((again.moves.kept, again.moves.moved, again.moves.forced), (2, 0, 2));
}

#[test]
fn a_rush_job_does_not_displace_serials_that_lie_in_trays() {
    let mut problem = problem(&[400, 400, 400, 400], &[4000]);
    problem.serials = 3;
    problem.station.trays = 2;
    // Serial 0 is the rush job; 1 lies in a tray, 2 does not yet.
    for (piece, serial) in problem.pieces.iter_mut().zip([1, 2, 2, 0]) {
        piece.serial = SerialIndex(serial);
    }
    problem.coils[0].mounted_at = Some(0);
    let former = [cut(0, 0), cut(1, 0), cut(2, 0)];
    let open = [SerialIndex(1)];
    let floor = Disturbed { problem: &problem, former: &former, open: &open, kin: &[] };
    let again = Replanner::default().replan(&floor, &|| false).unwrap();
    assert_eq!(check_plan(&problem, &again.plan), Ok(()));
    assert_eq!(again.moves, Moves { kept: 3, added: 1, ..Moves::default() });
}

#[test]
fn a_cut_that_was_put_in_out_of_order_gets_its_place() {
    let problem = problem(&[900, 700, 500], &[2200]);
    let former = [mount(0, 0), cut(2, 0), cut(0, 0), cut(1, 0)];
    let again = replan(&problem, &former, &[]);
    assert_eq!(cuts(&again.plan.steps), [(0, 0), (1, 0), (2, 0)]);
    assert_eq!(again.moves, Moves { kept: 3, reordered: 1, ..Moves::default() });
}

#[test]
fn calm_last_puts_the_objective_first() {
    // Coil 0 was lost. What it gave fits on the opened coil 1 if the piece there moves to the sealed one that must be opened
    // anyway, or without a move at the price of a mounting more; either way one policy is no worse in its own terms.
    let mut problem = problem(&[900, 700, 500], &[0, 1700, 900]);
    problem.coils[2] = sealed(900, 1);
    let former = [mount(0, 0), cut(0, 0), cut(1, 0), mount(1, 1), cut(2, 1)];
    let floor = Disturbed { problem: &problem, former: &former, open: &[], kin: &[] };
    let by = |calm| {
        let policy = ReplanPolicy { calm, ..ReplanPolicy::default() };
        Replanner { policy, ..Replanner::default() }.replan(&floor, &|| false).unwrap()
    };
    let (calm, last) = (by(Calm::AfterScrap), by(Calm::Last));
    assert!(calm.moves.moved <= last.moves.moved);
    assert!(last.plan.figures.coils_opened <= calm.plan.figures.coils_opened);
    assert!(calm.plan.uncut.is_empty() && last.plan.uncut.is_empty());
}

#[test]
fn an_unsound_problem_is_refused() {
    let mut problem = problem(&[900], &[1000]);
    problem.station.trays = 0;
    let floor = Disturbed { problem: &problem, former: &[], open: &[], kin: &[] };
    assert!(Replanner::default().replan(&floor, &|| false).is_err());
}

fn any_trouble() -> impl Strategy<Value = Trouble> {
    let checks = prop_oneof![Just(vec![]), Just(vec![3_000_000]), Just(vec![8_000_000, 2_500_000])];
    (0..20_000i64, 0..100_000i64, 0..60_000i64, checks, prop_oneof![Just(0), Just(3_000_000)]).prop_map(
        |(spread_ppm, spoilt_ppm, taken_ppm, checks, bench)| Trouble {
            spread_ppm,
            spoilt_ppm,
            taken_ppm,
            checks,
            bench,
            replan: true,
        },
    )
}

/// Whatever happens on a floor, until nothing is left to do.
fn follow(
    problem: &Problem,
    plan: &Plan,
    trouble: Trouble,
    seed: u64,
    rush: Option<(usize, &[Piece])>,
) -> Shop {
    let mut shop = Shop::new(problem, trouble, seed);
    shop.steps.clone_from(&plan.steps);
    let at_first: i64 = shop.coils.iter().map(|coil| coil.truth).sum();
    let mut rush = rush;
    let mut steps = 0;
    while let Some(mut changed) = shop.go_on() {
        steps += 1;
        assert!(steps < 20 * (problem.pieces.len() + problem.coils.len() + 20), "the floor goes in circles");
        if let Some((_, pieces)) = rush.take_if(|(after, _)| steps > *after) {
            shop.rush(pieces);
            changed = true;
        }
        if changed {
            let cut_before = shop.cut_from.clone();
            shop.replan(&Replanner::default(), &mut || 0, |change| {
                assert_eq!(change.faults(), Vec::<String>::new());
                let floor = Disturbed {
                    problem: change.problem,
                    former: change.former,
                    open: change.open,
                    kin: change.kin,
                };
                let again = Replanner::default().replan(&floor, &|| false).unwrap();
                assert_eq!(&again, change.replanned, "the same floor has the same plan");
            })
            .unwrap();
            assert_eq!(shop.cut_from, cut_before);
        }
        assert_eq!(shop.lost_count(at_first), 0);
    }
    shop
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Over any history: every plan passes the checker and fits in the trays, what is cut stays cut, no piece is forgotten, no
    /// wire appears or vanishes, and the same floor has the same plan.
    #[test]
    fn random_floors_lose_nothing(
        problem in any_problem(),
        trouble in any_trouble(),
        seed in any::<u64>(),
        rush in prop::option::of((0..40usize, 0..4usize)),
    ) {
        let plan = BestPlanner::default().plan(&problem).unwrap();
        let added: Vec<Piece> = rush.map_or(Vec::new(), |(_, n)| problem.pieces.iter().take(n).copied().collect());
        let rush = rush.filter(|_| !added.is_empty()).map(|(after, _)| (after, added.as_slice()));
        let shop = follow(&problem, &plan, trouble, seed, rush);
        let missing = shop.cut_from.iter().filter(|from| from.is_none()).count();
        prop_assert_eq!(missing, shop.tally.missing);
    }

    /// A plan that meets the floor which it was made for is not touched, however far it has come.
    #[test]
    fn a_plan_that_holds_is_kept(problem in any_problem(), done in 0..60usize) {
        let plan = BestPlanner::default().plan(&problem).unwrap();
        let trouble = Trouble { spread_ppm: 0, spoilt_ppm: 0, taken_ppm: 0, checks: vec![], bench: 0, replan: true };
        let mut shop = Shop::new(&problem, trouble, 1);
        shop.steps.clone_from(&plan.steps);
        for _ in 0..done {
            if shop.go_on().is_none() {
                break;
            }
        }
        let before = shop.steps.clone();
        shop.replan(&Replanner::default(), &mut || 0, |change| {
            assert_eq!(change.faults(), Vec::<String>::new());
            // What was uncut for lack of wire may be tried again, at the price of moves.
            if plan.uncut.is_empty() {
                assert_eq!((change.replanned.moves.moved, change.replanned.moves.forced), (0, 0));
            }
        }).unwrap();
        if plan.uncut.is_empty() {
            prop_assert_eq!(cuts(&before), cuts(&shop.steps));
        }
    }

    /// Equal sealed coils are opened in their order of receipt, also where older ones have come back since the former plan and
    /// another is gone.
    #[test]
    fn coils_that_came_back_are_opened_first(problem in any_problem(), gone in any::<prop::sample::Index>()) {
        let mut problem = problem;
        problem.policy.fifo = true;
        for coil in problem.coils.iter_mut().filter(|coil| !coil.opened && coil.mounted_at.is_none()) {
            (coil.available, coil.margin) = (mm(4_000), Um::ZERO);
        }
        let former = BestPlanner::default().plan(&problem).unwrap().steps;
        for coil in &mut problem.coils {
            coil.received_rank = 1_000 - coil.received_rank;
        }
        if !problem.coils.is_empty() {
            let at = gone.index(problem.coils.len());
            (problem.coils[at].available, problem.coils[at].opened) = (Um::ZERO, true);
        }
        let floor = Disturbed { problem: &problem, former: &former, open: &[], kin: &[] };
        let again = Replanner::default().replan(&floor, &|| false).unwrap();
        prop_assert_eq!(check_plan(&problem, &again.plan), Ok(()));
    }

    /// With a spare coil of each wire, nothing is missing at the end.
    #[test]
    fn with_wire_enough_every_piece_is_cut(problem in any_problem(), trouble in any_trouble(), seed in any::<u64>()) {
        let mut problem = problem;
        problem.policy = Policy { unison: Unison::Preferred, ..problem.policy };
        let trouble = Trouble { taken_ppm: 0, ..trouble };
        for wire in 0..u32::try_from(problem.wires.len()).unwrap() {
            problem.coils.extend((0..3).map(|n| Coil { wire: becket_planner::WireIndex(wire), ..sealed(200_000, 90 + n) }));
        }
        let plan = BestPlanner::default().plan(&problem).unwrap();
        let shop = follow(&problem, &plan, trouble, seed, None);
        prop_assert_eq!(shop.tally.missing, 0);
    }
}
