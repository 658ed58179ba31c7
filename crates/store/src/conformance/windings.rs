//! The winder's orders.

use super::Factory;
use super::samples::{ctx, document, page, text, told};
use crate::{JobColumns, JournalStore, Kind, NewWindingOrder, StoreError, StoredWindingOrder, StringStore};

async fn jobs(store: &impl StringStore, serial_ids: &[&str]) {
    for serial_id in serial_ids {
        let columns = JobColumns {
            serial_id: (*serial_id).to_owned(),
            due_date: "2026-12-01".to_owned(),
            station_id: "bench".to_owned(),
        };
        store.open_job(&ctx(&format!("open {serial_id}")), columns, document("job"), text()).await.unwrap();
    }
}

fn order(serial_ids: &[&str], digest: &str, reason: &str) -> NewWindingOrder {
    NewWindingOrder {
        serial_ids: serial_ids.iter().map(|id| (*id).to_owned()).collect(),
        digest: digest.to_owned(),
        reason: reason.to_owned(),
        document: document(digest),
    }
}

pub async fn orders_have_revisions_with_reasons(factory: &impl Factory) {
    let store = factory.open().await;
    jobs(&store, &["S1", "S2", "S3"]).await;
    let (answer, outcome) = told();
    store.release_winding_order(&ctx("r1"), order(&["S1", "S2"], "d1", ""), answer).await.unwrap();
    let first = outcome();
    assert!(first.released);
    assert_eq!((first.order.order_id.as_str(), first.order.revision), ("W-0001", 1));
    assert_eq!((first.order.bytes.as_slice(), first.order.release_us), (&b"d1"[..], 1_000_000));

    // The same content changes nothing, with or without a reason.
    let (answer, outcome) = told();
    store.release_winding_order(&ctx("r2"), order(&["S1", "S2"], "d1", "why"), answer).await.unwrap();
    assert_eq!((outcome().released, outcome().order), (false, first.order.clone()));

    let silent = store.release_winding_order(&ctx("r3"), order(&["S1", "S2"], "d2", ""), text()).await;
    let missing = matches!(&silent, Err(StoreError::WindingReasonMissing { order_id, revision: 1 }) if order_id == "W-0001");
    assert!(missing, "{silent:?}");
    let (answer, outcome) = told();
    store.release_winding_order(&ctx("r3"), order(&["S1", "S2"], "d2", "longer"), answer).await.unwrap();
    let second = outcome().order;
    assert_eq!((second.order_id.as_str(), second.revision, second.reason.as_str()), ("W-0001", 2, "longer"));

    assert_eq!(store.winding_order("W-0001", None).await.unwrap(), second);
    assert_eq!(store.winding_order("W-0001", Some(1)).await.unwrap(), first.order);
    for (id, revision) in [("W-0001", Some(3)), ("W-0002", None)] {
        let missing = store.winding_order(id, revision).await;
        assert!(matches!(missing, Err(StoreError::NotFound { kind: Kind::WindingOrder, .. })), "{missing:?}");
    }
    let entries = store.entries(0, 100, Some("windingOrders/W-0001")).await.unwrap();
    assert_eq!(entries.len(), 2, "what changes nothing is not told");
    assert!(entries[1].after.as_deref().unwrap().contains("longer"), "{:?}", entries[1]);
}

pub async fn a_serial_is_on_one_order(factory: &impl Factory) {
    let store = factory.open().await;
    jobs(&store, &["S1", "S2", "S3"]).await;
    store.release_winding_order(&ctx("r1"), order(&["S1", "S2"], "d1", ""), text()).await.unwrap();
    for serials in [&["S1"][..], &["S2", "S3"], &["S1", "S2", "S3"]] {
        let refused = store.release_winding_order(&ctx("r2"), order(serials, "d2", "why"), text()).await;
        let told =
            matches!(&refused, Err(StoreError::WindingOrdered { order_id, .. }) if order_id == "W-0001");
        assert!(told, "{serials:?}: {refused:?}");
        let serials: Vec<_> = serials.iter().map(|id| (*id).to_owned()).collect();
        assert!(store.winding_order_of(&serials).await.is_err(), "{serials:?}");
    }
    assert_eq!(store.winding_order_of(&["S3".to_owned()]).await.unwrap(), None);
    let both = ["S1".to_owned(), "S2".to_owned()];
    assert_eq!(store.winding_order_of(&both).await.unwrap().unwrap().order_id, "W-0001");
    let unknown = store.release_winding_order(&ctx("r3"), order(&["S3", "S9"], "d", ""), text()).await;
    assert!(matches!(unknown, Err(StoreError::NotFound { kind: Kind::Job, .. })), "{unknown:?}");
    // The refused one left nothing: neither its number nor its serial is taken.
    store.release_winding_order(&ctx("r4"), order(&["S3"], "d", ""), text()).await.unwrap();
    assert_eq!(store.winding_order_of(&["S3".to_owned()]).await.unwrap().unwrap().order_id, "W-0002");
}

pub async fn orders_are_listed(factory: &impl Factory) {
    let store = factory.open().await;
    jobs(&store, &["S1", "S2", "S3"]).await;
    for (n, serial) in ["S3", "S1", "S2"].into_iter().enumerate() {
        let release = order(&[serial], "d1", "");
        store.release_winding_order(&ctx(&format!("r{n}")), release, text()).await.unwrap();
    }
    store.release_winding_order(&ctx("again"), order(&["S1"], "d2", "changed"), text()).await.unwrap();
    let names = |items: &[StoredWindingOrder]| -> Vec<(String, i64)> {
        items.iter().map(|order| (order.order_id.clone(), order.revision)).collect()
    };
    let named = |id: &str, revision| (id.to_owned(), revision);
    let first = store.list_winding_orders(None, &page(2, None)).await.unwrap();
    assert_eq!(names(&first.items), [named("W-0001", 1), named("W-0002", 2)]);
    let second = store.list_winding_orders(None, &page(2, first.next.as_deref())).await.unwrap();
    assert_eq!((names(&second.items), second.next), (vec![named("W-0003", 1)], None));
    let of_one = store.list_winding_orders(Some("S1"), &page(9, None)).await.unwrap();
    assert_eq!(names(&of_one.items), [named("W-0002", 2)]);
    let foreign = store.list_winding_orders(None, &page(2, Some("nonsense"))).await;
    assert!(matches!(foreign, Err(StoreError::CursorInvalid)), "{foreign:?}");
}
