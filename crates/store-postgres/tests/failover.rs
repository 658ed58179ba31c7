//! A primary and its synchronous standby: what was answered must be on both, and the store follows whoever takes the writes.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests")]

use std::time::{Duration, Instant};

use becket_store::{Document, NewWire, StoreError, StringStore, WriteContext};
use becket_store_postgres::{OpenError, Options, PostgresStore};
use becket_test_postgres::Pair;

fn ctx(request_id: &str) -> WriteContext {
    WriteContext {
        method: "test",
        request_id: request_id.to_owned(),
        request_digest: [1; 32],
        actor: String::new(),
        origin: String::new(),
        now_us: 1,
    }
}

async fn import(store: &PostgresStore, id: &str) -> Result<bool, StoreError> {
    let document = Document { bytes: b"x".to_vec(), json: "{}".to_owned() };
    let wire = NewWire { wire_id: id.to_owned(), material: 1, document };
    Ok(store.import_wires(&ctx(id), vec![wire], Box::new(|_| Vec::new())).await?.repeated)
}

/// Tries until the store has found its primary again.
async fn import_at_last(store: &PostgresStore, id: &str) -> bool {
    let begun = Instant::now();
    loop {
        match import(store, id).await {
            Ok(repeated) => return repeated,
            Err(error) => assert!(begun.elapsed() < Duration::from_secs(30), "{error:?}"),
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_answered_survives_the_primary() {
    let mut pair = Pair::start();
    let url = pair.database();
    PostgresStore::migrate(&url).await.unwrap();
    let short = Duration::from_millis(300);
    let options = Options { statement_timeout: short, lock_timeout: short, ..Options::default() };
    let store = PostgresStore::open(&url, options).await.unwrap();
    assert!(!import(&store, "first").await.unwrap());

    pair.crash_standby();
    // The store does not answer while the standby is away, not even once a statement's time-out has passed.
    let waiting = tokio::time::timeout(short * 5, import(&store, "second")).await;
    assert!(waiting.is_err(), "answered without the standby: {waiting:?}");

    pair.crash_primary();
    pair.revive_standby();
    assert!(matches!(PostgresStore::open(&url, Options::default()).await, Err(OpenError::Unreachable(_))));
    pair.promote();
    assert!(import_at_last(&store, "first").await, "what was answered is there");
    assert!(!import_at_last(&store, "second").await, "what was not answered may be done again");
    pair.follow();
    assert!(!import(&store, "third").await.unwrap());
    store.close().await;
}
