//! Files of every earlier version, filled, are brought to this one and go on; and what a shop holds can be moved.
#![allow(clippy::unwrap_used, reason = "tests")]

use std::path::Path;

use becket_store::conformance::moving;
use becket_store::tables::{LAYOUT, Table, Value, move_shop, sum};
use becket_store_sqlite::{OpenMode, SqliteStore};
use sqlx::migrate::Migrator;
use sqlx::sqlite::{SqliteConnectOptions, SqlitePool};
use tempfile::TempDir;

static MIGRATIONS: Migrator = sqlx::migrate!("./migrations");

async fn raw(path: &Path) -> SqlitePool {
    SqlitePool::connect_with(SqliteConnectOptions::new().filename(path).create_if_missing(true))
        .await
        .unwrap()
}

/// Makes a file as this program made it when `version` was its newest migration, with a shop in it.
async fn make(path: &Path, version: i64) {
    let steps = MIGRATIONS.iter().filter(|step| step.version <= version).cloned().collect();
    let db = raw(path).await;
    Migrator::with_migrations(steps).run(&db).await.unwrap();
    sqlx::raw_sql("DELETE FROM meta").execute(&db).await.unwrap();
    for (table, columns, rows) in moving::fixture(version) {
        let names: Vec<&str> = columns.iter().map(|column| column.name).collect();
        for row in rows {
            let values: Vec<String> = row.iter().map(literal).collect();
            let insert =
                format!("INSERT INTO {} ({}) VALUES ({})", table.name, names.join(", "), values.join(", "));
            sqlx::raw_sql(sqlx::AssertSqlSafe(insert)).execute(&db).await.unwrap();
        }
    }
    if version >= 10 {
        let head = "UPDATE journal_head SET (sequence, hash) = \
                    (SELECT sequence, hash FROM journal ORDER BY sequence DESC LIMIT 1)";
        sqlx::raw_sql(head).execute(&db).await.unwrap();
    }
    db.close().await;
}

fn literal(value: &Value) -> String {
    match value {
        Value::Null => "NULL".to_owned(),
        Value::Text(text) => format!("'{}'", text.replace('\'', "''")),
        Value::Integer(number) => number.to_string(),
        Value::Real(number) => format!("{number:?}"),
        Value::Truth(truth) => i64::from(*truth).to_string(),
        Value::Bytes(bytes) => {
            let hex: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
            format!("x'{hex}'")
        }
    }
}

#[tokio::test]
async fn every_earlier_version_goes_on() {
    let dir = TempDir::new().unwrap();
    for version in MIGRATIONS.iter().map(|step| step.version) {
        let path = dir.path().join(format!("{version}.db"));
        make(&path, version).await;
        let store = SqliteStore::open(&path, OpenMode::OpenExisting).await.unwrap();
        moving::is_verified(store.snapshot().await.unwrap().as_mut()).await;
        moving::goes_on(&store, version >= 2).await;
        let from = moving::is_verified(store.snapshot().await.unwrap().as_mut()).await;
        assert_eq!(from == 1, version >= 13, "version {version} is replayed from {from}");
        store.close().await;
    }
}

/// The columns of a table that is there, in order.
async fn columns(db: &SqlitePool, table: &str) -> Vec<String> {
    sqlx::query_scalar("SELECT name FROM pragma_table_info(?)").bind(table).fetch_all(db).await.unwrap()
}

/// A table or column that is not in the layout would be lost in a move.
#[tokio::test]
async fn the_layout_is_complete() {
    let dir = TempDir::new().unwrap();
    let path = dir.path().join("a.db");
    SqliteStore::open(&path, OpenMode::CreateNew).await.unwrap().close().await;
    let db = raw(&path).await;
    let mut there: Vec<String> = sqlx::query_scalar(
        "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT IN ('_sqlx_migrations', 'journal_head')",
    )
    .fetch_all(&db)
    .await
    .unwrap();
    there.sort();
    let mut known: Vec<&str> = LAYOUT.iter().map(|table| table.name).collect();
    known.sort_unstable();
    assert_eq!(there, known);
    for table in LAYOUT {
        let names: Vec<&str> = table.columns.iter().map(|column| column.name).collect();
        assert_eq!(columns(&db, table.name).await, names, "{}", table.name);
    }
}

#[tokio::test]
async fn a_shop_is_moved_whole_into_an_empty_file_only() {
    let from = SqliteStore::in_memory().await.unwrap();
    moving::fill(&from).await;
    let to = SqliteStore::in_memory().await.unwrap();
    let moved = move_shop(from.read_shop().await.unwrap().as_mut(), to.fill_shop().await.unwrap()).await;
    let moved = moved.unwrap();
    assert_eq!(moved.len(), LAYOUT.len());
    assert!(moved.iter().all(|(_, sum)| sum.rows > 0), "{moved:?}");
    let again = move_shop(from.read_shop().await.unwrap().as_mut(), to.fill_shop().await.unwrap()).await;
    assert!(again.unwrap_err().to_string().contains("must be empty"));
    moving::goes_on(&to, true).await;
    moving::goes_on(&from, true).await;
}

#[tokio::test]
async fn a_broken_journal_is_not_moved() {
    let dir = TempDir::new().unwrap();
    let path = dir.path().join("a.db");
    let store = SqliteStore::open(&path, OpenMode::CreateNew).await.unwrap();
    moving::fill(&store).await;
    store.close().await;
    let db = raw(&path).await;
    sqlx::raw_sql(
        "DROP TRIGGER journal_is_not_changed; UPDATE journal SET actor = 'bert' WHERE sequence = 5",
    )
    .execute(&db)
    .await
    .unwrap();
    db.close().await;
    let from = SqliteStore::open(&path, OpenMode::OpenExisting).await.unwrap();
    let to = SqliteStore::in_memory().await.unwrap();
    let moved = move_shop(from.read_shop().await.unwrap().as_mut(), to.fill_shop().await.unwrap()).await;
    assert!(moved.unwrap_err().to_string().contains("broken at entry 5"));
    let wires: &'static Table = LAYOUT.iter().find(|table| table.name == "wires").unwrap();
    assert_eq!(sum(wires, to.read_shop().await.unwrap().as_mut()).await.unwrap().rows, 0, "nothing stayed");
}
