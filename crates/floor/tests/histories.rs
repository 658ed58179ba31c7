//! Random days at the wire station. What must always hold is checked by the shop after every change.
#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

#[allow(dead_code, reason = "each binary of tests uses a part of the shop")]
mod shop;

use becket_floor::{CoilState, FloorError, PlanPolicy, Unison, finish};
use becket_units::Um;
use proptest::prelude::*;
use shop::{Shop, coil, mm, need};

#[derive(Debug, Clone)]
enum Event {
    Confirm(u32),
    SpoilDone(usize),
    SpoilNext(Option<i64>),
    Believe(usize, i64),
    Weigh(usize, i64, bool),
    RunOut(Option<i64>),
    SetAside(usize),
    Return(usize),
    OthersReserve(usize, i64),
    Replan,
}

fn event() -> impl Strategy<Value = Event> {
    prop_oneof![
        6 => (1_u32..6).prop_map(Event::Confirm),
        2 => any::<usize>().prop_map(Event::SpoilDone),
        2 => proptest::option::of(0_i64..3000).prop_map(Event::SpoilNext),
        1 => (any::<usize>(), 0_i64..9000).prop_map(|(coil, length)| Event::Believe(coil, length)),
        1 => (any::<usize>(), 0_i64..9000, any::<bool>()).prop_map(|(coil, length, yes)| Event::Weigh(coil, length, yes)),
        1 => proptest::option::of(0_i64..2500).prop_map(Event::RunOut),
        1 => any::<usize>().prop_map(Event::SetAside),
        1 => any::<usize>().prop_map(Event::Return),
        1 => (any::<usize>(), 0_i64..4000).prop_map(|(coil, length)| Event::OthersReserve(coil, length)),
        1 => Just(Event::Replan),
    ]
}

/// Refusals that a day can bring; any other one is a fault.
fn expected(refusal: &FloorError) -> bool {
    matches!(
        refusal,
        FloorError::CoilStateForbids { .. }
            | FloorError::CountOutOfRange { .. }
            | FloorError::StepNotNext { next: None, .. }
            | FloorError::CoilNotMounted { .. }
            | FloorError::NotSpoilable { .. }
            | FloorError::NoRunOut { .. }
    )
}

fn happen(shop: &mut Shop, event: Event) {
    let ids: Vec<_> = shop.coils.keys().cloned().collect();
    let pick = |n: usize| ids[n % ids.len()].clone();
    let refusal = match event {
        Event::Confirm(count) => shop.confirm(count).err(),
        Event::SpoilDone(n) => {
            let done: Vec<u32> =
                shop.list.done().iter().filter(|s| s.is_good_cut()).map(|s| s.step_number).collect();
            (!done.is_empty()).then(|| shop.spoil(done[n % done.len()], None).err()).flatten()
        }
        Event::SpoilNext(lost) => {
            let next = shop.list.next().map(|step| step.step_number);
            let refusal = next.and_then(|number| shop.spoil(number, lost.map(mm)).err());
            // More than the coil can have held.
            refusal.filter(|refusal| !(lost.is_some() && matches!(refusal, FloorError::Invalid(_))))
        }
        Event::Believe(n, length) => {
            shop.believe(&pick(n), length);
            None
        }
        Event::Weigh(n, length, accept) => {
            shop.weigh(&pick(n), length, accept);
            None
        }
        Event::RunOut(left) => {
            let next = shop.list.next().map(|step| step.step_number);
            let refusal = next.and_then(|number| shop.run_out(number, left.map(mm)).err());
            // Enough for the piece.
            refusal.filter(|refusal| !(left.is_some() && matches!(refusal, FloorError::Invalid(_))))
        }
        Event::SetAside(n) => {
            let (coil, version) = shop.coils.get_mut(&pick(n)).unwrap();
            if let Ok(state) = coil.set_aside() {
                coil.state = state;
                *version += 1;
            }
            None
        }
        Event::Return(n) => {
            let (coil, version) = shop.coils.get_mut(&pick(n)).unwrap();
            if let Ok(state) = coil.return_to_stock() {
                coil.state = state;
                *version += 1;
            }
            None
        }
        Event::OthersReserve(n, length) => {
            shop.reserved_by_others.insert(pick(n), mm(length));
            None
        }
        Event::Replan => {
            shop.replan();
            None
        }
    };
    if let Some(refusal) = refusal {
        assert!(expected(&refusal), "{refusal:?}");
    }
}

fn unison() -> impl Strategy<Value = Unison> {
    prop_oneof![Just(Unison::Hard), Just(Unison::Preferred), Just(Unison::Off)]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    #[test]
    fn books_and_steps_always_agree(
        coils in proptest::collection::vec(100_i64..9000, 1..5),
        lengths in proptest::collection::vec(proptest::collection::vec(200_i64..2500, 0..7), 1..4),
        positions in 1_u32..4,
        rule in unison(),
        margin in 0_i64..200,
        events in proptest::collection::vec(event(), 0..40),
    ) {
        let coils = coils.iter().enumerate().map(|(i, length)| coil(&format!("C{i}"), *length)).collect();
        let needs: Vec<_> = lengths.iter().enumerate().map(|(i, l)| need(&format!("S{i}"), l)).collect();
        let wanted: usize = lengths.iter().map(Vec::len).sum();
        let policy = PlanPolicy { unison_rule: rule, coil_margin: mm(margin), ..PlanPolicy::default() };
        let mut shop = Shop::new(coils, needs, positions, policy);
        shop.start();
        for event in events {
            let short = shop.list.shortages.clone();
            let replans = matches!(event, Event::Replan);
            happen(&mut shop, event);
            // No piece gets lost: it is cut, to be cut, or told as short. A new plan of what is pending drops what was
            // short before, so put that back.
            if replans {
                shop.list.shortages.splice(0..0, short);
            }
            let told: usize = shop.list.shortages.iter().map(|s| s.piece_ids.len()).sum();
            let header = &shop.list.header;
            let on_list = usize::try_from(header.pieces_done + header.pieces_pending).unwrap();
            prop_assert_eq!(on_list + told, wanted);
        }
        let change = finish(&shop.list, true, 9).unwrap();
        shop.commit(&change);
        prop_assert!(shop.list.pending().is_empty());
        for (coil, _) in shop.coils.values() {
            prop_assert!(coil.state != CoilState::UsedUp || coil.remaining == Um::ZERO);
        }
    }

    #[test]
    fn an_undisturbed_day_goes_through(
        coils in proptest::collection::vec(1000_i64..9000, 1..5),
        lengths in proptest::collection::vec(proptest::collection::vec(200_i64..2500, 0..7), 1..4),
        positions in 1_u32..4,
        rule in unison(),
    ) {
        let coils = coils.iter().enumerate().map(|(i, length)| coil(&format!("C{i}"), *length)).collect();
        let needs: Vec<_> = lengths.iter().enumerate().map(|(i, l)| need(&format!("S{i}"), l)).collect();
        let policy = PlanPolicy { unison_rule: rule, ..PlanPolicy::default() };
        let mut shop = Shop::new(coils, needs, positions, policy);
        let planned = shop.list.clone();
        shop.start();
        while shop.list.next().is_some() {
            shop.confirm(1).unwrap();
        }
        // Everything came out as it was planned, to the micrometre.
        for (plan, done) in planned.steps.iter().zip(&shop.list.steps) {
            prop_assert_eq!((plan.length, plan.remaining_after, plan.tail_use, plan.opens_coil),
                (done.length, done.remaining_after, done.tail_use, done.opens_coil));
        }
        prop_assert_eq!(planned.header.figures, shop.list.header.figures);
        prop_assert!(shop.coils.values().all(|(coil, _)| coil.adjusted == Um::ZERO));
        prop_assert!(shop.station.mounted.is_empty());
    }
}
