//! Wires, scales, jobs, sets.

use super::Factory;
use super::samples::{ctx, document, page, text, told, wire};
use crate::{
    FrozenSet, JobColumns, JobFilter, JobState, JournalStore, Kind, ScaleStanding, SetStanding, StoreError,
    StringStore,
};

pub async fn wires_are_imported_all_or_none(factory: &impl Factory) {
    let store = factory.open().await;
    let (answer, outcome) = told();
    store.import_wires(&ctx("1"), vec![wire("b", "1"), wire("a", "1")], answer).await.unwrap();
    assert_eq!(outcome().added, ["b", "a"]);
    let (answer, outcome) = told();
    store.import_wires(&ctx("2"), vec![wire("a", "1"), wire("c", "1")], answer).await.unwrap();
    assert_eq!((outcome().added, outcome().unchanged), (vec!["c".to_owned()], vec!["a".to_owned()]));

    let clash = vec![wire("d", "1"), wire("a", "2"), wire("c", "2")];
    match store.import_wires(&ctx("3"), clash, text()).await {
        Err(StoreError::AlreadyExists { kind: Kind::Wire, ids }) => assert_eq!(ids, ["a", "c"]),
        other => panic!("{other:?}"),
    }
    assert!(matches!(store.wire("d").await, Err(StoreError::NotFound { kind: Kind::Wire, .. })));
    assert_eq!(store.wire("a").await.unwrap().stored.bytes, b"1");
}

pub async fn wires_are_updated_by_version(factory: &impl Factory) {
    let store = factory.open().await;
    store.import_wires(&ctx("1"), vec![wire("a", "1")], text()).await.unwrap();
    let generation = store.wires_generation().await.unwrap();
    let mut later = ctx("2");
    later.now_us = 9_000_000;
    let (answer, outcome) = told();
    store.update_wire(&later, 1, wire("a", "2"), answer).await.unwrap();
    let stored = store.wire("a").await.unwrap();
    assert_eq!(stored, outcome());
    assert_eq!((stored.stored.version, stored.stored.bytes.as_slice()), (2, b"2".as_slice()));
    assert_eq!((stored.stored.created_us, stored.stored.updated_us), (1_000_000, 9_000_000));
    assert!(store.wires_generation().await.unwrap() > generation);

    let stale = store.update_wire(&ctx("3"), 1, wire("a", "3"), text()).await;
    assert!(matches!(stale, Err(StoreError::VersionStale { current: 2, .. })), "{stale:?}");
    let missing = store.update_wire(&ctx("4"), 1, wire("x", "3"), text()).await;
    assert!(matches!(missing, Err(StoreError::NotFound { .. })), "{missing:?}");
    assert_eq!(store.wire("a").await.unwrap(), stored);
}

pub async fn wires_are_listed(factory: &impl Factory) {
    let store = factory.open().await;
    let mut odd = wire("m10", "x");
    odd.material = 3;
    let wires = vec![wire("m9", "x"), odd, wire("m-9", "x"), wire("m_9", "x"), wire("m.9", "x")];
    store.import_wires(&ctx("1"), wires, text()).await.unwrap();
    let mut seen = Vec::new();
    let mut after = None;
    loop {
        let got = store.list_wires(None, &page(2, after.as_deref())).await.unwrap();
        assert!(got.items.len() <= 2);
        seen.extend(got.items.into_iter().map(|wire| wire.wire_id));
        after = got.next;
        if after.is_none() {
            break;
        }
    }
    // Byte by byte, whatever a locale says.
    assert_eq!(seen, ["m-9", "m.9", "m10", "m9", "m_9"]);
    let odd = store.list_wires(Some(3), &page(9, None)).await.unwrap();
    assert_eq!(odd.items.iter().map(|wire| wire.wire_id.as_str()).collect::<Vec<_>>(), ["m10"]);
    let some =
        store.wires(&["m9".to_owned(), "none".to_owned(), "m10".to_owned(), "m9".to_owned()]).await.unwrap();
    assert_eq!(some.iter().map(|wire| wire.wire_id.as_str()).collect::<Vec<_>>(), ["m10", "m9"]);
}

pub async fn scales_are_released_for_good(factory: &impl Factory) {
    let store = factory.open().await;
    for (i, (model, revision)) in [("m2", "a"), ("m1", "b"), ("m1", "a")].into_iter().enumerate() {
        store.create_scale(&ctx(&format!("c{i}")), model, revision, document("1"), text()).await.unwrap();
    }
    let twice = store.create_scale(&ctx("again"), "m1", "a", document("1"), text()).await;
    assert!(matches!(twice, Err(StoreError::AlreadyExists { kind: Kind::Scale, .. })), "{twice:?}");
    store.update_scale(&ctx("u"), "m1", "a", 1, document("2"), text()).await.unwrap();
    let stale = store.release_scale(&ctx("r"), "m1", "a", 1, text()).await;
    assert!(matches!(stale, Err(StoreError::VersionStale { current: 2, .. })), "{stale:?}");
    assert_eq!(store.scale("m1", "a").await.unwrap().released_us, None);
    store.release_scale(&ctx("r2"), "m1", "a", 2, text()).await.unwrap();
    let scale = store.scale("m1", "a").await.unwrap();
    assert_eq!(
        (scale.released_us, scale.stored.version, scale.stored.bytes.as_slice()),
        (Some(1_000_000), 3, &b"2"[..])
    );
    let refused = store.update_scale(&ctx("u2"), "m1", "a", 3, document("3"), text()).await;
    assert!(matches!(refused, Err(StoreError::ScaleReleased { .. })), "{refused:?}");
    let refused = store.release_scale(&ctx("r3"), "m1", "a", 3, text()).await;
    assert!(matches!(refused, Err(StoreError::ScaleReleased { .. })), "{refused:?}");

    let first = store.list_scales(None, &page(2, None)).await.unwrap();
    let second = store.list_scales(None, &page(2, first.next.as_deref())).await.unwrap();
    let names = |items: &[crate::StoredScale]| -> Vec<String> {
        items.iter().map(|scale| format!("{}/{}", scale.model_id, scale.revision_id)).collect()
    };
    assert_eq!(
        (names(&first.items), names(&second.items)),
        (vec!["m1/a".into(), "m1/b".into()], vec!["m2/a".into()])
    );
    assert_eq!(second.next, None);
    assert_eq!(names(&store.list_scales(Some("m2"), &page(9, None)).await.unwrap().items), ["m2/a"]);
    let foreign = store.list_scales(None, &page(2, Some("nonsense"))).await;
    assert!(matches!(foreign, Err(StoreError::CursorInvalid)), "{foreign:?}");
}

fn columns(serial: &str, due: &str) -> JobColumns {
    JobColumns { serial_id: serial.to_owned(), due_date: due.to_owned(), station_id: "bench".to_owned() }
}

pub async fn jobs_live_and_end(factory: &impl Factory) {
    let store = factory.open().await;
    store.open_job(&ctx("o"), columns("S1", "2026-12-01"), document("1"), text()).await.unwrap();
    let twice = store.open_job(&ctx("o2"), columns("S1", "2026-12-02"), document("2"), text()).await;
    assert!(matches!(twice, Err(StoreError::AlreadyExists { kind: Kind::Job, .. })), "{twice:?}");
    store.amend_job(&ctx("a"), 1, columns("S1", "2026-12-05"), document("2"), text()).await.unwrap();
    let stale = store.amend_job(&ctx("a2"), 1, columns("S1", "2026-12-06"), document("3"), text()).await;
    assert!(matches!(stale, Err(StoreError::VersionStale { current: 2, .. })), "{stale:?}");
    let no_end = store.close_job(&ctx("c0"), "S1", 2, JobState::Open, text()).await;
    assert!(matches!(no_end, Err(StoreError::JobState { .. })), "{no_end:?}");
    store.close_job(&ctx("c"), "S1", 2, JobState::GivenUp, text()).await.unwrap();
    let job = store.job("S1").await.unwrap();
    assert_eq!((job.state, job.stored.version, job.freeze_us), (JobState::GivenUp, 3, None));
    assert_eq!((job.columns.due_date.as_str(), job.stored.bytes.as_slice()), ("2026-12-05", &b"2"[..]));
    let ended = store.amend_job(&ctx("a3"), 3, columns("S1", "2026-12-07"), document("4"), text()).await;
    assert!(matches!(ended, Err(StoreError::JobState { state: JobState::GivenUp, .. })), "{ended:?}");
    let set = FrozenSet { digest: "d".to_owned(), bytes: vec![1] };
    let ended = store.freeze_set(&ctx("f"), "S1", 3, set, text()).await;
    assert!(matches!(ended, Err(StoreError::JobState { state: JobState::GivenUp, .. })), "{ended:?}");
    assert!(matches!(store.job("S2").await, Err(StoreError::NotFound { kind: Kind::Job, .. })));
}

pub async fn jobs_are_listed_by_due_date(factory: &impl Factory) {
    let store = factory.open().await;
    let jobs = [
        ("b", "2026-12-02"),
        ("B", "2026-12-02"),
        ("a", "2026-12-02"),
        ("z", "2026-12-01"),
        ("y", "2027-01-01"),
    ];
    for (serial, due) in jobs {
        store.open_job(&ctx(serial), columns(serial, due), document(serial), text()).await.unwrap();
    }
    let mut away = columns("x", "2026-11-01");
    away.station_id = "other".to_owned();
    store.open_job(&ctx("x"), away, document("x"), text()).await.unwrap();
    store.close_job(&ctx("end"), "y", 1, JobState::Done, text()).await.unwrap();

    let here = JobFilter { station_id: Some("bench".to_owned()), ..JobFilter::default() };
    let names = |got: &crate::Page<crate::StoredJob>| -> Vec<String> {
        got.items.iter().map(|job| job.columns.serial_id.clone()).collect()
    };
    let first = store.list_jobs(&here, &page(3, None)).await.unwrap();
    assert_eq!(names(&first), ["z", "B", "a"]);
    let second = store.list_jobs(&here, &page(3, first.next.as_deref())).await.unwrap();
    assert_eq!((names(&second), second.next), (vec!["b".to_owned(), "y".to_owned()], None));
    let due = JobFilter { due_by_date: Some("2026-12-01".to_owned()), ..JobFilter::default() };
    assert_eq!(names(&store.list_jobs(&due, &page(9, None)).await.unwrap()), ["x", "z"]);
    let done = JobFilter { state: Some(JobState::Done), ..JobFilter::default() };
    assert_eq!(names(&store.list_jobs(&done, &page(9, None)).await.unwrap()), ["y"]);
    let foreign = store.list_jobs(&here, &page(3, Some("nonsense"))).await;
    assert!(matches!(foreign, Err(StoreError::CursorInvalid)), "{foreign:?}");
}

pub async fn sets_are_frozen_for_good(factory: &impl Factory) {
    let store = factory.open().await;
    store.open_job(&ctx("o"), columns("S1", "2026-12-01"), document("1"), text()).await.unwrap();
    let set = |digest: &str, byte: u8| FrozenSet { digest: digest.to_owned(), bytes: vec![byte] };
    assert_eq!(store.frozen_set("S1").await.unwrap(), None);
    let stale = store.freeze_set(&ctx("f0"), "S1", 9, set("d1", 1), text()).await;
    assert!(matches!(stale, Err(StoreError::VersionStale { current: 1, .. })), "{stale:?}");
    assert_eq!(store.frozen_set("S1").await.unwrap(), None);
    store.freeze_set(&ctx("f1"), "S1", 1, set("d1", 1), text()).await.unwrap();
    let mut later = ctx("f2");
    later.now_us = 5_000_000;
    let (answer, outcome) = told();
    // The same digest again: an older version and other bytes do not matter any more.
    store.freeze_set(&later, "S1", 1, set("d1", 2), answer).await.unwrap();
    assert_eq!(outcome().freeze_us, 1_000_000);
    let other = store.freeze_set(&ctx("f3"), "S1", 2, set("d2", 3), text()).await;
    assert!(matches!(&other, Err(StoreError::SetFrozen { digest, .. }) if digest == "d1"), "{other:?}");
    let (kept, frozen) = store.frozen_set("S1").await.unwrap().unwrap();
    assert_eq!((kept, frozen.freeze_us), (set("d1", 1), 1_000_000));
    let job = store.job("S1").await.unwrap();
    assert_eq!((job.state, job.freeze_us, job.stored.version), (JobState::Frozen, Some(1_000_000), 2));
    store.close_job(&ctx("c"), "S1", 2, JobState::Done, text()).await.unwrap();
    assert!(store.frozen_set("S1").await.unwrap().is_some());
    assert_eq!(store.job("S1").await.unwrap().freeze_us, Some(1_000_000));
    // Who freezes is about to cut, and for a job that has ended nothing is cut any more.
    let ended = store.freeze_set(&ctx("f5"), "S1", 3, set("d1", 1), text()).await;
    assert!(matches!(&ended, Err(StoreError::JobState { state: JobState::Done, .. })), "{ended:?}");
    let missing = store.freeze_set(&ctx("f4"), "S2", 1, set("d1", 1), text()).await;
    assert!(matches!(missing, Err(StoreError::NotFound { .. })), "{missing:?}");
}

pub async fn standings_tell_every_change(factory: &impl Factory) {
    // What one process changes, another one sees at once.
    let (store, other) = (factory.open().await, factory.open().await);
    let standing =
        |job_version, is_frozen, wires_generation| SetStanding { job_version, is_frozen, wires_generation };
    let missing = store.set_standing("S1").await;
    assert!(matches!(missing, Err(StoreError::NotFound { kind: Kind::Job, .. })), "{missing:?}");
    let missing = store.scale_standing("m1", "a").await;
    assert!(matches!(missing, Err(StoreError::NotFound { kind: Kind::Scale, .. })), "{missing:?}");

    other.open_job(&ctx("o"), columns("S1", "2026-12-01"), document("1"), text()).await.unwrap();
    let none = store.wires_generation().await.unwrap();
    assert_eq!(store.set_standing("S1").await.unwrap(), standing(1, false, none));
    other.import_wires(&ctx("i"), vec![wire("a", "1"), wire("b", "1")], text()).await.unwrap();
    let added = store.wires_generation().await.unwrap();
    assert!(added > none);
    assert_eq!(store.set_standing("S1").await.unwrap(), standing(1, false, added));
    other.update_wire(&ctx("w"), 1, wire("b", "2"), text()).await.unwrap();
    let changed = store.wires_generation().await.unwrap();
    assert!(changed > added);
    other.amend_job(&ctx("a"), 1, columns("S1", "2026-12-01"), document("2"), text()).await.unwrap();
    assert_eq!(store.set_standing("S1").await.unwrap(), standing(2, false, changed));
    let set = FrozenSet { digest: "d".to_owned(), bytes: vec![1] };
    other.freeze_set(&ctx("f"), "S1", 2, set, text()).await.unwrap();
    assert_eq!(store.set_standing("S1").await.unwrap(), standing(3, true, changed));
    other.close_job(&ctx("c"), "S1", 3, JobState::Done, text()).await.unwrap();
    assert_eq!(store.set_standing("S1").await.unwrap(), standing(4, true, changed));

    other.create_scale(&ctx("s"), "m1", "a", document("1"), text()).await.unwrap();
    other.update_scale(&ctx("u"), "m1", "a", 1, document("2"), text()).await.unwrap();
    let scale = store.scale_standing("m1", "a").await.unwrap();
    assert_eq!(scale, ScaleStanding { scale_version: 2, wires_generation: changed });
}

pub async fn every_change_raises_the_last_sequence(factory: &impl Factory) {
    // What is kept in memory is taken for true as long as this number stays, whichever process writes.
    let (store, other) = (factory.open().await, factory.open().await);
    let mut last = store.last_sequence().await.unwrap();
    assert_eq!(last, 0);
    let mut rises = async |change: &str| {
        let now = store.last_sequence().await.unwrap();
        assert!(now > last, "{change}: {now} after {last}");
        last = now;
    };
    other.import_wires(&ctx("i"), vec![wire("a", "1")], text()).await.unwrap();
    rises("import_wires").await;
    other.update_wire(&ctx("w"), 1, wire("a", "2"), text()).await.unwrap();
    rises("update_wire").await;
    other.create_scale(&ctx("s"), "m1", "a", document("1"), text()).await.unwrap();
    rises("create_scale").await;
    other.update_scale(&ctx("u"), "m1", "a", 1, document("2"), text()).await.unwrap();
    rises("update_scale").await;
    other.release_scale(&ctx("r"), "m1", "a", 2, text()).await.unwrap();
    rises("release_scale").await;
    other.open_job(&ctx("o"), columns("S1", "2026-12-01"), document("1"), text()).await.unwrap();
    rises("open_job").await;
    other.amend_job(&ctx("a"), 1, columns("S1", "2026-12-01"), document("2"), text()).await.unwrap();
    rises("amend_job").await;
    let set = FrozenSet { digest: "d".to_owned(), bytes: vec![1] };
    other.freeze_set(&ctx("f"), "S1", 2, set, text()).await.unwrap();
    rises("freeze_set").await;
    other.close_job(&ctx("c"), "S1", 3, JobState::Done, text()).await.unwrap();
    rises("close_job").await;
    // A repeat and a refused write change nothing.
    other.close_job(&ctx("c"), "S1", 3, JobState::Done, text()).await.unwrap();
    other.update_wire(&ctx("w2"), 1, wire("a", "3"), text()).await.unwrap_err();
    assert_eq!(store.last_sequence().await.unwrap(), last);
}
