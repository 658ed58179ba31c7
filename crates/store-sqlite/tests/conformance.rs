//! The suite that every engine passes, on files.
#![allow(clippy::unwrap_used, reason = "tests")]

use async_trait::async_trait;
use becket_store::conformance::Factory;
use becket_store::tables::{ShopReader, Value};
use becket_store_sqlite::{OpenMode, SqliteStore};
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions, Connection};
use tempfile::TempDir;

struct InFile(TempDir);

impl InFile {
    fn new() -> Self {
        Self(TempDir::new().unwrap())
    }
}

#[async_trait]
impl Factory for InFile {
    type Store = SqliteStore;

    async fn open(&self) -> SqliteStore {
        SqliteStore::open(&self.0.path().join("becket.db"), OpenMode::OpenOrCreate).await.unwrap()
    }

    async fn shop(&self, store: &SqliteStore) -> Box<dyn ShopReader> {
        store.snapshot().await.unwrap()
    }

    async fn tamper(&self, sql: &str) {
        let file = SqliteConnectOptions::new().filename(self.0.path().join("becket.db")).foreign_keys(false);
        let mut db = file.connect().await.unwrap();
        let triggers: Vec<String> =
            sqlx::query_scalar("SELECT name FROM sqlite_schema WHERE type = 'trigger'")
                .fetch_all(&mut db)
                .await
                .unwrap();
        let drops: Vec<String> = triggers.iter().map(|name| format!("DROP TRIGGER {name};")).collect();
        let all = format!("PRAGMA ignore_check_constraints = ON; {} {sql}", drops.join(" "));
        let done = sqlx::raw_sql(sqlx::AssertSqlSafe(all)).execute(&mut db).await.unwrap();
        assert_eq!(done.rows_affected(), 1, "{sql}");
        db.close().await.unwrap();
    }

    fn literal(&self, value: &Value) -> String {
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
}

becket_store::suite!(InFile::new());
