//! Each transition and each refusal, on small lists.
#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

#[allow(dead_code, reason = "each binary of tests uses a part of the shop")]
mod shop;

use becket_floor::{
    BookingKind, CoilState, CutListState, FloorError, PlanPolicy, SpoilCause, StepKind, StepState, TailUse,
    Unison, WireId, cancel, confirm, finish, replace_pending, spoil, start,
};
use becket_units::Um;
use shop::{Shop, coil, coil_id, mm, need};

fn small() -> Shop {
    Shop::new(vec![coil("C1", 10_000)], vec![need("S1", &[1000, 990, 900])], 1, PlanPolicy::default())
}

fn running() -> Shop {
    let mut shop = small();
    shop.start();
    shop
}

#[test]
fn a_plan_becomes_steps() {
    let shop = small();
    let told: Vec<_> =
        shop.list.steps.iter().map(|s| (s.kind, s.length, s.remaining_after, s.opens_coil)).collect();
    assert_eq!(
        told,
        [
            (StepKind::Mount, mm(10), mm(9990), true),
            (StepKind::Cut, mm(1000), mm(8990), false),
            (StepKind::Cut, mm(990), mm(8000), false),
            (StepKind::Cut, mm(900), mm(7100), false),
            (StepKind::Unmount, Um::ZERO, mm(7100), false),
        ]
    );
    assert_eq!(shop.list.steps[4].tail_use, Some(TailUse::Keep));
    let figures = shop.list.header.figures;
    assert_eq!(
        (figures.pieces, figures.cut, figures.scrap, figures.remnant),
        (3, mm(2890), mm(10), mm(7100))
    );
    assert_eq!(
        (figures.coils_used, figures.coils_opened, figures.reel_changes, figures.unisons_split),
        (1, 1, 1, 0)
    );
}

#[test]
fn what_the_stock_lacks_is_told() {
    let policy = PlanPolicy { unison_rule: Unison::Off, ..PlanPolicy::default() };
    let shop = Shop::new(vec![coil("C1", 2010)], vec![need("S1", &[1000, 990, 900])], 1, policy);
    assert_eq!(shop.list.shortages.len(), 1);
    let shortage = &shop.list.shortages[0];
    let lacking: i64 = 2890 - shop.list.header.figures.cut.get() / 1000;
    assert_eq!((shortage.length, shortage.piece_ids.len()), (mm(lacking), 1));
    assert_eq!(shop.list.steps.last().map(|step| step.kind), Some(StepKind::Unmount));
}

#[test]
fn wound_cores_can_be_left_out() {
    let mut cores = need("S1", &[1000, 990]);
    cores.pieces[1].kind = becket_floor::PieceKind::WoundCore;
    let policy = PlanPolicy { wound_cores: false, ..PlanPolicy::default() };
    let shop = Shop::new(vec![coil("C1", 10_000)], vec![cores], 1, policy);
    assert_eq!((shop.list.header.pieces_pending, shop.list.shortages.len()), (1, 0));
}

#[test]
fn steps_are_confirmed_in_order_only() {
    let mut shop = small();
    let at = |shop: &Shop, number, count| {
        confirm(&shop.list, &shop.floor_coils(), &shop.station, number, count, 2, "anna").map(|_| ())
    };
    assert!(matches!(
        at(&shop, 1, 1),
        Err(FloorError::ListStateForbids { state: CutListState::Planned, .. })
    ));
    shop.start();
    assert!(matches!(start(&shop.list, 1), Err(FloorError::ListStateForbids { .. })));
    assert_eq!(at(&shop, 2, 1), Err(FloorError::StepNotNext { step_number: 2, next: Some(1) }));
    assert_eq!(at(&shop, 1, 0), Err(FloorError::CountOutOfRange { count: 0, pending: 5, max: 500 }));
    assert_eq!(at(&shop, 1, 6), Err(FloorError::CountOutOfRange { count: 6, pending: 5, max: 500 }));
    assert_eq!(at(&shop, 1, 501), Err(FloorError::CountOutOfRange { count: 501, pending: 5, max: 500 }));
    shop.confirm(5).unwrap();
    assert_eq!(at(&shop, 5, 1), Err(FloorError::StepNotNext { step_number: 5, next: None }));
    let (coil, _) = &shop.coils[&coil_id("C1")];
    assert_eq!(
        (coil.cut, coil.scrapped, coil.remaining, coil.state),
        (mm(2890), mm(10), mm(7100), CoilState::Opened)
    );
    let step = &shop.list.steps[1];
    assert_eq!((step.state, step.done_us, step.done_by.as_str()), (StepState::Done, Some(2), "anna"));
    assert!(shop.station.mounted.is_empty());
}

#[test]
fn reality_wins_over_the_books() {
    let mut shop = running();
    shop.confirm(2).unwrap();
    // The books say 400 mm, and still 990 mm came off.
    shop.believe(&coil_id("C1"), 400);
    let coils = shop.floor_coils();
    let change = confirm(&shop.list, &coils, &shop.station, 3, 1, 2, "anna").unwrap();
    let told: Vec<_> = change.bookings.iter().map(|b| (b.kind, b.amount)).collect();
    assert_eq!(told, [(BookingKind::Adjust, mm(590)), (BookingKind::Cut, mm(990))]);
    shop.commit(&change);
    shop.confirm(2).unwrap();
    let (coil, _) = &shop.coils[&coil_id("C1")];
    assert_eq!((coil.remaining, coil.state), (Um::ZERO, CoilState::UsedUp));
}

#[test]
fn a_short_tail_is_scrapped_unless_somebody_needs_it() {
    let tail = |others: Um, weighed: Option<i64>| {
        let coils = vec![coil("C1", 1300)];
        let mut shop = Shop::new(coils, vec![need("S1", &[1000])], 1, PlanPolicy::default());
        assert_eq!(shop.list.steps[2].tail_use, Some(TailUse::Scrap));
        assert_eq!((shop.list.steps[2].length, shop.list.header.figures.scrap), (mm(290), mm(300)));
        shop.start();
        shop.confirm(2).unwrap();
        shop.reserved_by_others.insert(coil_id("C1"), others);
        if let Some(length) = weighed {
            shop.believe(&coil_id("C1"), length);
        }
        shop.confirm(1).unwrap();
        let (coil, _) = &shop.coils[&coil_id("C1")];
        assert_eq!(shop.list.steps[2].remaining_after, coil.remaining);
        (coil.remaining, coil.scrapped, coil.state, shop.list.steps[2].tail_use.unwrap())
    };
    assert_eq!(tail(Um::ZERO, None), (Um::ZERO, mm(300), CoilState::UsedUp, TailUse::Scrap));
    assert_eq!(tail(mm(100), None), (mm(290), mm(10), CoilState::Opened, TailUse::Keep));
    assert_eq!(tail(Um::ZERO, Some(295)), (Um::ZERO, mm(305), CoilState::UsedUp, TailUse::Scrap));
    assert_eq!(tail(Um::ZERO, Some(2300)), (mm(2300), mm(10), CoilState::Opened, TailUse::Keep));
}

#[test]
fn the_floor_must_be_as_the_step_expects() {
    let mut shop = running();
    let refusal = |shop: &Shop| {
        let number = shop.list.next().unwrap().step_number;
        confirm(&shop.list, &shop.floor_coils(), &shop.station, number, 1, 2, "anna").unwrap_err()
    };
    let c9 = coil_id("C9");
    shop.station.mounted.insert(1, c9.clone());
    assert_eq!(refusal(&shop), FloorError::PositionTaken { reel_position: 1, coil_id: c9 });
    shop.station.mounted.clear();
    shop.station.reel_positions = 0;
    assert_eq!(refusal(&shop), FloorError::PositionMissing { reel_position: 1 });
    shop.station.reel_positions = 2;
    shop.station.mounted.insert(2, coil_id("C1"));
    assert!(matches!(refusal(&shop), FloorError::CoilMountedElsewhere { reel_position: 2, .. }));
    shop.station.mounted.clear();
    shop.coils.get_mut(&coil_id("C1")).unwrap().0.state = CoilState::SetAside;
    assert!(matches!(refusal(&shop), FloorError::CoilStateForbids { state: CoilState::SetAside, .. }));
    shop.coils.get_mut(&coil_id("C1")).unwrap().0.state = CoilState::Sealed;
    shop.confirm(1).unwrap();
    let mounted = std::mem::take(&mut shop.station.mounted);
    assert!(matches!(refusal(&shop), FloorError::CoilNotMounted { step_number: 2, reel_position: 1, .. }));
    shop.station.mounted = mounted;
    let unknown = confirm(&shop.list, &[], &shop.station, 2, 1, 2, "anna").unwrap_err();
    assert_eq!(unknown, FloorError::CoilUnknown { coil_id: coil_id("C1") });
}

#[test]
fn a_done_piece_that_breaks_is_recut_next() {
    let mut shop = running();
    shop.confirm(3).unwrap();
    assert_eq!(shop.spoil(2, None).unwrap(), Some(4));
    let recut = &shop.list.steps[3];
    let piece = recut.piece.as_ref().unwrap();
    assert_eq!((recut.length, recut.remaining_after, piece.recut), (mm(1000), mm(7000), true));
    assert_eq!(recut.reel_position, 1);
    // The numbers and lengths of what follows are reckoned anew.
    assert_eq!(
        shop.list.steps.iter().map(|s| s.remaining_after).collect::<Vec<_>>()[4..],
        [mm(6100), mm(6100)]
    );
    let (coil, _) = &shop.coils[&coil_id("C1")];
    assert_eq!((coil.cut, coil.scrapped), (mm(990), mm(1010)));
    shop.confirm(3).unwrap();
    assert_eq!(shop.list.header.pieces_done, 3);
}

#[test]
fn a_miscut_of_the_next_piece_is_scrap() {
    let mut shop = running();
    shop.confirm(1).unwrap();
    assert_eq!(shop.spoil(2, Some(mm(700))).unwrap(), Some(3));
    let lost = &shop.list.steps[1];
    assert_eq!(
        (lost.state, lost.length, lost.spoil_cause),
        (StepState::Spoiled, mm(700), Some(SpoilCause::Miscut))
    );
    assert_eq!((lost.piece.as_ref().unwrap().length, lost.done_by.as_str()), (mm(1000), "bert"));
    assert_eq!(shop.list.steps[2].length, mm(1000));
    assert_eq!(shop.coils[&coil_id("C1")].0.scrapped, mm(710));
}

/// After the mount, 7990 mm are left of 8 m by the books, and the piece is 1 m.
#[test]
fn no_more_is_lost_than_the_coil_can_have_held() {
    let mut shop = running();
    shop.confirm(1).unwrap();
    let left = shop.coils[&coil_id("C1")].0.remaining;
    let most = left.checked_add(mm(1000)).unwrap();
    let beyond = most.checked_add(Um::new(1)).unwrap();
    let FloorError::Invalid(faults) = shop.spoil(2, Some(beyond)).unwrap_err() else { panic!("no fault") };
    assert_eq!((faults.len(), faults[0].field.as_str()), (1, "lost_length_mm"));
    assert!(faults[0].allowed.contains("weigh it first"), "{faults:?}");
    assert_eq!(shop.coils[&coil_id("C1")].0.adjusted, Um::ZERO);
    shop.spoil(2, Some(most)).unwrap();
    let coil = &shop.coils[&coil_id("C1")].0;
    assert_eq!((coil.remaining, coil.adjusted), (Um::ZERO, mm(1000)));
}

#[test]
fn a_recut_that_the_coil_cannot_give_is_planned_anew() {
    let coils = vec![coil("C1", 1950), coil("C2", 1950)];
    let policy = PlanPolicy { unison_rule: Unison::Off, ..PlanPolicy::default() };
    let mut shop = Shop::new(coils, vec![need("S1", &[1000, 900])], 1, policy);
    shop.start();
    shop.confirm(2).unwrap();
    let recut = shop.spoil(2, None).unwrap().unwrap();
    let step = &shop.list.steps[usize::try_from(recut).unwrap() - 1];
    assert_eq!((step.coil_id.as_str(), step.piece.as_ref().unwrap().recut), ("C2", true));
    let pending = u32::try_from(shop.list.pending().len()).unwrap();
    shop.confirm(pending).unwrap();
    assert_eq!((shop.list.header.pieces_done, shop.list.shortages.len()), (2, 0));
}

#[test]
fn a_recut_without_wire_is_a_shortage() {
    let mut shop = Shop::new(vec![coil("C1", 1300)], vec![need("S1", &[1000])], 1, PlanPolicy::default());
    shop.start();
    shop.confirm(2).unwrap();
    assert_eq!(shop.spoil(2, None).unwrap(), None);
    assert_eq!((shop.list.shortages.len(), shop.list.shortages[0].length), (1, mm(1000)));
    assert_eq!((shop.list.header.pieces_done, shop.list.header.pieces_pending), (0, 0));
}

#[test]
fn what_others_count_on_is_not_taken_for_a_recut() {
    let mut shop = Shop::new(vec![coil("C1", 2500)], vec![need("S1", &[1000])], 1, PlanPolicy::default());
    shop.start();
    shop.confirm(2).unwrap();
    shop.reserved_by_others.insert(coil_id("C1"), mm(600));
    assert_eq!(shop.spoil(2, None).unwrap(), None);
    assert_eq!(shop.list.shortages[0].length, mm(1000));
}

#[test]
fn a_string_may_break_after_the_list_is_finished() {
    let mut shop = running();
    shop.confirm(5).unwrap();
    let change = finish(&shop.list, false, 9).unwrap();
    shop.commit(&change);
    assert_eq!(shop.spoil(2, None).unwrap(), None);
    assert_eq!((shop.list.header.pieces_done, shop.list.shortages[0].length), (2, mm(1000)));
    assert_eq!(shop.list.header.state, CutListState::Finished);
}

#[test]
fn only_a_piece_can_be_spoiled_and_only_once() {
    let mut shop = running();
    let at = |shop: &Shop, number, lost| {
        spoil(&shop.list, &shop.floor_coils(), &shop.station, number, SpoilCause::Broken, lost, 3, "bert")
            .map(|_| ())
    };
    shop.confirm(2).unwrap();
    assert_eq!(at(&shop, 1, None), Err(FloorError::NotSpoilable { step_number: 1 }));
    assert_eq!(at(&shop, 4, None), Err(FloorError::NotSpoilable { step_number: 4 }));
    assert_eq!(at(&shop, 99, None), Err(FloorError::StepMissing { step_number: 99 }));
    assert!(matches!(at(&shop, 2, Some(mm(5))), Err(FloorError::Invalid(_))));
    assert!(matches!(at(&shop, 3, Some(mm(-5))), Err(FloorError::Invalid(_))));
    shop.spoil(2, None).unwrap();
    assert_eq!(at(&shop, 2, None), Err(FloorError::NotSpoilable { step_number: 2 }));
}

#[test]
fn lists_end() {
    let mut shop = running();
    assert_eq!(finish(&shop.list, false, 9), Err(FloorError::StepsPending { pending: 5 }));
    shop.confirm(1).unwrap();
    let cancelled = cancel(&shop.list, 9).unwrap();
    assert_eq!((cancelled.header.state, cancelled.header.end_us), (CutListState::Cancelled, Some(9)));
    assert_eq!(cancelled.applied_to(&shop.list).pending(), []);
    shop.confirm(1).unwrap();
    assert_eq!(cancel(&shop.list, 9), Err(FloorError::PiecesCut { cut: 1 }));
    let change = finish(&shop.list, true, 9).unwrap();
    shop.commit(&change);
    let shortage = &shop.list.shortages[0];
    assert_eq!((shortage.length, shortage.piece_ids.len()), (mm(1890), 2));
    assert!(matches!(finish(&shop.list, true, 9), Err(FloorError::ListStateForbids { .. })));
    assert!(matches!(cancel(&shop.list, 9), Err(FloorError::ListStateForbids { .. })));
}

#[test]
fn a_new_plan_uses_new_stock_and_keeps_what_is_mounted() {
    let mut shop = running();
    shop.confirm(2).unwrap();
    shop.replan();
    let kinds: Vec<_> = shop.list.steps.iter().map(|step| (step.step_number, step.kind)).collect();
    // No second mount: the coil is on its reel.
    assert_eq!(kinds[2..], [(3, StepKind::Cut), (4, StepKind::Cut), (5, StepKind::Unmount)]);
    let done = shop.list.done()[0].clone();
    let planned = becket_floor::PlannedSteps {
        serials: vec![],
        steps: vec![done],
        shortages: vec![],
        quality: Default::default(),
    };
    assert_eq!(replace_pending(&shop.list, planned), Err(FloorError::PlanForeign));
}

#[test]
fn a_plan_for_another_problem_is_refused() {
    let shop = small();
    let frame =
        becket_floor::PlanFrame::build(vec![], shop.floor_coils(), &shop.station, &shop.list.header.policy);
    let step = becket_planner::Step::Cut {
        coil: becket_planner::CoilIndex(7),
        piece: becket_planner::PieceIndex(0),
        remaining_after: Um::ZERO,
    };
    let plan = becket_planner::Plan { steps: vec![step], ..becket_planner::Plan::default() };
    assert_eq!(
        frame.steps(&becket_planner::BestPlan { plan, quality: Default::default() }),
        Err(FloorError::PlanForeign)
    );
}

#[test]
fn notes_that_share_a_piece_form_a_group() {
    let mut chain = need("S1", &[1000, 1000, 1000, 1000, 1000]);
    for (piece, notes) in chain.pieces.iter_mut().zip([vec![40], vec![40, 41], vec![41], vec![42], vec![42]])
    {
        piece.notes = notes;
    }
    chain.pieces[4].wire_id = WireId::new("w2").unwrap();
    let shop = small();
    let frame = becket_floor::PlanFrame::build(
        vec![chain],
        shop.floor_coils(),
        &shop.station,
        &PlanPolicy::default(),
    );
    let groups: Vec<_> = frame.problem().pieces.iter().map(|piece| piece.group).collect();
    assert!(groups[0] == groups[1] && groups[1] == groups[2]);
    assert!(groups[2] != groups[3] && groups[3] != groups[4]);
    assert_eq!(frame.problem().check(), Ok(()));
}
