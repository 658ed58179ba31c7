//! Sound plans, broken at random in ways that are never sound: the checker must catch each.

use becket_planner::{
    BestPlanner, Coil, CoilIndex, Effort, Figures, FirstPlanner, PieceIndex, Plan, Planner, Problem, Step,
    Tail, Violation, check_plan,
};
use becket_units::Um;
use proptest::prelude::*;
use proptest::sample::Index;

use crate::instances::any_problem;

/// A plan that is not empty, with its problem.
fn planned() -> impl Strategy<Value = (Problem, Plan)> {
    let planned = any_problem().prop_map(|problem| {
        let plan = FirstPlanner.plan(&problem).unwrap();
        (problem, plan)
    });
    planned.prop_filter("something is cut", |(_, plan)| !plan.steps.is_empty())
}

fn caught(problem: &Problem, plan: &Plan) -> Vec<Violation> {
    check_plan(problem, plan).err().unwrap_or_default()
}

fn longer(length: Um) -> Um {
    Um::new(length.get() + 1)
}

/// The step with a length that is 1 µm off.
fn off_by_one(step: Step) -> Step {
    match step {
        Step::Mount { coil, position, remaining_after } => {
            Step::Mount { coil, position, remaining_after: longer(remaining_after) }
        }
        Step::Cut { coil, piece, remaining_after } => {
            Step::Cut { coil, piece, remaining_after: longer(remaining_after) }
        }
        Step::Unmount { coil, position, tail } => {
            let tail = match tail {
                Tail::Empty => Tail::Scrap(Um::ZERO),
                Tail::Scrap(length) => Tail::Scrap(longer(length)),
                Tail::Remnant(length) => Tail::Remnant(longer(length)),
            };
            Step::Unmount { coil, position, tail }
        }
    }
}

/// The step with another coil.
fn with_coil(step: Step, coil: CoilIndex) -> Step {
    match step {
        Step::Mount { position, remaining_after, .. } => Step::Mount { coil, position, remaining_after },
        Step::Cut { piece, remaining_after, .. } => Step::Cut { coil, piece, remaining_after },
        Step::Unmount { position, tail, .. } => Step::Unmount { coil, position, tail },
    }
}

fn coil_of(step: Step) -> CoilIndex {
    match step {
        Step::Mount { coil, .. } | Step::Cut { coil, .. } | Step::Unmount { coil, .. } => coil,
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1000, ..ProptestConfig::default() })]

    #[test]
    fn a_dropped_step((problem, mut plan) in planned(), at in any::<Index>()) {
        let at = at.index(plan.steps.len());
        plan.steps.remove(at);
        prop_assert_ne!(caught(&problem, &plan), vec![]);
    }

    #[test]
    fn a_repeated_step((problem, mut plan) in planned(), at in any::<Index>()) {
        let at = at.index(plan.steps.len());
        plan.steps.insert(at, plan.steps[at]);
        prop_assert_ne!(caught(&problem, &plan), vec![]);
    }

    #[test]
    fn a_length_off_by_a_micrometre((problem, mut plan) in planned(), at in any::<Index>()) {
        let at = at.index(plan.steps.len());
        plan.steps[at] = off_by_one(plan.steps[at]);
        prop_assert_ne!(caught(&problem, &plan), vec![]);
    }

    #[test]
    fn another_coil((problem, mut plan) in planned(), at in any::<Index>(), coil in 0..20u32) {
        let at = at.index(plan.steps.len());
        prop_assume!(coil_of(plan.steps[at]) != CoilIndex(coil));
        plan.steps[at] = with_coil(plan.steps[at], CoilIndex(coil));
        prop_assert_ne!(caught(&problem, &plan), vec![]);
    }

    #[test]
    fn another_piece((problem, mut plan) in planned(), at in any::<Index>(), other in 0..130u32) {
        let at = at.index(plan.steps.len());
        if let Step::Cut { coil, piece, remaining_after } = plan.steps[at] {
            prop_assume!(piece != PieceIndex(other));
            plan.steps[at] = Step::Cut { coil, piece: PieceIndex(other), remaining_after };
            prop_assert_ne!(caught(&problem, &plan), vec![]);
        }
    }

    #[test]
    fn two_cuts_of_a_coil_exchanged((problem, mut plan) in planned(), at in any::<Index>()) {
        let at = at.index(plan.steps.len());
        let next = plan.steps.get(at + 1).copied();
        if let (Step::Cut { coil, .. }, Some(Step::Cut { coil: same, .. })) = (plan.steps[at], next)
            && coil == same
        {
            plan.steps.swap(at, at + 1);
            prop_assert_ne!(caught(&problem, &plan), vec![]);
        }
    }

    #[test]
    fn a_cut_moved_to_the_end((problem, mut plan) in planned(), at in any::<Index>()) {
        let at = at.index(plan.steps.len());
        let step = plan.steps.remove(at);
        // The last step takes a coil off, so whatever comes after it is too late.
        plan.steps.push(step);
        prop_assume!(matches!(step, Step::Cut { .. }));
        prop_assert_ne!(caught(&problem, &plan), vec![]);
    }

    #[test]
    fn an_uncut_list_with_one_more_or_less((problem, mut plan) in planned(), piece in 0..130u32) {
        let piece = PieceIndex(piece);
        match plan.uncut.iter().position(|p| *p == piece) {
            Some(at) => drop(plan.uncut.remove(at)),
            None => plan.uncut.push(piece),
        }
        prop_assert_ne!(caught(&problem, &plan), vec![]);
    }

    #[test]
    fn an_altered_figure((problem, mut plan) in planned(), which in 0..8usize) {
        let f = &mut plan.figures;
        let Figures { pieces_cut, cut_length, scrap, remnant_length, coils_used, coils_opened, reel_changes, groups_split } = f;
        match which {
            0 => *pieces_cut += 1,
            1 => *cut_length = longer(*cut_length),
            2 => *scrap = longer(*scrap),
            3 => *remnant_length = longer(*remnant_length),
            4 => *coils_used += 1,
            5 => *coils_opened += 1,
            6 => *reel_changes += 1,
            _ => *groups_split += 1,
        }
        let found = caught(&problem, &plan);
        prop_assert!(matches!(found[..], [Violation::FigureWrong { .. }]), "{:?}", found);
    }

    #[test]
    fn rubbish_is_refused_and_nothing_panics(
        (problem, mut plan) in planned(),
        steps in prop::collection::vec((0..3u8, any::<u32>(), any::<u32>(), any::<i64>(), any::<Index>()), 1..20),
    ) {
        for (kind, coil, other, length, at) in steps {
            // Half of the numbers are small, so that they often name something.
            let (coil, other) = (CoilIndex(coil % (8 << (coil % 2 * 28))), other % (8 << (other % 2 * 28)));
            let step = match kind {
                0 => Step::Mount { coil, position: other, remaining_after: Um::new(length) },
                1 => Step::Cut { coil, piece: PieceIndex(other), remaining_after: Um::new(length) },
                _ => Step::Unmount { coil, position: other, tail: Tail::Remnant(Um::new(length)) },
            };
            plan.steps.insert(at.index(plan.steps.len() + 1), step);
        }
        prop_assert_ne!(caught(&problem, &plan), vec![]);
    }
}

/// First and last cut of each serial of which anything is cut, in due order.
fn spans(problem: &Problem, plan: &Plan) -> Vec<(usize, usize)> {
    let mut spans = std::collections::BTreeMap::new();
    for (at, step) in plan.steps.iter().enumerate() {
        if let Step::Cut { piece, .. } = step {
            spans.entry(problem.pieces[piece.index()].serial).or_insert((at, at)).1 = at;
        }
    }
    spans.into_values().collect()
}

/// Plans in which serials overlap, of both planners.
fn overlapping() -> impl Strategy<Value = (Problem, Plan)> {
    let both = (any_problem(), any::<bool>()).prop_map(|(problem, best)| {
        let quick = BestPlanner { effort: Effort { rounds_per_coil: 0 }, ..BestPlanner::default() };
        let plan = if best { quick.plan(&problem) } else { FirstPlanner.plan(&problem) };
        (problem, plan.unwrap())
    });
    both.prop_filter("serials overlap", |(problem, plan)| {
        let spans = spans(problem, plan);
        spans.iter().enumerate().any(|(i, a)| spans[..i].iter().any(|b| a.0 < b.1 && b.0 < a.1))
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

    #[test]
    fn a_tray_less_than_the_plan_needs((mut problem, plan) in overlapping()) {
        let spans = spans(&problem, &plan);
        let open_at = |at: usize| spans.iter().filter(|(first, last)| *first <= at && at <= *last).count();
        let most = spans.iter().map(|(first, _)| open_at(*first)).max().unwrap();
        problem.station.trays = u32::try_from(most).unwrap();
        prop_assert_eq!(caught(&problem, &plan), vec![]);
        problem.station.trays -= 1;
        let found = caught(&problem, &plan);
        prop_assert!(found.iter().any(|v| matches!(v, Violation::TraysExceeded { .. })), "{:?}", found);
    }

    #[test]
    fn a_due_window_narrower_than_the_plan_needs((mut problem, plan) in overlapping()) {
        let spans = spans(&problem, &plan);
        let mut needed = 0;
        for (late, (begun, _)) in spans.iter().enumerate() {
            for (due, (_, done)) in spans[..late].iter().enumerate() {
                if begun < done {
                    needed = needed.max(late - due);
                }
            }
        }
        prop_assume!(needed > 0);
        problem.policy.due_window = Some(u32::try_from(needed).unwrap());
        prop_assert_eq!(caught(&problem, &plan), vec![]);
        problem.policy.due_window = Some(u32::try_from(needed - 1).unwrap());
        let found = caught(&problem, &plan);
        prop_assert!(found.iter().any(|v| matches!(v, Violation::AheadOfDueOrder { .. })), "{:?}", found);
    }

    #[test]
    fn a_reel_position_less_than_the_plan_needs((mut problem, plan) in planned()) {
        let needed = plan.steps.iter().filter_map(|step| match step {
            Step::Mount { position, .. } => Some(position + 1),
            Step::Cut { .. } | Step::Unmount { .. } => None,
        }).max();
        let held = problem.coils.iter().filter_map(|coil| coil.mounted_at).max().map_or(1, |last| last + 1);
        if let Some(needed) = needed.filter(|needed| *needed > held) {
            problem.station.reel_positions = needed - 1;
            let found = caught(&problem, &plan);
            prop_assert!(found.iter().any(|v| matches!(v, Violation::UnknownPosition { .. })), "{:?}", found);
        }
    }

    #[test]
    fn equal_coils_opened_in_the_wrong_order((mut problem, mut plan) in planned()) {
        let sealed = |c: &CoilIndex| {
            let coil = &problem.coils[c.index()];
            !coil.opened && coil.mounted_at.is_none()
        };
        let opened = plan.steps.iter().find_map(|step| match step {
            Step::Mount { coil, .. } if sealed(coil) => Some(*coil),
            _ => None,
        });
        prop_assume!(opened.is_some());
        // Its twin came before it and is left alone.
        let twin = Coil { received_rank: 0, ..problem.coils[opened.unwrap().index()] };
        problem.coils[opened.unwrap().index()].received_rank = 1;
        problem.coils.push(twin);
        problem.policy.fifo = true;
        let found = caught(&problem, &plan);
        prop_assert!(found.iter().any(|v| matches!(v, Violation::NotFirstIn { .. })), "{:?}", found);
        // The twin in its place is as it should be, with the steps of both exchanged.
        let last = CoilIndex(u32::try_from(problem.coils.len() - 1).unwrap());
        for step in &mut plan.steps {
            if coil_of(*step) == opened.unwrap() {
                *step = with_coil(*step, last);
            }
        }
        let twins = |v: &Violation| matches!(v, Violation::NotFirstIn { coil, .. } if *coil == last);
        prop_assert!(!caught(&problem, &plan).iter().any(twins));
    }
}
