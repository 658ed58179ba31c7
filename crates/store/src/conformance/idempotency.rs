//! Repeats, reused request ids, failures.

use super::Factory;
use super::samples::{coil, confirming, ctx, list, plan, start, stock, text, wire};
use crate::{CutStore, Engine, JournalStore, StoreError, StringStore};

pub async fn a_repeat_gets_the_first_answer(factory: &impl Factory) {
    let store = factory.open().await;
    assert_eq!(store.find_answer(&ctx("1")).await.unwrap(), None);
    let first = store.import_wires(&ctx("1"), vec![wire("a", "1")], text()).await.unwrap();
    assert!(!first.repeated);
    store.update_wire(&ctx("2"), 1, wire("a", "2"), text()).await.unwrap();
    let entries = store.entries(0, 100, None).await.unwrap().len();
    // By now the same work would be refused, since "a" has another content.
    let mut later = ctx("1");
    later.now_us += 1;
    let again = store.import_wires(&later, vec![wire("a", "1")], text()).await.unwrap();
    assert!(again.repeated);
    assert_eq!(again.answer, first.answer);
    assert_eq!(store.find_answer(&later).await.unwrap(), Some(first.answer));
    assert_eq!(store.wire("a").await.unwrap().stored.bytes, b"2");
    assert_eq!(store.entries(0, 100, None).await.unwrap().len(), entries);
}

pub async fn a_reused_id_is_refused(factory: &impl Factory) {
    let store = factory.open().await;
    store.import_wires(&ctx("1"), vec![wire("a", "1")], text()).await.unwrap();
    let mut other = ctx("1");
    other.request_digest = [8; 32];
    let refused = store.import_wires(&other, vec![wire("b", "1")], text()).await;
    assert!(matches!(refused, Err(StoreError::RequestIdReused)), "{refused:?}");
    assert!(matches!(store.find_answer(&other).await, Err(StoreError::RequestIdReused)));
    assert!(store.wire("b").await.is_err());
}

pub async fn ids_belong_to_caller_and_method(factory: &impl Factory) {
    let store = factory.open().await;
    store.import_wires(&ctx("1"), vec![wire("a", "1")], text()).await.unwrap();
    let mut caller = ctx("1");
    caller.actor = "bert".to_owned();
    let mut method = ctx("1");
    method.method = "test.Suite/Other";
    for (other, id) in [(caller, "b"), (method, "c")] {
        let written = store.import_wires(&other, vec![wire(id, "1")], text()).await.unwrap();
        assert!(!written.repeated);
        assert!(store.wire(id).await.is_ok());
    }
}

pub async fn a_failed_call_leaves_nothing(factory: &impl Factory) {
    let store = factory.open().await;
    store.import_wires(&ctx("1"), vec![wire("a", "1")], text()).await.unwrap();
    let entries = store.entries(0, 100, None).await.unwrap();
    // "b" comes first and would be stored before the clash is found.
    assert!(store.import_wires(&ctx("2"), vec![wire("b", "1"), wire("a", "2")], text()).await.is_err());
    assert!(store.wire("b").await.is_err());
    assert_eq!(store.entries(0, 100, None).await.unwrap(), entries);
    assert_eq!(store.find_answer(&ctx("2")).await.unwrap(), None);
    let mut mended = ctx("2");
    mended.request_digest = [9; 32];
    assert!(!store.import_wires(&mended, vec![wire("b", "1")], text()).await.unwrap().repeated);
}

pub async fn floor_writes_repeat_too(factory: &impl Factory) {
    let store = factory.open().await;
    let c1 = coil("C1", "L1", "2026-01-01", 10_000);
    stock(&store, vec![c1.clone()]).await;
    let new_list = list(&c1, "S1", &[("52.1+52.2", 1000)]);
    let first = store.create_cut_list(&ctx("p"), new_list.clone(), Vec::new(), text()).await.unwrap();
    let again = store.create_cut_list(&ctx("p"), new_list, Vec::new(), text()).await.unwrap();
    assert_eq!((again.repeated, &again.answer), (true, &first.answer));
    let id = becket_floor::ListId::numbered(1);
    assert!(store.cut_list(&becket_floor::ListId::numbered(2)).await.is_err());
    start(&store, &id).await;
    let change = confirming(&store, &id, 2).await;
    let first = store.commit_floor(&ctx("k"), change.clone(), text()).await.unwrap();
    let before = store.coil(&c1.coil_id).await.unwrap();
    let again = store.commit_floor(&ctx("k"), change, text()).await.unwrap();
    assert_eq!((again.repeated, again.answer), (true, first.answer));
    assert_eq!(store.coil(&c1.coil_id).await.unwrap(), before);
    // And a second plan under a new id meets the claim of the first.
    assert!(plan(&store, "p2", list(&c1, "S1", &[("52.1+52.2", 1000)])).await.is_err());
}
