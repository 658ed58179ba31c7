//! Many writes at once, by two processes on one database: what every engine must keep apart.

use std::collections::BTreeSet;

use becket_floor::{Booking, BookingKind, Coil, CoilState, ListId, StationId};
use becket_units::Um;
use futures_util::future::join_all;

use super::Factory;
use super::samples::{
    coil, coil_id, commit, confirming, ctx, list, mm, plan, start, station, stock, text, wire,
};
use crate::journal::{GENESIS, first_break};
use crate::{CoilChange, CutStore, JournalStore, StoreError, StringStore};

/// One of two stores, in turn.
fn turn<T>(stores: &[T; 2], at: usize) -> &T {
    &stores[at % 2]
}

pub async fn writers_take_turns(factory: &impl Factory) {
    const WRITES: usize = 40;
    let stores = [factory.open().await, factory.open().await];
    let writes = (0..WRITES).map(|i| {
        let store = turn(&stores, i);
        async move {
            let id = format!("w{i}");
            store.import_wires(&ctx(&id), vec![wire(&id, "1")], text()).await.unwrap();
        }
    });
    join_all(writes).await;
    for store in &stores {
        let entries = store.entries(0, 1000, None).await.unwrap();
        assert_eq!((entries.len(), first_break(0, &GENESIS, &entries)), (WRITES, None));
    }
}

pub async fn simultaneous_repeats_are_one_write(factory: &impl Factory) {
    let stores = [factory.open().await, factory.open().await];
    let writes = (0..8).map(|i| {
        let store = turn(&stores, i);
        async move { store.import_wires(&ctx("1"), vec![wire("a", "1")], text()).await.unwrap() }
    });
    let written = join_all(writes).await;
    assert_eq!(written.iter().filter(|written| !written.repeated).count(), 1);
    assert_eq!(written.iter().map(|written| &written.answer).collect::<BTreeSet<_>>().len(), 1);
    assert_eq!(stores[0].entries(0, 10, None).await.unwrap().len(), 1);
}

/// Ten lists want a third of a coil each, at the same moment and without guards: three get it.
pub async fn a_length_is_promised_once(factory: &impl Factory) {
    let stores = [factory.open().await, factory.open().await];
    let c1 = coil("C1", "L1", "2026-01-01", 3050);
    stock(&stores[0], vec![c1.clone()]).await;
    let plans = (0..10).map(|i| {
        let (store, c1) = (turn(&stores, i), &c1);
        async move { plan(store, &format!("p{i}"), list(c1, &format!("S{i}"), &[("52.1", 1000)])).await }
    });
    let (done, refused): (Vec<_>, Vec<_>) = join_all(plans).await.into_iter().partition(Result::is_ok);
    assert_eq!(done.len(), 3, "{refused:?}");
    for refusal in refused {
        assert!(matches!(refusal, Err(StoreError::StockChanged { .. })), "{refusal:?}");
    }
    let numbers: BTreeSet<_> = done.iter().flatten().map(|list| list.list.header.list_id.clone()).collect();
    assert_eq!(numbers, (1..=3).map(ListId::numbered).collect(), "without gaps");
    let now = stores[1].coil(&c1.coil_id).await.unwrap();
    assert_eq!((now.reserved, now.coil.remaining), (mm(3030), mm(3050)));
}

pub async fn a_piece_is_claimed_once(factory: &impl Factory) {
    let stores = [factory.open().await, factory.open().await];
    let c1 = coil("C1", "L1", "2026-01-01", 100_000);
    stock(&stores[0], vec![c1.clone()]).await;
    let plans = (0..8).map(|i| {
        let (store, c1) = (turn(&stores, i), &c1);
        async move { plan(store, &format!("p{i}"), list(c1, "S1", &[("52.1", 1000)])).await }
    });
    let (done, refused): (Vec<_>, Vec<_>) = join_all(plans).await.into_iter().partition(Result::is_ok);
    assert_eq!(done.len(), 1, "{refused:?}");
    for refusal in refused {
        assert!(matches!(refusal, Err(StoreError::PieceClaimed { .. })), "{refusal:?}");
    }
    assert_eq!(stores[0].coil(&c1.coil_id).await.unwrap().reserved, mm(1010));
}

pub async fn a_version_is_taken_once(factory: &impl Factory) {
    let stores = [factory.open().await, factory.open().await];
    let c1 = coil("C1", "L1", "2026-01-01", 100_000);
    stock(&stores[0], vec![c1.clone()]).await;
    let changes = (0..8).map(|i| {
        let (store, id) = (turn(&stores, i), c1.coil_id.clone());
        let booking =
            Booking { coil_id: id.clone(), kind: BookingKind::Adjust, amount: mm(-1), finding: None };
        let change = CoilChange {
            coil_id: id,
            expected_version: 1,
            booking: Some(booking),
            held: None,
            decision: None,
            state: CoilState::Opened,
            refuse_if: crate::RefuseIf::Never,
            lists: Vec::new(),
            note: String::new(),
        };
        async move { store.change_coil(&ctx(&format!("c{i}")), change, text()).await }
    });
    let (done, refused): (Vec<_>, Vec<_>) = join_all(changes).await.into_iter().partition(Result::is_ok);
    assert_eq!(done.len(), 1);
    for refusal in refused {
        assert!(matches!(refusal, Err(StoreError::VersionStale { current: 2, .. })), "{refusal:?}");
    }
    let now = stores[0].coil(&c1.coil_id).await.unwrap();
    assert_eq!((now.coil.remaining, now.version), (mm(99_999), 2));
}

/// Two lists are started at one station at the same moment: one runs.
pub async fn two_starts_at_one_station_are_one(factory: &impl Factory) {
    let stores = [factory.open().await, factory.open().await];
    let (c1, c2) = (coil("C1", "L1", "2026-01-01", 10_000), coil("C2", "L1", "2026-01-01", 10_000));
    stock(&stores[0], vec![c1.clone(), c2.clone()]).await;
    plan(&stores[0], "p1", list(&c1, "S1", &[("52.1", 1000)])).await.unwrap();
    plan(&stores[0], "p2", list(&c2, "S2", &[("52.1", 1000)])).await.unwrap();
    let starts = (1..=2_u32).map(|number| {
        let store = turn(&stores, number as usize);
        async move {
            let before = store.cut_list(&ListId::numbered(number)).await.unwrap().list;
            commit(store, &format!("s{number}"), becket_floor::start(&before, 2).unwrap()).await
        }
    });
    let (done, refused): (Vec<_>, Vec<_>) = join_all(starts).await.into_iter().partition(Result::is_ok);
    assert_eq!(done.len(), 1, "{refused:?}");
    assert!(matches!(refused[0], Err(StoreError::StationBusy { .. })), "{refused:?}");
}

async fn benches(store: &impl CutStore, names: &[String], coils: Vec<Coil>) {
    store.receive_coils(&ctx("coils"), coils, text()).await.unwrap();
    for name in names {
        let mut bench = station(2);
        bench.station_id = StationId::new(name).unwrap();
        store.save_station(&ctx(name), bench, None, text()).await.unwrap();
    }
}

/// Stations cut side by side, each from a coil of its own and by either process, while somebody weighs: everything is booked once,
/// and every balance is exact.
pub async fn stations_work_side_by_side(factory: &impl Factory) {
    const STATIONS: usize = 4;
    const PIECES: usize = 6;
    let stores = [factory.open().await, factory.open().await];
    let names: Vec<String> = (0..STATIONS).map(|i| format!("bench-{i}")).collect();
    let coils: Vec<Coil> =
        (0..STATIONS).map(|i| coil(&format!("C{i}"), "L1", "2026-01-01", 100_000)).collect();
    benches(&stores[0], &names, coils.clone()).await;
    let working = (0..STATIONS).map(|i| {
        let (stores, names, coils) = (&stores, &names, &coils);
        async move {
            let pieces: Vec<String> = (0..PIECES).map(|piece| format!("{piece}.1")).collect();
            let pieces: Vec<(&str, i64)> = pieces.iter().map(|piece| (piece.as_str(), 1000)).collect();
            let mut new = list(&coils[i], &format!("S{i}"), &pieces);
            new.station_id = StationId::new(&*names[i]).unwrap();
            let id = plan(turn(stores, i), &format!("p{i}"), new).await.unwrap().list.header.list_id;
            start(turn(stores, i), &id).await;
            // Mount, cuts and unmount, each step by the other process.
            for step in 0..PIECES + 2 {
                let store = turn(stores, i + step);
                let change = confirming(store, &id, 1).await;
                commit(store, &format!("k{i}.{step}"), change).await.unwrap();
            }
        }
    });
    let spare = async {
        stores[1]
            .receive_coils(&ctx("spare"), vec![coil("X", "L2", "2026-01-02", 500)], text())
            .await
            .unwrap();
    };
    futures_util::future::join(join_all(working), spare).await;
    for i in 0..STATIONS {
        let now = stores[i % 2].coil(&coil_id(&format!("C{i}"))).await.unwrap();
        assert!(now.coil.is_balanced());
        assert_eq!((now.coil.cut, now.coil.scrapped, now.reserved), (mm(6000), mm(10), Um::ZERO));
    }
    let entries = stores[0].entries(0, 1000, None).await.unwrap();
    let expected = STATIONS + 1 + STATIONS + STATIONS * (2 + PIECES + 2);
    assert_eq!((entries.len(), first_break(0, &GENESIS, &entries)), (expected, None));
    // What follows on another change of the same thing stands behind it.
    for i in 0..STATIONS {
        let list = stores[1]
            .entries(0, 1000, Some(&format!("cutLists/{}", ListId::numbered(u32::try_from(i).unwrap() + 1))))
            .await
            .unwrap();
        let versions: Vec<i64> = list
            .iter()
            .map(|entry| {
                let after: serde_json::Value = serde_json::from_str(entry.after.as_deref().unwrap()).unwrap();
                after["version"].as_i64().unwrap()
            })
            .collect();
        assert!(versions.is_sorted(), "{versions:?}");
    }
}
