//! Coils, rules, stations.

use becket_floor::{Booking, BookingKind, CoilState, ListId, WireId, forget_coil};
use becket_units::Um;

use super::Factory;
use super::samples::{
    coil, coil_id, commit, confirm, ctx, list, mm, page, plan, start, station, stock, text, told,
};
use crate::{
    CoilChange, CoilChanged, CoilFilter, CutStore, JournalStore, Kind, RefuseIf, StockRule, StoreError,
    Unmounted,
};

pub async fn coils_are_received_all_or_none(factory: &impl Factory) {
    let store = factory.open().await;
    let (answer, outcome) = told();
    let coils = vec![coil("C2", "L1", "2026-01-01", 100), coil("C1", "L1", "2026-01-01", 200)];
    store.receive_coils(&ctx("1"), coils.clone(), answer).await.unwrap();
    assert_eq!(outcome().iter().map(|c| c.coil.clone()).collect::<Vec<_>>(), coils);
    assert_eq!(store.coil(&coil_id("C2")).await.unwrap(), outcome()[0]);
    let more = vec![coil("C3", "L1", "2026-01-01", 100), coil("C1", "L2", "2026-01-01", 5)];
    match store.receive_coils(&ctx("2"), more, text()).await {
        Err(StoreError::AlreadyExists { kind: Kind::Coil, ids }) => assert_eq!(ids, ["C1"]),
        other => panic!("{other:?}"),
    }
    assert!(matches!(store.coil(&coil_id("C3")).await, Err(StoreError::NotFound { kind: Kind::Coil, .. })));
    assert_eq!(store.coil(&coil_id("C1")).await.unwrap().coil, coils[1]);
}

fn change(id: &str, version: i64, booking: Option<(BookingKind, Um)>, state: CoilState) -> CoilChange {
    CoilChange {
        coil_id: coil_id(id),
        expected_version: version,
        booking: booking.map(|(kind, amount)| Booking { coil_id: coil_id(id), kind, amount, finding: None }),
        held: None,
        decision: None,
        state,
        refuse_if: RefuseIf::Never,
        lists: Vec::new(),
        note: "because".to_owned(),
    }
}

pub async fn coils_change_by_version(factory: &impl Factory) {
    let store = factory.open().await;
    store.receive_coils(&ctx("1"), vec![coil("C1", "L1", "2026-01-01", 100)], text()).await.unwrap();
    let less = Some((BookingKind::Adjust, mm(-30)));
    let (answer, outcome) = told::<CoilChanged>();
    store.change_coil(&ctx("2"), change("C1", 1, less, CoilState::Opened), answer).await.unwrap();
    let now = store.coil(&coil_id("C1")).await.unwrap();
    assert_eq!(now, outcome().coil);
    assert_eq!((now.coil.remaining, now.coil.adjusted, now.version), (mm(70), mm(-30), 2));
    let stale = store.change_coil(&ctx("3"), change("C1", 1, less, CoilState::Opened), text()).await;
    assert!(matches!(stale, Err(StoreError::VersionStale { current: 2, .. })), "{stale:?}");
    let too_much = Some((BookingKind::Scrap, mm(71)));
    let refused = store.change_coil(&ctx("4"), change("C1", 2, too_much, CoilState::Opened), text()).await;
    assert!(matches!(refused, Err(StoreError::ChangeInconsistent { .. })), "{refused:?}");
    assert_eq!(store.coil(&coil_id("C1")).await.unwrap(), now);
}

pub async fn reserved_coils_are_not_scrapped(factory: &impl Factory) {
    let store = factory.open().await;
    let c1 = coil("C1", "L1", "2026-01-01", 10_000);
    stock(&store, vec![c1.clone()]).await;
    plan(&store, "p", list(&c1, "S1", &[("52.1", 1000)])).await.unwrap();
    assert_eq!(store.coil(&c1.coil_id).await.unwrap().reserved, mm(1010));
    let mut scrap = change("C1", 1, Some((BookingKind::Scrap, mm(10_000))), CoilState::Scrapped);
    scrap.refuse_if = RefuseIf::Named;
    match store.change_coil(&ctx("s"), scrap, text()).await {
        Err(StoreError::CoilReserved { list_ids, .. }) => assert_eq!(list_ids, [ListId::numbered(1)]),
        other => panic!("{other:?}"),
    }
    // A weighing is not refused: what is there is there. It tells who is short.
    let (answer, outcome) = told::<CoilChanged>();
    let less = Some((BookingKind::Adjust, mm(-9000)));
    store.change_coil(&ctx("w"), change("C1", 1, less, CoilState::Sealed), answer).await.unwrap();
    assert_eq!(outcome().short_list_ids(), [ListId::numbered(1)]);
}

/// A list that has only to take a coil off reserves nothing of it, and needs it on its reel all the same.
pub async fn coils_that_a_step_names_are_not_scrapped(factory: &impl Factory) {
    let store = factory.open().await;
    let c1 = coil("C1", "L1", "2026-01-01", 10_000);
    stock(&store, vec![c1.clone()]).await;
    let id = plan(&store, "p", list(&c1, "S1", &[("52.1", 1000)])).await.unwrap().list.header.list_id;
    start(&store, &id).await;
    confirm(&store, &id, 2).await;
    let now = store.coil(&c1.coil_id).await.unwrap();
    assert_eq!(now.reserved, Um::ZERO);
    let rest = Some((BookingKind::Scrap, now.coil.remaining));
    let mut scrap = change("C1", now.version, rest, CoilState::Scrapped);
    scrap.refuse_if = RefuseIf::Named;
    match store.change_coil(&ctx("s1"), scrap.clone(), text()).await {
        Err(StoreError::CoilReserved { list_ids, .. }) => assert_eq!(list_ids, std::slice::from_ref(&id)),
        other => panic!("{other:?}"),
    }
    assert_eq!(store.coil(&c1.coil_id).await.unwrap(), now);
    confirm(&store, &id, 1).await;
    scrap.expected_version = store.coil(&c1.coil_id).await.unwrap().version;
    store.change_coil(&ctx("s2"), scrap, text()).await.unwrap();
}

/// A list is changed in the same step as the coil that it named, and neither if the other cannot be.
pub async fn lists_change_with_a_coil(factory: &impl Factory) {
    let store = factory.open().await;
    let c1 = coil("C1", "L1", "2026-01-01", 10_000);
    stock(&store, vec![c1.clone()]).await;
    let id = plan(&store, "p", list(&c1, "S1", &[("52.1", 1000)])).await.unwrap().list.header.list_id;
    assert_eq!(store.lists_naming(&c1.coil_id).await.unwrap(), std::slice::from_ref(&id));
    let before = store.cut_list(&id).await.unwrap();
    let dropped = |version| {
        let mut header = before.list.header.clone();
        (header.version, header.pieces_pending) = (version, 0);
        let mut dropped = forget_coil(&before.list, &c1.coil_id).unwrap();
        dropped.header = header;
        dropped
    };
    let lose = |version, list_version| CoilChange {
        refuse_if: RefuseIf::CountedOn,
        lists: vec![dropped(list_version)],
        ..change("C1", version, None, CoilState::SetAside)
    };
    // By itself the coil is held by the list.
    let alone = CoilChange { lists: Vec::new(), ..lose(1, 2) };
    let refused = store.change_coil(&ctx("a"), alone, text()).await;
    assert!(matches!(refused, Err(StoreError::CoilReserved { .. })), "{refused:?}");
    let stale = store.change_coil(&ctx("b"), lose(1, 9), text()).await;
    assert!(matches!(stale, Err(StoreError::VersionStale { kind: Kind::CutList, .. })), "{stale:?}");
    let stale = store.change_coil(&ctx("c"), lose(9, 2), text()).await;
    assert!(matches!(stale, Err(StoreError::VersionStale { kind: Kind::Coil, .. })), "{stale:?}");
    assert_eq!(store.cut_list(&id).await.unwrap(), before);
    assert_eq!(store.coil(&c1.coil_id).await.unwrap().coil.state, CoilState::Sealed);

    store.change_coil(&ctx("d"), lose(1, 2), text()).await.unwrap();
    let coil = store.coil(&c1.coil_id).await.unwrap();
    assert_eq!((coil.coil.state, coil.reserved), (CoilState::SetAside, Um::ZERO));
    let after = store.cut_list(&id).await.unwrap().list;
    assert_eq!((after.header.version, after.pending().len()), (2, 0));
    assert_eq!(store.lists_naming(&c1.coil_id).await.unwrap(), []);
    let told: Vec<String> =
        store.entries(0, 100, None).await.unwrap().into_iter().rev().take(2).map(|e| e.subject).collect();
    assert_eq!(told, ["coils/C1".to_owned(), format!("cutLists/{id}")]);
}

pub async fn a_coil_that_a_list_left_is_taken_off(factory: &impl Factory) {
    let store = factory.open().await;
    let (c1, c2) = (coil("C1", "L1", "2026-01-01", 10_000), coil("C2", "L1", "2026-01-01", 1010));
    stock(&store, vec![c1.clone(), c2.clone()]).await;
    let bench = station(2).station_id;
    let unmount = |request_id: &'static str, position| {
        let (store, bench) = (&store, &bench);
        async move { store.unmount_coil(&ctx(request_id), bench, position, text()).await }
    };
    let id = plan(&store, "p", list(&c1, "S1", &[("52.1", 1000)])).await.unwrap().list.header.list_id;
    start(&store, &id).await;
    confirm(&store, &id, 1).await;
    match unmount("u1", 1).await {
        Err(StoreError::CoilReserved { coil_id, list_ids }) => {
            assert_eq!((coil_id, list_ids), (c1.coil_id.clone(), vec![id.clone()]));
        }
        other => panic!("{other:?}"),
    }
    let empty = unmount("u2", 2).await;
    assert!(matches!(empty, Err(StoreError::PositionEmpty { reel_position: 2, .. })), "{empty:?}");
    let missing = becket_floor::StationId::new("none").unwrap();
    let missing = store.unmount_coil(&ctx("u3"), &missing, 1, text()).await;
    assert!(matches!(missing, Err(StoreError::NotFound { kind: Kind::Station, .. })), "{missing:?}");

    let running = store.cut_list(&id).await.unwrap().list;
    commit(&store, "e", becket_floor::finish(&running, true, 4).unwrap()).await.unwrap();
    // A list that finds the coil on its reel is told; one that mounts it itself is not.
    let mut finds = list(&c1, "S2", &[("52.1", 500)]);
    finds.steps.remove(0);
    (1..).zip(&mut finds.steps).for_each(|(number, step)| step.step_number = number);
    let finds = plan(&store, "p2", finds).await.unwrap().list.header.list_id;
    plan(&store, "p3", list(&c1, "S3", &[("52.1", 500)])).await.unwrap();
    let before = store.coil(&c1.coil_id).await.unwrap();
    let (answer, outcome) = told::<Unmounted>();
    store.unmount_coil(&ctx("u4"), &bench, 1, answer).await.unwrap();
    assert_eq!((outcome().coil_id, outcome().list_ids), (c1.coil_id.clone(), vec![finds]));
    assert_eq!(outcome().station, store.station(&bench).await.unwrap());
    assert!(outcome().station.station.mounted.is_empty());
    let after = store.coil(&c1.coil_id).await.unwrap();
    assert_eq!((&after.coil, after.version), (&before.coil, before.version + 1));
    let told = store.entries(0, 100, Some("stations/bench")).await.unwrap();
    assert!(told.last().unwrap().before.as_ref().unwrap().contains("C1"), "{told:?}");
    assert!(unmount("u4", 1).await.unwrap().repeated);

    // Nothing is left on the second coil.
    let id = plan(&store, "p4", list(&c2, "S4", &[("52.1", 1000)])).await.unwrap().list.header.list_id;
    start(&store, &id).await;
    confirm(&store, &id, 2).await;
    let running = store.cut_list(&id).await.unwrap().list;
    commit(&store, "e2", becket_floor::finish(&running, true, 4).unwrap()).await.unwrap();
    unmount("u5", 1).await.unwrap();
    assert_eq!(store.coil(&c2.coil_id).await.unwrap().coil.state, CoilState::UsedUp);
}

pub async fn coils_are_listed(factory: &impl Factory) {
    let store = factory.open().await;
    let coils =
        ["c", "B", "a", "b"].map(|id| coil(id, if id == "a" { "L2" } else { "L1" }, "2026-01-01", 100));
    store.receive_coils(&ctx("1"), coils.to_vec(), text()).await.unwrap();
    store.change_coil(&ctx("2"), change("c", 1, None, CoilState::SetAside), text()).await.unwrap();
    let names = |got: &crate::Page<crate::StoredCoil>| -> Vec<String> {
        got.items.iter().map(|stored| stored.coil.coil_id.to_string()).collect()
    };
    let all = CoilFilter::default();
    let first = store.list_coils(&all, &page(3, None)).await.unwrap();
    assert_eq!(names(&first), ["B", "a", "b"]);
    let second = store.list_coils(&all, &page(3, first.next.as_deref())).await.unwrap();
    assert_eq!((names(&second), second.next), (vec!["c".to_owned()], None));
    let lot = CoilFilter { lot_id: Some(becket_floor::LotId::new("L2").unwrap()), ..CoilFilter::default() };
    assert_eq!(names(&store.list_coils(&lot, &page(9, None)).await.unwrap()), ["a"]);
    let aside = CoilFilter { state: Some(CoilState::SetAside), ..CoilFilter::default() };
    assert_eq!(names(&store.list_coils(&aside, &page(9, None)).await.unwrap()), ["c"]);
    let none = CoilFilter { wire_id: Some(WireId::new("w9").unwrap()), ..CoilFilter::default() };
    assert!(store.list_coils(&none, &page(9, None)).await.unwrap().items.is_empty());
}

pub async fn stock_is_in_order_of_receipt(factory: &impl Factory) {
    let store = factory.open().await;
    let mut other = coil("C0", "L1", "2025-01-01", 5000);
    other.wire_id = WireId::new("w2").unwrap();
    let c1 = coil("C1", "L1", "2026-02-01", 5000);
    let c2 = coil("C2", "L1", "2026-01-01", 5000);
    stock(&store, vec![c1.clone(), c2, other.clone()]).await;
    let first = plan(&store, "p1", list(&c1, "S1", &[("52.1", 1000)])).await.unwrap().list.header.list_id;
    let second = plan(&store, "p2", list(&c1, "S2", &[("52.1", 500)])).await.unwrap().list.header.list_id;
    let seen = |from: Option<ListId>| {
        let store = &store;
        async move {
            let stock = store.stock(&[WireId::new("w1").unwrap()], from.as_ref()).await.unwrap();
            stock.iter().map(|c| (c.coil.coil_id.to_string(), c.reserved_by_others)).collect::<Vec<_>>()
        }
    };
    assert_eq!(seen(None).await, [("C2".to_owned(), Um::ZERO), ("C1".to_owned(), mm(1520))]);
    assert_eq!(seen(Some(first)).await[1].1, mm(510));
    assert_eq!(seen(Some(second)).await[1].1, mm(1010));
    // What is mounted holds a position, whatever its wire.
    let third = plan(&store, "p3", list(&other, "S3", &[("52.1", 500)])).await.unwrap().list.header.list_id;
    start(&store, &third).await;
    confirm(&store, &third, 1).await;
    let stock = store.stock(&[WireId::new("w1").unwrap()], None).await.unwrap();
    assert_eq!(stock[0].coil.coil_id, other.coil_id);
    assert_eq!(stock[0].mounted.as_ref().map(|place| place.reel_position), Some(1));
}

pub async fn rules_are_kept(factory: &impl Factory) {
    let store = factory.open().await;
    let rule =
        |wire: &str, length| StockRule { wire_id: WireId::new(wire).unwrap(), smallest_remnant: mm(length) };
    for (i, rule) in [rule("w2", 5), rule("w1", 6), rule("w2", 300)].into_iter().enumerate() {
        store.set_stock_rule(&ctx(&i.to_string()), rule, text()).await.unwrap();
    }
    let first = store.list_stock_rules(&page(1, None)).await.unwrap();
    assert_eq!(first.items, [rule("w1", 6)]);
    let second = store.list_stock_rules(&page(1, first.next.as_deref())).await.unwrap();
    assert_eq!((second.items, second.next), (vec![rule("w2", 300)], None));
    store.receive_coils(&ctx("c"), vec![coil("C1", "L1", "2026-01-01", 100)], text()).await.unwrap();
    let coils = store.floor_coils(&[coil_id("C1"), coil_id("none")], None).await.unwrap();
    assert_eq!(coils.iter().map(|c| c.smallest_remnant).collect::<Vec<_>>(), [mm(6)]);
}

pub async fn stations_keep_positions_in_use(factory: &impl Factory) {
    let store = factory.open().await;
    let c1 = coil("C1", "L1", "2026-01-01", 10_000);
    stock(&store, vec![c1.clone()]).await;
    let twice = store.save_station(&ctx("2"), station(3), None, text()).await;
    assert!(matches!(twice, Err(StoreError::AlreadyExists { kind: Kind::Station, .. })), "{twice:?}");
    let stale = store.save_station(&ctx("3"), station(3), Some(7), text()).await;
    assert!(matches!(stale, Err(StoreError::VersionStale { current: 1, .. })), "{stale:?}");
    let mut plan_on_two = list(&c1, "S1", &[("52.1", 1000)]);
    plan_on_two.steps.iter_mut().for_each(|step| step.reel_position = 2);
    let id = plan(&store, "p", plan_on_two).await.unwrap().list.header.list_id;
    start(&store, &id).await;
    confirm(&store, &id, 1).await;
    let refused = store.save_station(&ctx("4"), station(1), Some(1), text()).await;
    assert!(
        matches!(&refused, Err(StoreError::PositionsInUse { positions }) if *positions == [2]),
        "{refused:?}"
    );
    let stored = store.station(&station(1).station_id).await.unwrap();
    assert_eq!((stored.version, stored.station.reel_positions), (1, 2));
    assert_eq!(stored.station.mounted.get(&2), Some(&c1.coil_id));
    confirm(&store, &id, 2).await;
    store.save_station(&ctx("5"), station(1), Some(1), text()).await.unwrap();
    assert_eq!(store.list_stations(&page(5, None)).await.unwrap().items[0].version, 2);
    let missing = becket_floor::StationId::new("none").unwrap();
    assert!(matches!(store.station(&missing).await, Err(StoreError::NotFound { kind: Kind::Station, .. })));
}
