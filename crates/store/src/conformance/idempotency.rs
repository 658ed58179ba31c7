//! Repeats, reused request ids, failures.

use super::Factory;
use super::samples::{coil, confirming, ctx, list, plan, start, stock, text, wire};
use crate::{CutStore, Engine, JournalStore, Outdated, StoreError, StringStore, WriteContext};

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

const DAY_US: i64 = 24 * 3600 * 1_000_000;

/// Answers that are older than a day at a time, but for some of the newest.
fn older_than_a_day(now_us: i64, newest_kept: u32, most: u32) -> Outdated {
    Outdated { now_us, kept_us: DAY_US, newest_kept, most }
}

fn at(request_id: &str, now_us: i64) -> WriteContext {
    WriteContext { now_us, ..ctx(request_id) }
}

pub async fn old_answers_are_dropped_in_batches(factory: &impl Factory) {
    let store = factory.open().await;
    // One each hour; the first at the time 0.
    for hour in 0..30 {
        let id = format!("{hour:02}");
        let ctx = at(&id, hour * DAY_US / 24);
        store.import_wires(&ctx, vec![wire(&id, "1")], text()).await.unwrap();
    }
    let now_us = 29 * DAY_US / 24;
    let kept = async || {
        let mut kept = Vec::new();
        for hour in 0..30 {
            let found = store.find_answer(&ctx(&format!("{hour:02}"))).await;
            match found {
                Ok(Some(_)) => kept.push(hour),
                Err(StoreError::AnswerDropped { sequence }) => assert_eq!(sequence, hour + 1),
                other => panic!("{hour}: {other:?}"),
            }
        }
        kept
    };
    assert_eq!(store.drop_answers(&older_than_a_day(0, 1, 100)).await.unwrap(), 0);
    // Those of the hours 0 to 4 are older than a day; the oldest go first, a few at a time.
    assert_eq!(store.drop_answers(&older_than_a_day(now_us, 1, 3)).await.unwrap(), 3);
    assert_eq!(kept().await, (3..30).collect::<Vec<_>>());
    assert_eq!(store.drop_answers(&older_than_a_day(now_us, 1, 3)).await.unwrap(), 2);
    assert_eq!(store.drop_answers(&older_than_a_day(now_us, 1, 3)).await.unwrap(), 0);
    assert_eq!(kept().await, (5..30).collect::<Vec<_>>());
    // A clock that has jumped ahead by years drops none of the newest.
    for _ in 0..3 {
        store.drop_answers(&older_than_a_day(now_us + 3650 * DAY_US, 20, 100)).await.unwrap();
    }
    assert_eq!(kept().await, (10..30).collect::<Vec<_>>());
    // And where there are fewer than are kept in any case, nothing goes.
    assert_eq!(store.drop_answers(&older_than_a_day(now_us + 3650 * DAY_US, 21, 100)).await.unwrap(), 0);
}

pub async fn what_lost_its_answer_is_never_done_again(factory: &impl Factory) {
    let store = factory.open().await;
    let c1 = coil("C1", "L1", "2026-01-01", 10_000);
    stock(&store, vec![c1.clone()]).await;
    plan(&store, "p", list(&c1, "S1", &[("52.1", 1000), ("52.2", 1000)])).await.unwrap();
    let id = becket_floor::ListId::numbered(1);
    start(&store, &id).await;
    let change = confirming(&store, &id, 2).await;
    store.commit_floor(&ctx("k"), change.clone(), text()).await.unwrap();
    store.import_wires(&ctx("w"), vec![wire("a", "1")], text()).await.unwrap();
    // What changes nothing makes no entry.
    store.import_wires(&ctx("same"), vec![wire("a", "1")], text()).await.unwrap();
    // One that keeps its answer, since it is the newest.
    store.import_wires(&at("newest", 2_000_000), vec![wire("b", "1")], text()).await.unwrap();
    let dropped = store.drop_answers(&older_than_a_day(400 * DAY_US, 1, 100)).await.unwrap();
    assert_eq!(dropped, 7);
    let coil_then = store.coil(&c1.coil_id).await.unwrap();
    let entries = store.entries(0, 100, None).await.unwrap();

    let of = |result: Result<crate::Written, StoreError>| match result {
        Err(StoreError::AnswerDropped { sequence }) => entries
            .iter()
            .find(|entry| entry.sequence == sequence)
            .unwrap_or_else(|| panic!("there is no entry {sequence}"))
            .request_id
            .clone(),
        other => panic!("{other:?}"),
    };
    assert_eq!(of(store.commit_floor(&ctx("k"), change, text()).await), "k");
    // The same id with other content is no new request either, since it cannot be told from a repeat.
    let mut other = ctx("w");
    other.request_digest = [9; 32];
    assert_eq!(of(store.import_wires(&other, vec![wire("c", "1")], text()).await), "w");
    let refused = plan(&store, "p", list(&c1, "S1", &[("60.1", 500)])).await;
    assert!(matches!(refused, Err(StoreError::AnswerDropped { .. })), "{refused:?}");
    // Another caller's, another method's and what made no entry are new.
    let mut others = ctx("w");
    others.actor = "bert".to_owned();
    assert!(!store.import_wires(&others, vec![wire("a", "1")], text()).await.unwrap().repeated);
    let mut method = ctx("w");
    method.method = "test.Suite/Other";
    assert!(!store.import_wires(&method, vec![wire("a", "1")], text()).await.unwrap().repeated);
    assert!(!store.import_wires(&ctx("same"), vec![wire("a", "1")], text()).await.unwrap().repeated);
    assert!(store.import_wires(&ctx("newest"), vec![wire("b", "1")], text()).await.unwrap().repeated);
    assert_eq!(store.coil(&c1.coil_id).await.unwrap(), coil_then);
    assert_eq!(store.entries(0, 100, None).await.unwrap(), entries);
}
