//! What is this engine's own: writes that take long, news, time-outs, a server that dies, and what the database itself refuses.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests")]

use std::time::{Duration, Instant};

use becket_floor::ListId;
use becket_store::journal::{GENESIS, first_break};
use becket_store::{
    CutStore, Document, Engine, Entry, JournalStore, Listener, NewWire, News, StoreError, StringStore,
    WriteContext,
};
use becket_store_postgres::{Options, PostgresStore};
use becket_test_postgres::Server;
use sqlx::{Connection, PgConnection};

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

fn wire(wire_id: &str) -> NewWire {
    let document = Document { bytes: b"x".to_vec(), json: "{}".to_owned() };
    NewWire { wire_id: wire_id.to_owned(), material: 1, document }
}

async fn import(store: &PostgresStore, id: &str) -> Result<bool, StoreError> {
    Ok(store.import_wires(&ctx(id), vec![wire(id)], Box::new(|_| Vec::new())).await?.repeated)
}

async fn store(url: &str, options: Options) -> PostgresStore {
    PostgresStore::migrate(url).await.unwrap();
    PostgresStore::open(url, options).await.unwrap()
}

fn subjects(entries: &[Entry]) -> Vec<&str> {
    entries.iter().map(|entry| entry.subject.as_str()).collect()
}

/// Numbers of sequences are given before the commit: the reader below sees what was begun later first, and must not pass over what was
/// begun earlier.
#[tokio::test]
async fn a_long_write_is_not_passed_over() {
    let url = Server::shared().database();
    let store = store(&url, Options::default()).await;
    let mut slow = PgConnection::connect(&url).await.unwrap();
    let mut tx = slow.begin().await.unwrap();
    let put = "INSERT INTO journal_inbox (entry_us, actor, origin, request_id, method, subject) \
               VALUES (0, '', '', '', '', 'slow')";
    sqlx::raw_sql(put).execute(&mut *tx).await.unwrap();

    // A reader with a cursor, as a feed has.
    let mut seen: Vec<Entry> = Vec::new();
    for i in 0..20 {
        import(&store, &format!("w{i}")).await.unwrap();
        if i == 12 {
            tx.rollback().await.unwrap();
            // Another one begins, and ends after further writes.
            tx = slow.begin().await.unwrap();
            sqlx::raw_sql(put).execute(&mut *tx).await.unwrap();
        }
        let last = seen.last().map_or(0, |entry| entry.sequence);
        let counted = store.last_sequence().await.unwrap();
        seen.extend(store.entries(last, 3, None).await.unwrap());
        assert_eq!(seen.len(), i + 1, "each write is there when it was answered");
        assert_eq!(counted, i64::try_from(i + 1).unwrap());
    }
    tx.commit().await.unwrap();
    import(&store, "last").await.unwrap();
    let last = seen.last().unwrap().sequence;
    seen.extend(store.entries(last, 10, None).await.unwrap());
    assert_eq!(seen.len(), 22);
    assert_eq!(first_break(0, &GENESIS, &seen), None);
    assert_eq!(seen.iter().filter(|entry| entry.subject == "slow").count(), 1, "{:?}", subjects(&seen));
    assert_eq!(seen[20].subject, "slow");
}

/// Found by histories of concurrent clients: writes that take ids of the inbox in turns stood in the journal entry by entry in turns, too.
#[tokio::test]
async fn a_write_stands_in_the_journal_in_one_piece() {
    let url = Server::shared().database();
    let store = store(&url, Options::default()).await;
    let mut connections = Vec::new();
    for _ in 0..2 {
        connections.push(PgConnection::connect(&url).await.unwrap());
    }
    let [one, other] = connections.as_mut_slice() else { panic!("two connections") };
    let (mut one, mut other) = (one.begin().await.unwrap(), other.begin().await.unwrap());
    let put = |subject: &str| {
        sqlx::AssertSqlSafe(format!(
            "INSERT INTO journal_inbox (entry_us, actor, origin, request_id, method, subject) \
             VALUES (0, '', '', '', '', '{subject}')"
        ))
    };
    for part in 1..=3 {
        sqlx::raw_sql(put(&format!("a{part}"))).execute(&mut *one).await.unwrap();
        sqlx::raw_sql(put(&format!("b{part}"))).execute(&mut *other).await.unwrap();
    }
    other.commit().await.unwrap();
    one.commit().await.unwrap();
    let entries = store.entries(0, 10, None).await.unwrap();
    assert_eq!(subjects(&entries), ["a1", "a2", "a3", "b1", "b2", "b3"]);
    assert_eq!(first_break(0, &GENESIS, &entries), None);
}

async fn news(listener: &mut dyn Listener) -> News {
    tokio::time::timeout(Duration::from_secs(20), listener.next()).await.expect("nothing was heard")
}

#[tokio::test]
async fn news_reach_other_replicas() {
    let url = Server::shared().database();
    let (one, other) = (store(&url, Options::default()).await, store(&url, Options::default()).await);
    let mut listener = other.changes().await.unwrap();
    for id in ["a", "b"] {
        import(&one, id).await.unwrap();
        assert_eq!(news(listener.as_mut()).await, News::Subjects(vec![format!("wires/{id}")]));
    }
    let many: Vec<NewWire> = (0..2000).map(|i| wire(&format!("many-{i}"))).collect();
    one.import_wires(&ctx("many"), many, Box::new(|_| Vec::new())).await.unwrap();
    assert_eq!(news(listener.as_mut()).await, News::Anything);
    // The connection is cut; what comes after it is heard again.
    let mut admin = PgConnection::connect(&url).await.unwrap();
    let cut = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE query LIKE 'LISTEN%' \
               AND datname = current_database()";
    sqlx::raw_sql(cut).execute(&mut admin).await.unwrap();
    let mut heard = news(listener.as_mut()).await;
    import(&one, "after").await.unwrap();
    while heard != News::Subjects(vec!["wires/after".to_owned()]) {
        // 2000 entries are moved in several batches.
        assert!(
            heard == News::Anything || matches!(&heard, News::Subjects(s) if s[0].starts_with("wires/many")),
            "{heard:?}"
        );
        heard = news(listener.as_mut()).await;
    }
}

/// A replica that hangs with a lock must not hold up the others for long.
#[tokio::test]
async fn waiting_for_locks_has_an_end() {
    let url = Server::shared().database();
    let options = Options {
        lock_timeout: Duration::from_millis(300),
        attempts_within: Duration::from_millis(200),
        ..Options::default()
    };
    let store = store(&url, options).await;
    import(&store, "a").await.unwrap();
    let mut hanging = PgConnection::connect(&url).await.unwrap();
    let mut tx = hanging.begin().await.unwrap();
    sqlx::raw_sql("SELECT 1 FROM wires WHERE wire_id = 'a' FOR UPDATE").execute(&mut *tx).await.unwrap();
    let begun = Instant::now();
    let request = ctx("u");
    let update = || store.update_wire(&request, 1, wire("a"), Box::new(|_| Vec::new()));
    let refused = update().await;
    assert!(matches!(refused, Err(StoreError::Busy)), "{refused:?}");
    assert!(begun.elapsed() >= Duration::from_millis(300));
    // Readers and other writers wait for nothing.
    assert!(store.wire("a").await.is_ok());
    import(&store, "b").await.unwrap();
    tx.rollback().await.unwrap();
    update().await.unwrap();
}

/// A deadlock is met by doing the write again. Writes of the store lock in one order; the other one here is a program that does not.
#[tokio::test]
async fn a_deadlock_is_met() {
    let url = Server::shared().database();
    let store = store(&url, Options::default()).await;
    let mut rude = PgConnection::connect(&url).await.unwrap();
    // So that it is not the one that finds the deadlock.
    sqlx::raw_sql("SET deadlock_timeout = '60s'").execute(&mut rude).await.unwrap();
    let mut tx = rude.begin().await.unwrap();
    let add = |id: &str| format!("INSERT INTO wires VALUES ('{id}', 1, 'x', '{{}}', 1, 0, 0)");
    sqlx::raw_sql(sqlx::AssertSqlSafe(add("b"))).execute(&mut *tx).await.unwrap();
    let request = ctx("i");
    let import = store.import_wires(
        &request,
        vec![wire("a"), wire("b")],
        Box::new(|imported| format!("{imported:?}").into_bytes()),
    );
    let rude = async {
        // The import has added "a" and waits for "b".
        tokio::time::sleep(Duration::from_millis(300)).await;
        sqlx::raw_sql(sqlx::AssertSqlSafe(add("a"))).execute(&mut *tx).await.unwrap();
        tx.commit().await.unwrap();
    };
    let (imported, ()) = tokio::join!(import, rude);
    let answer = String::from_utf8(imported.unwrap().answer).unwrap();
    assert_eq!(answer, r#"Imported { added: [], unchanged: ["a", "b"] }"#);
    let mut admin = PgConnection::connect(&url).await.unwrap();
    let mut met = 0_i64;
    // The server counts a little later.
    for _ in 0..100 {
        let count = "SELECT deadlocks FROM pg_stat_database WHERE datname = current_database()";
        met = sqlx::query_scalar(count).fetch_one(&mut admin).await.unwrap();
        if met > 0 {
            break;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    assert_eq!(met, 1, "nothing was tested: there was no deadlock");
}

/// The server dies at a moment of its own while four clients write; what was acknowledged is there once, and the same request after it gets
/// the same answer.
#[tokio::test(flavor = "multi_thread")]
async fn a_dead_server_loses_nothing() {
    let server = Server::start();
    let url = server.database();
    let options = Options { acquire_timeout: Duration::from_secs(2), ..Options::default() };
    let store = store(&url, options).await;
    let mut acknowledged = Vec::new();
    for round in 0..4 {
        let writers = (0..4).map(|writer| {
            let store = store.clone();
            tokio::spawn(async move {
                let mut done = Vec::new();
                for i in 0.. {
                    let id = format!("r{round}-{writer}-{i}");
                    match import(&store, &id).await {
                        Ok(_) => done.push(id),
                        Err(error) => {
                            assert!(
                                matches!(error, StoreError::Unavailable(_) | StoreError::Busy),
                                "{error:?}"
                            );
                            return (done, id);
                        }
                    }
                }
                unreachable!()
            })
        });
        let writers: Vec<_> = writers.collect();
        tokio::time::sleep(Duration::from_millis(150 + 70 * round)).await;
        server.kill();
        let mut open = Vec::new();
        for writer in writers {
            let (done, id) = writer.await.unwrap();
            acknowledged.extend(done);
            open.push(id);
        }
        server.revive();
        // What had no answer is sent again, whether it was done or not.
        for id in open {
            let begun = Instant::now();
            while let Err(error) = import(&store, &id).await {
                assert!(begun.elapsed() < Duration::from_secs(30), "{error}");
                tokio::time::sleep(Duration::from_millis(50)).await;
            }
            acknowledged.push(id);
        }
    }
    assert!(acknowledged.len() > 40, "only {} writes", acknowledged.len());
    for id in &acknowledged {
        assert!(import(&store, id).await.unwrap(), "{id} is answered as a repeat");
    }
    let mut entries = Vec::new();
    loop {
        let more = store.entries(i64::try_from(entries.len()).unwrap(), 1000, None).await.unwrap();
        if more.is_empty() {
            break;
        }
        entries.extend(more);
    }
    assert_eq!(first_break(0, &GENESIS, &entries), None);
    let mut told = subjects(&entries);
    let count = told.len();
    told.sort_unstable();
    told.dedup();
    assert_eq!((told.len(), count), (acknowledged.len(), acknowledged.len()));
}

/// Faults of a program that bypasses the store.
#[tokio::test]
async fn the_database_guards_itself() {
    let url = Server::shared().database();
    let store = store(&url, Options::default()).await;
    import(&store, "a").await.unwrap();
    assert_eq!(store.entries(0, 10, None).await.unwrap().len(), 1);
    let mut db = PgConnection::connect(&url).await.unwrap();
    let coil = |id: &str, remaining: i64, cut: i64, density: &str| {
        format!(
            "INSERT INTO coils VALUES ('{id}', 'w', 'l', '2026-01-01', 'opened', 100, {remaining}, {cut}, 0, 0, \
             {density}, 1, 0, 0)"
        )
    };
    for bad in [
        "UPDATE journal SET actor = 'x'".to_owned(),
        "DELETE FROM journal".to_owned(),
        "TRUNCATE journal".to_owned(),
        coil("C", 99, 0, "6.0"),
        coil("C", -1, 101, "6.0"),
        coil("C", 60, 40, "'NaN'"),
        coil("C", 60, 40, "'infinity'"),
        "INSERT INTO journal_inbox (entry_us, actor, origin, request_id, method, subject, after_json) \
         VALUES (0, '', '', '', '', '', '{')"
            .to_owned(),
    ] {
        let refused = sqlx::raw_sql(sqlx::AssertSqlSafe(bad.clone())).execute(&mut db).await;
        let refused = refused.expect_err(&bad).to_string();
        let why = ["check constraint", "never", "invalid input syntax for type json"];
        assert!(why.iter().any(|why| refused.contains(why)), "{bad}: {refused}");
    }
    sqlx::raw_sql(sqlx::AssertSqlSafe(coil("C", 60, 40, "6.0"))).execute(&mut db).await.unwrap();
}

/// A call may end at any moment, as by its deadline, even while a transaction begins. The library then counts none, and whoever has the
/// connection next would read as things were in that transaction.
#[tokio::test]
async fn a_read_that_is_given_up_leaves_no_transaction_open() {
    let url = Server::shared().database();
    let store = store(&url, Options { read_connections: 1, ..Options::default() }).await;
    let mut other = PgConnection::connect(&url).await.unwrap();
    let (mut ended, mut written) = (0, 0);
    for polls in (0..24).cycle().take(240) {
        let list_id = ListId::numbered(1);
        let read = store.cut_list(&list_id);
        ended += u32::from(is_ready_after(read, polls).await);
        // Until the connection is free again.
        drop(store.wire("none").await);
        let open = "SELECT COUNT(*) FROM pg_stat_activity WHERE datname = current_database() AND state LIKE 'idle in transaction%'";
        let give_back = Instant::now();
        while sqlx::query_scalar::<_, i64>(open).fetch_one(&mut other).await.unwrap() > 0 {
            assert!(
                give_back.elapsed() < Duration::from_secs(2),
                "a transaction is open after {polls} looks"
            );
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
        written += 1;
        import(&store, &format!("w{written}")).await.unwrap();
        assert!(store.wire(&format!("w{written}")).await.is_ok(), "an old state is read after {polls} looks");
    }
    assert!((1..239).contains(&ended), "{ended} reads of 240 came to their end");
}

/// Looks at a future so many times, and gives it up unless it has ended.
async fn is_ready_after(future: impl Future, polls: u32) -> bool {
    let mut future = std::pin::pin!(future);
    for _ in 0..polls {
        let looked = std::future::poll_fn(|cx| std::task::Poll::Ready(future.as_mut().poll(cx).is_ready()));
        if looked.await {
            return true;
        }
        // Shorter than a timer could tell: less than the way to the server and back.
        std::thread::sleep(Duration::from_micros(20));
        tokio::task::yield_now().await;
    }
    false
}
