//! The journal, and what a restart keeps.

use super::Factory;
use super::samples::{coil, confirm, ctx, list, plan, start, stock, text, wire};
use crate::journal::{GENESIS, first_break};
use crate::{CutStore, Engine, JournalStore, StringStore};

async fn a_day(store: &(impl CutStore + StringStore)) {
    store.import_wires(&ctx("w"), vec![wire("a", "1"), wire("b", "1")], text()).await.unwrap();
    store.update_wire(&ctx("u"), 1, wire("a", "2"), text()).await.unwrap();
    let c1 = coil("C1", "L1", "2026-01-01", 10_000);
    stock(store, vec![c1.clone()]).await;
    let planned =
        plan(store, "p", list(&c1, "S1", &[("52.1+52.2", 1000), ("52.3+53.1", 990)])).await.unwrap();
    start(store, &planned.list.header.list_id).await;
    confirm(store, &planned.list.header.list_id, 2).await;
}

pub async fn the_chain_is_whole(factory: &impl Factory) {
    let store = factory.open().await;
    a_day(&store).await;
    let all = store.entries(0, 1000, None).await.unwrap();
    assert_eq!(all.len(), 8);
    assert_eq!(first_break(0, &GENESIS, &all), None);
    assert_eq!(all.iter().map(|entry| entry.sequence).collect::<Vec<_>>(), (1..=8).collect::<Vec<_>>());
    let part = store.entries(2, 3, None).await.unwrap();
    assert_eq!(part, all[2..5]);
    for entry in &all {
        assert_eq!((entry.actor.as_str(), entry.origin.as_str()), ("anna", "127.0.0.1:9"));
        let after: serde_json::Value = serde_json::from_str(entry.after.as_deref().unwrap()).unwrap();
        assert!(after.is_object(), "{entry:?}");
    }
}

pub async fn subjects_can_be_followed(factory: &impl Factory) {
    let store = factory.open().await;
    a_day(&store).await;
    let subjects =
        |entries: Vec<crate::Entry>| -> Vec<String> { entries.into_iter().map(|e| e.subject).collect() };
    let all = subjects(store.entries(0, 1000, None).await.unwrap());
    assert_eq!(
        all,
        [
            "wires/a",
            "wires/b",
            "wires/a",
            "coils/C1",
            "stations/bench",
            "cutLists/L-0001",
            "cutLists/L-0001",
            "cutLists/L-0001"
        ]
    );
    let wire = store.entries(0, 1000, Some("wires/a")).await.unwrap();
    assert_eq!(wire.iter().map(|entry| entry.sequence).collect::<Vec<_>>(), [1, 3]);
    assert_eq!((wire[0].before.as_deref(), wire[1].before.as_deref()), (None, wire[0].after.as_deref()));
    let list = store.entries(6, 1, Some("cutLists/L-0001")).await.unwrap();
    assert_eq!(list.iter().map(|entry| entry.sequence).collect::<Vec<_>>(), [7]);
    assert_eq!(store.entries(0, 10, Some("wires/x")).await.unwrap(), []);
}

pub async fn restart_keeps_everything(factory: &impl Factory) {
    let store = factory.open().await;
    a_day(&store).await;
    let id = becket_floor::ListId::numbered(1);
    let key = store.token_key().await.unwrap();
    let list = store.cut_list(&id).await.unwrap();
    let entries = store.entries(0, 1000, None).await.unwrap();
    let answer = store.find_answer(&ctx("p")).await.unwrap();
    assert!(answer.is_some());
    drop(store);

    let store = factory.open().await;
    store.check().await.unwrap();
    assert_eq!(store.token_key().await.unwrap(), key);
    assert_eq!(store.cut_list(&id).await.unwrap(), list);
    assert_eq!(store.entries(0, 1000, None).await.unwrap(), entries);
    assert_eq!(store.find_answer(&ctx("p")).await.unwrap(), answer);
    // And the work goes on: the chain and the steps continue where they stood.
    confirm(&store, &id, 2).await;
    let more = store.entries(0, 1000, None).await.unwrap();
    assert_eq!((more.len(), first_break(0, &GENESIS, &more)), (entries.len() + 1, None));
}
