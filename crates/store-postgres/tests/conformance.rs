//! The suite that every engine passes, on databases of a real server.
#![allow(clippy::unwrap_used, reason = "tests")]

use async_trait::async_trait;
use becket_store::conformance::Factory;
use becket_store::tables::{ShopReader, Value};
use becket_store_postgres::{Options, PostgresStore};
use becket_test_postgres::Server;
use sqlx::{Connection as _, PgConnection};

struct OnServer(String);

impl OnServer {
    fn new() -> Self {
        Self(Server::shared().database())
    }
}

#[async_trait]
impl Factory for OnServer {
    type Store = PostgresStore;

    async fn open(&self) -> PostgresStore {
        PostgresStore::migrate(&self.0).await.unwrap();
        let options = Options { write_connections: 3, read_connections: 3, ..Options::default() };
        PostgresStore::open(&self.0, options).await.unwrap()
    }

    async fn shop(&self, store: &PostgresStore) -> Box<dyn ShopReader> {
        store.read_shop().await.unwrap()
    }

    async fn tamper(&self, sql: &str) {
        let mut db = PgConnection::connect(&self.0).await.unwrap();
        let checks: Vec<(String, String)> = sqlx::query_as(
            "SELECT conrelid::regclass::text, conname::text FROM pg_constraint WHERE contype = 'c' AND conrelid <> 0",
        )
        .fetch_all(&mut db)
        .await
        .unwrap();
        for (table, check) in checks {
            let drop = format!("ALTER TABLE {table} DROP CONSTRAINT \"{check}\"");
            sqlx::raw_sql(sqlx::AssertSqlSafe(drop)).execute(&mut db).await.unwrap();
        }
        // Neither triggers nor references are regarded then.
        sqlx::raw_sql("SET session_replication_role = replica").execute(&mut db).await.unwrap();
        let done = sqlx::raw_sql(sqlx::AssertSqlSafe(sql.to_owned())).execute(&mut db).await.unwrap();
        assert_eq!(done.rows_affected(), 1, "{sql}");
        db.close().await.unwrap();
    }

    fn literal(&self, value: &Value) -> String {
        match value {
            Value::Null => "NULL".to_owned(),
            Value::Text(text) => format!("'{}'", text.replace('\'', "''")),
            Value::Integer(number) => number.to_string(),
            Value::Real(number) => format!("{number:?}"),
            Value::Truth(truth) => truth.to_string(),
            Value::Bytes(bytes) => {
                let hex: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
                format!("'\\x{hex}'::bytea")
            }
        }
    }
}

becket_store::suite!(OnServer::new());
