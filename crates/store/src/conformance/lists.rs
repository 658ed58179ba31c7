//! Cut lists on the floor.

use becket_floor::{
    CoilGuard, CoilState, CutListState, FloorChange, ListId, LotId, NewCutList, SpoilCause, Spoilage,
    Station, StationId, StepState, spoil,
};
use becket_units::Um;

use super::Factory;
use super::samples::{
    coil, coil_id, commit, confirm, confirming, ctx, finish, list, mm, page, piece_id, plan, serial_id,
    start, station, stock, text,
};
use crate::{CutListFilter, CutStore, JournalStore, Kind, StoreError};

pub async fn a_list_is_cut_from_start_to_end(factory: &impl Factory) {
    let store = factory.open().await;
    let c1 = coil("C1", "L1", "2026-01-01", 10_000);
    stock(&store, vec![c1.clone()]).await;
    let planned =
        plan(&store, "p", list(&c1, "S1", &[("52.1+52.2", 1000), ("52.3+53.1", 990)])).await.unwrap();
    let id = planned.list.header.list_id.clone();
    assert_eq!(store.cut_list(&id).await.unwrap(), planned);
    assert_eq!((id.as_str(), planned.list.header.state), ("L-0001", CutListState::Planned));
    assert_eq!(store.coil(&c1.coil_id).await.unwrap().reserved, mm(2000));

    start(&store, &id).await;
    confirm(&store, &id, 2).await;
    let now = store.coil(&c1.coil_id).await.unwrap();
    assert_eq!((now.coil.cut, now.coil.scrapped, now.coil.remaining), (mm(1000), mm(10), mm(8990)));
    assert_eq!((now.reserved, now.coil.state), (mm(990), CoilState::Opened));
    let bench = store.station(&planned.list.header.station_id).await.unwrap().station;
    assert_eq!(bench.mounted.get(&1), Some(&c1.coil_id));

    // What is stored is what the transition says.
    let before = store.cut_list(&id).await.unwrap().list;
    let change = confirming(&store, &id, 2).await;
    let after = change.applied_to(&before);
    commit(&store, "end", change).await.unwrap();
    assert_eq!(store.cut_list(&id).await.unwrap().list, after);
    let now = store.coil(&c1.coil_id).await.unwrap();
    assert_eq!((now.coil.remaining, now.reserved), (mm(8000), Um::ZERO));
    assert!(now.coil.is_balanced());
    assert!(store.station(&planned.list.header.station_id).await.unwrap().station.mounted.is_empty());

    let list = store.cut_list(&id).await.unwrap().list;
    assert_eq!(list.header.end_us, None);
    finish(&store, &id).await;
    let header = store.cut_list(&id).await.unwrap().list.header;
    assert_eq!((header.state, header.end_us, header.pieces_done), (CutListState::Finished, Some(9), 2));
    let cuts = store.cuts_of_serials(&[serial_id("S1")]).await.unwrap();
    assert_eq!(cuts.iter().map(|cut| cut.piece_id.as_str()).collect::<Vec<_>>(), ["52.1+52.2", "52.3+53.1"]);
    assert_eq!((cuts[0].length, cuts[0].step_number, cuts[0].cut_by.as_str()), (mm(1000), 2, "anna"));
}

pub async fn lists_are_numbered_and_listed(factory: &impl Factory) {
    let store = factory.open().await;
    let c1 = coil("C1", "L1", "2026-01-01", 10_000);
    stock(&store, vec![c1.clone()]).await;
    for serial in ["S1", "S2", "S3"] {
        plan(&store, serial, list(&c1, serial, &[("52.1", 1000)])).await.unwrap();
    }
    start(&store, &ListId::numbered(2)).await;
    let names = |got: &crate::Page<crate::StoredHeader>| -> Vec<String> {
        got.items.iter().map(|stored| stored.header.list_id.to_string()).collect()
    };
    let all = CutListFilter::default();
    let first = store.list_cut_lists(&all, &page(2, None)).await.unwrap();
    assert_eq!(names(&first), ["L-0003", "L-0002"]);
    let second = store.list_cut_lists(&all, &page(2, first.next.as_deref())).await.unwrap();
    assert_eq!((names(&second), second.next), (vec!["L-0001".to_owned()], None));
    let running = CutListFilter { state: Some(CutListState::Running), ..all.clone() };
    let running = store.list_cut_lists(&running, &page(9, None)).await.unwrap();
    assert_eq!(names(&running), ["L-0002"]);
    let full = store.cut_list(&ListId::numbered(2)).await.unwrap().list.header;
    assert_eq!(running.items[0].header, full);
    let foreign = store.list_cut_lists(&all, &page(2, Some("x"))).await;
    assert!(matches!(foreign, Err(StoreError::CursorInvalid)), "{foreign:?}");
    let missing = store.cut_list(&ListId::numbered(9)).await;
    assert!(matches!(missing, Err(StoreError::NotFound { kind: Kind::CutList, .. })), "{missing:?}");
}

pub async fn no_more_is_reserved_than_is_there(factory: &impl Factory) {
    let store = factory.open().await;
    let c1 = coil("C1", "L1", "2026-01-01", 2020);
    stock(&store, vec![c1.clone()]).await;
    plan(&store, "p1", list(&c1, "S1", &[("52.1", 1000)])).await.unwrap();
    let over = plan(&store, "p2", list(&c1, "S2", &[("52.1", 1001)])).await;
    assert!(matches!(&over, Err(StoreError::StockChanged { coil_id }) if *coil_id == c1.coil_id), "{over:?}");
    assert!(matches!(store.cut_list(&ListId::numbered(2)).await, Err(StoreError::NotFound { .. })));
    assert_eq!(store.coil(&c1.coil_id).await.unwrap().reserved, mm(1010));
    // To the last micrometre it is allowed, and the refused plan has used up no number.
    let second = plan(&store, "p3", list(&c1, "S2", &[("52.1", 1000)])).await.unwrap();
    assert_eq!(second.list.header.list_id, ListId::numbered(2));
    let now = store.coil(&c1.coil_id).await.unwrap();
    assert_eq!(now.reserved, now.coil.remaining);
}

pub async fn a_piece_is_on_one_list(factory: &impl Factory) {
    let store = factory.open().await;
    let (c1, c2) = (coil("C1", "L1", "2026-01-01", 10_000), coil("C2", "L1", "2026-01-01", 10_000));
    stock(&store, vec![c1.clone(), c2.clone()]).await;
    let first = plan(&store, "p1", list(&c1, "S1", &[("52.1", 1000)])).await.unwrap().list.header.list_id;
    let again = || list(&c2, "S1", &[("52.1", 1000)]);
    match plan(&store, "p2", again()).await {
        Err(StoreError::PieceClaimed { list_id, piece_id: piece, .. }) => {
            assert_eq!((list_id, piece), (first.clone(), piece_id("52.1")));
        }
        other => panic!("{other:?}"),
    }
    start(&store, &first).await;
    confirm(&store, &first, 2).await;
    assert!(matches!(plan(&store, "p3", again()).await, Err(StoreError::PieceClaimed { .. })));
    let claims = store.claimed_pieces(&[serial_id("S1"), serial_id("S2")]).await.unwrap();
    assert_eq!((claims.len(), claims[0].is_cut), (1, true));
    // The same piece name in another serial is another piece.
    plan(&store, "p4", list(&c2, "S2", &[("52.1", 1000)])).await.unwrap();
}

pub async fn versions_guard_lists(factory: &impl Factory) {
    let store = factory.open().await;
    let c1 = coil("C1", "L1", "2026-01-01", 10_000);
    stock(&store, vec![c1.clone()]).await;
    let planned = plan(&store, "p", list(&c1, "S1", &[("52.1", 1000)])).await.unwrap().list;
    let id = planned.header.list_id.clone();
    let cancel = becket_floor::cancel(&planned, 5).unwrap();
    start(&store, &id).await;
    let stale = commit(&store, "cancel", cancel).await;
    assert!(
        matches!(stale, Err(StoreError::VersionStale { kind: Kind::CutList, current: 2, .. })),
        "{stale:?}"
    );
    let list = store.cut_list(&id).await.unwrap().list;
    assert_eq!((list.header.state, list.header.version, list.steps.len()), (CutListState::Running, 2, 3));
}

pub async fn one_list_runs_at_a_station(factory: &impl Factory) {
    // Two stores of one database, as two processes have them: neither can hold the other up.
    let (store, other) = (factory.open().await, factory.open().await);
    let c1 = coil("C1", "L1", "2026-01-01", 10_000);
    stock(&store, vec![c1.clone()]).await;
    let first = plan(&store, "p1", list(&c1, "S1", &[("52.1", 1000)])).await.unwrap().list;
    let second = plan(&store, "p2", list(&c1, "S2", &[("52.1", 1000)])).await.unwrap().list;
    let starting = becket_floor::start(&second, 2).unwrap();
    start(&store, &first.header.list_id).await;
    match commit(&other, "both", starting.clone()).await {
        Err(StoreError::StationBusy { station_id, running }) => {
            assert_eq!(
                (station_id, running),
                (first.header.station_id.clone(), first.header.list_id.clone())
            );
        }
        started => panic!("{started:?}"),
    }
    assert_eq!(other.cut_list(&second.header.list_id).await.unwrap().list, second);
    // The running list itself goes on, and ends; then the other one starts, and the station is its own.
    confirm(&store, &first.header.list_id, 3).await;
    finish(&store, &first.header.list_id).await;
    commit(&other, "second", starting).await.unwrap();
    // At another station a list starts all the same.
    let elsewhere = Station { station_id: StationId::new("window").unwrap(), ..station(2) };
    store.save_station(&ctx("window"), elsewhere.clone(), None, text()).await.unwrap();
    let third = NewCutList { station_id: elsewhere.station_id, ..list(&c1, "S3", &[("52.1", 1000)]) };
    let third = plan(&store, "p3", third).await.unwrap().list.header.list_id;
    start(&store, &third).await;
}

pub async fn guards_guard_coils(factory: &impl Factory) {
    let store = factory.open().await;
    let c1 = coil("C1", "L1", "2026-01-01", 10_000);
    stock(&store, vec![c1.clone()]).await;
    let id = plan(&store, "p", list(&c1, "S1", &[("52.1", 1000)])).await.unwrap().list.header.list_id;
    start(&store, &id).await;
    let change = confirming(&store, &id, 1).await;
    let set_aside = crate::CoilChange {
        coil_id: c1.coil_id.clone(),
        expected_version: 1,
        booking: None,
        state: CoilState::SetAside,
        held: None,
        decision: None,
        refuse_if: crate::RefuseIf::Never,
        lists: Vec::new(),
        note: String::new(),
    };
    store.change_coil(&ctx("aside"), set_aside, text()).await.unwrap();
    let refused = commit(&store, "k", change).await;
    assert!(
        matches!(&refused, Err(StoreError::StockChanged { coil_id }) if *coil_id == c1.coil_id),
        "{refused:?}"
    );
    // A coil that is set aside is not planned on, either.
    let refused = plan(&store, "p2", list(&c1, "S2", &[("52.1", 1000)])).await;
    assert!(matches!(refused, Err(StoreError::StockChanged { .. })), "{refused:?}");
    let guard =
        |reserved| CoilGuard { coil_id: c1.coil_id.clone(), version: 2, reserved_by_others: Some(reserved) };
    let mut on_guard = list(&c1, "S2", &[]);
    on_guard.steps.clear();
    let refused = store.create_cut_list(&ctx("g1"), on_guard.clone(), vec![guard(mm(1))], text()).await;
    assert!(matches!(refused, Err(StoreError::StockChanged { .. })), "{refused:?}");
    store.create_cut_list(&ctx("g2"), on_guard, vec![guard(mm(1010))], text()).await.unwrap();
}

pub async fn a_refused_change_leaves_nothing(factory: &impl Factory) {
    let store = factory.open().await;
    let (c1, c2) = (coil("C1", "L1", "2026-01-01", 10_000), coil("C2", "L1", "2026-01-01", 10_000));
    stock(&store, vec![c1.clone(), c2.clone()]).await;
    let id = plan(&store, "p", list(&c1, "S1", &[("52.1", 1000)])).await.unwrap().list.header.list_id;
    let other = plan(&store, "q", list(&c2, "S1", &[("53.1", 1000)])).await.unwrap().list;
    start(&store, &id).await;
    confirm(&store, &id, 1).await;
    let list = store.cut_list(&id).await.unwrap();
    let coils = (store.coil(&c1.coil_id).await.unwrap(), store.coil(&c2.coil_id).await.unwrap());
    let entries = store.entries(0, 100, None).await.unwrap();
    let good = confirming(&store, &id, 2).await;

    let mut too_much = good.clone();
    too_much.bookings[0].amount = mm(99_999);
    let mut another_coil = good.clone();
    another_coil.changed_steps[0].coil_id = c2.coil_id.clone();
    let mut taken_piece = good.clone();
    taken_piece.replace_pending = Some(vec![other.steps[1].clone()]);
    let mut mounted_twice = good.clone();
    mounted_twice.mounted = vec![(2, Some(c1.coil_id.clone()))];
    let mut unknown_step = good.clone();
    unknown_step.changed_steps[0].step_number = 77;
    let faulty: [FloorChange; 5] = [too_much, another_coil, taken_piece, mounted_twice, unknown_step];
    for (i, change) in faulty.into_iter().enumerate() {
        let refused = commit(&store, &format!("bad {i}"), change).await;
        assert!(
            matches!(refused, Err(StoreError::ChangeInconsistent { .. } | StoreError::PieceClaimed { .. })),
            "{i}: {refused:?}"
        );
        assert_eq!(store.cut_list(&id).await.unwrap(), list, "{i}");
        let now = (store.coil(&c1.coil_id).await.unwrap(), store.coil(&c2.coil_id).await.unwrap());
        assert_eq!(now, coils, "{i}");
        assert_eq!(store.entries(0, 100, None).await.unwrap(), entries, "{i}");
    }
    commit(&store, "good", good).await.unwrap();
    // What is executed is never executed again, nor taken back.
    let refused = commit(&store, "again", taking_back(&store, &id).await).await;
    assert!(matches!(refused, Err(StoreError::ChangeInconsistent { .. })), "{refused:?}");
}

/// A change that takes back the first cut that is done.
async fn taking_back(store: &impl CutStore, id: &ListId) -> FloorChange {
    let list = store.cut_list(id).await.unwrap().list;
    let mut change = becket_floor::finish(&list, true, 5).unwrap();
    let mut step = list.done()[1].clone();
    step.state = StepState::Pending;
    step.done_us = None;
    change.changed_steps = vec![step];
    change
}

pub async fn spoiled_pieces_are_recut_and_told(factory: &impl Factory) {
    let store = factory.open().await;
    let c1 = coil("C1", "L1", "2026-01-01", 10_000);
    stock(&store, vec![c1.clone()]).await;
    let id = plan(&store, "p", list(&c1, "S1", &[("52.1", 1000), ("52.2", 990)]))
        .await
        .unwrap()
        .list
        .header
        .list_id;
    start(&store, &id).await;
    confirm(&store, &id, 2).await;
    let before = store.cut_list(&id).await.unwrap().list;
    let coils = store.floor_coils(&before.coil_ids(), Some(&id)).await.unwrap();
    let bench = store.station(&before.header.station_id).await.unwrap().station;
    let spoilage = spoil(&before, &coils, &bench, 2, SpoilCause::Broken, None, 7, "anna").unwrap();
    let Spoilage::Recut { change, recut_step_number } = spoilage else { panic!("{spoilage:?}") };
    assert_eq!(recut_step_number, 3);
    let after = change.applied_to(&before);
    commit(&store, "spoil", change).await.unwrap();
    assert_eq!(store.cut_list(&id).await.unwrap().list, after);
    let now = store.coil(&c1.coil_id).await.unwrap();
    assert_eq!((now.coil.cut, now.coil.scrapped, now.reserved), (Um::ZERO, mm(1010), mm(1990)));
    confirm(&store, &id, 1).await;
    let cuts = store.cuts_of_serials(&[serial_id("S1")]).await.unwrap();
    let told: Vec<_> = cuts.iter().map(|cut| (cut.piece_id.as_str(), cut.spoil_cause)).collect();
    assert_eq!(told, [("52.1", Some(SpoilCause::Broken)), ("52.1", None)]);
    let claims = store.claimed_pieces(&[serial_id("S1")]).await.unwrap();
    let told: Vec<_> = claims.iter().map(|claim| (claim.piece_id.as_str(), claim.is_cut)).collect();
    assert_eq!(told, [("52.1", true), ("52.2", false)]);
}

pub async fn a_dropped_plan_frees_wire_and_pieces(factory: &impl Factory) {
    let store = factory.open().await;
    let c1 = coil("C1", "L1", "2026-01-01", 2100);
    stock(&store, vec![c1.clone()]).await;
    let first = plan(&store, "p1", list(&c1, "S1", &[("52.1", 1000), ("52.2", 1000)])).await.unwrap().list;
    commit(&store, "cancel", becket_floor::cancel(&first, 5).unwrap()).await.unwrap();
    assert_eq!(store.coil(&c1.coil_id).await.unwrap().reserved, Um::ZERO);
    let second = plan(&store, "p2", list(&c1, "S1", &[("52.1", 1000), ("52.2", 1000)])).await.unwrap().list;
    start(&store, &second.header.list_id).await;
    confirm(&store, &second.header.list_id, 2).await;
    let running = store.cut_list(&second.header.list_id).await.unwrap().list;
    commit(&store, "finish", becket_floor::finish(&running, true, 6).unwrap()).await.unwrap();
    let ended = store.cut_list(&second.header.list_id).await.unwrap().list;
    assert_eq!(ended.shortages[0].piece_ids, [piece_id("52.2")]);
    assert_eq!((ended.header.pieces_done, ended.header.pieces_pending), (1, 0));
    assert_eq!(store.coil(&c1.coil_id).await.unwrap().reserved, Um::ZERO);
    let claims = store.claimed_pieces(&[serial_id("S1")]).await.unwrap();
    assert_eq!(claims.iter().map(|claim| claim.piece_id.as_str()).collect::<Vec<_>>(), ["52.1"]);
}

pub async fn lots_are_traced(factory: &impl Factory) {
    let store = factory.open().await;
    let (c1, c2) = (coil("C1", "L1", "2026-01-01", 10_000), coil("C2", "L2", "2026-01-01", 10_000));
    stock(&store, vec![c1.clone(), c2.clone()]).await;
    for (serial, coil) in [("S2", &c1), ("S1", &c1), ("S3", &c2)] {
        let id = plan(&store, serial, list(coil, serial, &[("9.1", 100), ("52.2", 90)])).await.unwrap();
        let id = id.list.header.list_id;
        start(&store, &id).await;
        confirm(&store, &id, 4).await;
        finish(&store, &id).await;
    }
    let lot = LotId::new("L1").unwrap();
    let first = store.serials_of_lot(&lot, &page(1, None)).await.unwrap();
    assert_eq!(first.items[0].serial_id, serial_id("S1"));
    assert_eq!(first.items[0].piece_ids, [piece_id("9.1"), piece_id("52.2")]);
    assert_eq!((first.items[0].length, &first.items[0].coil_ids), (mm(190), &vec![c1.coil_id]));
    let second = store.serials_of_lot(&lot, &page(1, first.next.as_deref())).await.unwrap();
    assert_eq!((second.items[0].serial_id.as_str(), second.next), ("S2", None));
    let none = LotId::new("L9").unwrap();
    assert!(store.serials_of_lot(&none, &page(9, None)).await.unwrap().items.is_empty());
}

pub async fn a_workplace_tells_what_a_list_finds(factory: &impl Factory) {
    let store = factory.open().await;
    let (c1, c2) = (coil("C1", "L1", "2026-01-01", 10_000), coil("C2", "L1", "2026-01-01", 10_000));
    stock(&store, vec![c1.clone(), c2.clone()]).await;
    store.save_station(&ctx("other"), station_named("other"), None, text()).await.unwrap();
    // The first runs and the second waits at one station, the third runs at another.
    for (serial, station) in [("S1", "bench"), ("S2", "bench"), ("S3", "other")] {
        let of = NewCutList {
            station_id: StationId::new(station).unwrap(),
            ..list(&c1, serial, &[("52.1", 1000)])
        };
        plan(&store, serial, of).await.unwrap();
    }
    start(&store, &ListId::numbered(1)).await;
    confirm(&store, &ListId::numbered(1), 1).await;
    start(&store, &ListId::numbered(3)).await;
    let asked = [c2.coil_id.clone(), coil_id("none"), c1.coil_id.clone()];
    for (number, ahead) in [(1, Um::ZERO), (2, mm(1000)), (3, mm(1000))] {
        let id = ListId::numbered(number);
        let station_id = store.cut_list(&id).await.unwrap().list.header.station_id;
        let found = store.workplace(&station_id, &id, &asked).await.unwrap();
        assert_eq!(found.station, store.station(&station_id).await.unwrap(), "{id}");
        assert_eq!(found.coils, store.floor_coils(&asked, Some(&id)).await.unwrap(), "{id}");
        assert_eq!(found.coils[0].reserved_by_others, mm(if number == 1 { 2020 } else { 2010 }), "{id}");
        let on_floor = store.cut_list_on_floor(&id, &asked).await.unwrap();
        assert_eq!(found.ahead_running[&c1.coil_id], ahead, "{id}");
        assert_eq!(on_floor.ahead_running[&c1.coil_id], ahead, "{id}");
        assert_eq!(found.ahead_running[&c2.coil_id], Um::ZERO, "{id}");
    }
    let missing = store.workplace(&StationId::new("nowhere").unwrap(), &ListId::numbered(1), &asked).await;
    assert!(matches!(missing, Err(StoreError::NotFound { kind: Kind::Station, .. })), "{missing:?}");
}

/// A station with two reel positions.
fn station_named(id: &str) -> Station {
    Station { station_id: StationId::new(id).unwrap(), ..station(2) }
}
