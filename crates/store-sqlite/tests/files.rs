//! Files, several writers, and what the database itself refuses.
#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use std::path::Path;

use becket_store::{Document, Engine, JournalStore, NewWire, StringStore, WriteContext, journal};
use becket_store_sqlite::{OpenError, OpenMode, SqliteStore};
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};
use sqlx::{ConnectOptions, Connection};
use tempfile::TempDir;

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

async fn import(store: &SqliteStore, id: &str) -> bool {
    store.import_wires(&ctx(id), vec![wire(id)], Box::new(|_| Vec::new())).await.is_ok()
}

async fn raw(path: &Path) -> SqliteConnection {
    SqliteConnectOptions::new().filename(path).create_if_missing(true).connect().await.unwrap()
}

#[tokio::test]
async fn modes_do_what_they_say() {
    let dir = TempDir::new().unwrap();
    let path = dir.path().join("a.db");
    let missing = SqliteStore::open(&path, OpenMode::OpenExisting).await;
    assert!(matches!(missing, Err(OpenError::Missing { .. })), "{missing:?}");
    assert!(!path.exists());
    let store = SqliteStore::open(&path, OpenMode::CreateNew).await.unwrap();
    assert!(import(&store, "a").await);
    store.close().await;
    let exists = SqliteStore::open(&path, OpenMode::CreateNew).await;
    assert!(matches!(exists, Err(OpenError::Exists { .. })), "{exists:?}");
    for mode in [OpenMode::OpenExisting, OpenMode::OpenOrCreate] {
        let store = SqliteStore::open(&path, mode).await.unwrap();
        assert!(store.wire("a").await.is_ok());
        store.close().await;
    }
    let nowhere = SqliteStore::open(&dir.path().join("no/such/a.db"), OpenMode::OpenOrCreate).await;
    assert!(matches!(nowhere, Err(OpenError::Unusable { .. })), "{nowhere:?}");
}

#[tokio::test]
async fn other_peoples_files_are_left_alone() {
    let dir = TempDir::new().unwrap();
    let foreign = dir.path().join("foreign.db");
    let mut db = raw(&foreign).await;
    sqlx::raw_sql("CREATE TABLE t (a); CREATE TABLE u (a); CREATE TABLE v (a)")
        .execute(&mut db)
        .await
        .unwrap();
    db.close().await.unwrap();
    let text = dir.path().join("notes.txt");
    std::fs::write(&text, "no database at all, but long enough to be looked at ".repeat(40)).unwrap();
    for path in [&foreign, &text] {
        let before = std::fs::read(path).unwrap();
        let refused = SqliteStore::open(path, OpenMode::OpenOrCreate).await;
        assert!(
            matches!(refused, Err(OpenError::Foreign { .. } | OpenError::Unusable { .. })),
            "{refused:?}"
        );
        assert!(std::fs::read(path).unwrap() == before, "{} was changed", path.display());
    }
}

#[tokio::test]
async fn a_later_database_is_refused() {
    let dir = TempDir::new().unwrap();
    let path = dir.path().join("a.db");
    SqliteStore::open(&path, OpenMode::CreateNew).await.unwrap().close().await;
    let mut db = raw(&path).await;
    let later = "INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time) \
                 VALUES (9999, 'later', 1, x'00', 0)";
    sqlx::raw_sql(later).execute(&mut db).await.unwrap();
    db.close().await.unwrap();
    let refused = SqliteStore::open(&path, OpenMode::OpenExisting).await;
    assert!(matches!(refused, Err(OpenError::Migration { .. })), "{refused:?}");
}

#[tokio::test]
async fn what_is_answered_is_synchronised() {
    let dir = TempDir::new().unwrap();
    let path = dir.path().join("a.db");
    let store = SqliteStore::open(&path, OpenMode::CreateNew).await.unwrap();
    let pragmas = store.durability().await.unwrap();
    assert_eq!(pragmas, ("wal".to_owned(), 2, 1));
}

#[tokio::test]
async fn every_database_has_a_key_of_its_own() {
    let a = SqliteStore::in_memory().await.unwrap().token_key().await.unwrap();
    let b = SqliteStore::in_memory().await.unwrap().token_key().await.unwrap();
    assert!(a != b && a != [0; 32]);
}

/// Two programs with the file open, many writes at a time: none is lost and the chain has no gap.
#[tokio::test(flavor = "multi_thread")]
async fn writers_take_turns() {
    const WRITES: usize = 60;
    let dir = TempDir::new().unwrap();
    let path = dir.path().join("a.db");
    let one = SqliteStore::open(&path, OpenMode::CreateNew).await.unwrap();
    let two = SqliteStore::open(&path, OpenMode::OpenExisting).await.unwrap();
    let mut tasks = Vec::new();
    for i in 0..WRITES {
        let store = if i % 2 == 0 { one.clone() } else { two.clone() };
        tasks.push(tokio::spawn(async move { import(&store, &format!("w{i}")).await }));
    }
    for task in tasks {
        assert!(task.await.unwrap());
    }
    let entries = two.entries(0, 1000, None).await.unwrap();
    assert_eq!((entries.len(), journal::first_break(0, &journal::GENESIS, &entries)), (WRITES, None));
}

/// The same request twice at the same moment is done once.
#[tokio::test(flavor = "multi_thread")]
async fn simultaneous_repeats_are_one_write() {
    let dir = TempDir::new().unwrap();
    let store = SqliteStore::open(&dir.path().join("a.db"), OpenMode::CreateNew).await.unwrap();
    let write = |store: SqliteStore| async move {
        store.import_wires(&ctx("1"), vec![wire("a")], Box::new(|_| Vec::new())).await.unwrap().repeated
    };
    let tasks: Vec<_> = (0..8).map(|_| tokio::spawn(write(store.clone()))).collect();
    let mut first = 0;
    for task in tasks {
        first += usize::from(!task.await.unwrap());
    }
    assert_eq!((first, store.entries(0, 10, None).await.unwrap().len()), (1, 1));
}

/// Faults of a program that bypasses the store.
#[tokio::test]
async fn the_database_guards_itself() {
    let dir = TempDir::new().unwrap();
    let path = dir.path().join("a.db");
    let store = SqliteStore::open(&path, OpenMode::CreateNew).await.unwrap();
    assert!(import(&store, "a").await);
    store.close().await;
    let mut db = raw(&path).await;
    let coil = |remaining: i64, cut: i64| {
        format!(
            "INSERT INTO coils VALUES ('C', 'w', 'l', '2026-01-01', 'opened', 100, {remaining}, {cut}, 0, 0, 6.0, 1, 0, 0, 0, 0, 0, 0)"
        )
    };
    for bad in [
        "UPDATE journal SET actor = 'x'".to_owned(),
        "DELETE FROM journal".to_owned(),
        coil(99, 0),
        coil(-1, 101),
    ] {
        let refused = sqlx::raw_sql(sqlx::AssertSqlSafe(bad.clone())).execute(&mut db).await;
        let refused = refused.expect_err(&bad).to_string();
        assert!(refused.contains("CHECK") || refused.contains("never"), "{bad}: {refused}");
    }
    sqlx::raw_sql(sqlx::AssertSqlSafe(coil(60, 40))).execute(&mut db).await.unwrap();
}

/// A station has one running list, whatever program writes.
#[tokio::test]
async fn the_database_guards_stations() {
    let dir = TempDir::new().unwrap();
    let path = dir.path().join("a.db");
    SqliteStore::open(&path, OpenMode::CreateNew).await.unwrap().close().await;
    let mut db = raw(&path).await;
    let list = |number: i64, station: &str, state: &str| {
        format!(
            "INSERT INTO cut_lists (list_number, list_id, station_id, state, unison_rule, end_trim_um, coil_margin_um, \
             piece_order, wound_cores, pieces, cut_um, scrap_um, remnant_um, coils_used, coils_opened, reel_changes, \
             unisons_split, pieces_done, pieces_pending, start_us, end_us, version, created_us, updated_us) VALUES ({number}, 'L-{number}', '{station}', '{state}', 'hard', 0, 0, 'by_length', 0, \
             0, 0, 0, 0, 0, 0, 0, 0, 0, 0, NULL, NULL, 1, 0, 0)"
        )
    };
    let station = |id: &str| format!("INSERT INTO stations VALUES ('{id}', '', 1, 1, 1, 0, 0)");
    let start = |number: i64| format!("UPDATE cut_lists SET state = 'running' WHERE list_number = {number}");
    let steps = [
        (station("a"), true),
        (station("b"), true),
        (list(1, "a", "running"), true),
        (list(2, "a", "planned"), true),
        (list(3, "b", "planned"), true),
        (list(4, "a", "running"), false),
        (start(2), false),
        (start(1), true),
        (start(3), true),
        ("UPDATE cut_lists SET state = 'finished' WHERE list_number = 1".to_owned(), true),
        (start(2), true),
    ];
    for (step, allowed) in steps {
        let done = sqlx::raw_sql(sqlx::AssertSqlSafe(step.clone())).execute(&mut db).await;
        match done {
            Ok(_) => assert!(allowed, "{step}"),
            Err(error) => {
                assert!(!allowed && error.to_string().contains("another list runs"), "{step}: {error}")
            }
        }
    }
}

#[tokio::test]
async fn a_file_is_read_as_it_is() {
    let dir = TempDir::new().unwrap();
    let path = dir.path().join("a.db");
    let missing = SqliteStore::open_to_read(&path).await;
    assert!(matches!(missing, Err(OpenError::Missing { .. })), "{missing:?}");
    let store = SqliteStore::open(&path, OpenMode::CreateNew).await.unwrap();
    assert!(import(&store, "a").await);
    // Beside the one that serves it, and without writing.
    let reader = SqliteStore::open_to_read(&path).await.unwrap();
    assert!(reader.wire("a").await.is_ok());
    assert!(!import(&reader, "b").await);
    assert!(import(&store, "c").await);
    assert!(reader.wire("c").await.is_ok());
    reader.close().await;
    store.close().await;
    let [.., (before, _), (newest, _)] = SqliteStore::migrations()[..] else { panic!("two migrations") };
    for (change, found) in [
        (format!("DELETE FROM _sqlx_migrations WHERE version = {newest}"), before),
        (format!("UPDATE _sqlx_migrations SET version = 9999 WHERE version = {before}"), 9999),
    ] {
        sqlx::raw_sql(sqlx::AssertSqlSafe(change)).execute(&mut raw(&path).await).await.unwrap();
        let other = SqliteStore::open_to_read(&path).await;
        assert!(matches!(&other, Err(OpenError::OtherVersion { found: f, .. }) if *f == found), "{other:?}");
    }
}
