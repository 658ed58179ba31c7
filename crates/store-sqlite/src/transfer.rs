//! Moving a shop out of a file and into one.

use async_trait::async_trait;
use becket_store::StoreError;
use becket_store::tables::{Row, ShopReader, ShopWriter, Table, Value};
use sqlx::query::Query;
use sqlx::sqlite::SqliteArguments;
use sqlx::{Sqlite, Transaction};

use crate::SqliteStore;
use crate::cells::each;
use crate::errors::engine;

impl SqliteStore {
    /// Everything as it is now; until this is dropped nobody changes it.
    ///
    /// # Errors
    /// [`StoreError::Busy`] if another program is writing, and those of the engine.
    pub async fn read_shop(&self) -> Result<Box<dyn ShopReader>, StoreError> {
        Ok(Box::new(self.whole().await?))
    }

    /// Fills this database, which must be new.
    ///
    /// # Errors
    /// Those of the engine.
    pub async fn fill_shop(&self) -> Result<Box<dyn ShopWriter>, StoreError> {
        Ok(Box::new(self.whole().await?))
    }

    async fn whole(&self) -> Result<Whole, StoreError> {
        Ok(Whole(self.writer.begin_with("BEGIN IMMEDIATE").await.map_err(engine)?))
    }
}

struct Whole(Transaction<'static, Sqlite>);

fn bind<'q>(query: Query<'q, Sqlite, SqliteArguments>, value: &Value) -> Query<'q, Sqlite, SqliteArguments> {
    match value {
        Value::Null => query.bind(None::<String>),
        Value::Text(text) => query.bind(text.clone()),
        Value::Integer(number) => query.bind(*number),
        Value::Real(number) => query.bind(*number),
        Value::Truth(truth) => query.bind(*truth),
        Value::Bytes(bytes) => query.bind(bytes.clone()),
    }
}

#[async_trait]
impl ShopReader for Whole {
    async fn rows(&mut self, table: &Table, after: &[Value], limit: u32) -> Result<Vec<Row>, StoreError> {
        let sql = table.page_sql(!after.is_empty());
        let query = after.iter().fold(sqlx::query(sqlx::AssertSqlSafe(sql)), bind);
        let rows = query.bind(i64::from(limit)).fetch_all(&mut *self.0).await.map_err(engine)?;
        each(rows, |row| table.row_of(row))
    }
}

#[async_trait]
impl ShopWriter for Whole {
    async fn insert(&mut self, table: &Table, rows: &[Row]) -> Result<(), StoreError> {
        let places: Vec<String> = (1..=table.columns.len()).map(|place| format!("${place}")).collect();
        let sql =
            format!("INSERT INTO {} ({}) VALUES ({})", table.name, table.column_list(), places.join(", "));
        for row in rows {
            let query = row.iter().fold(sqlx::query(sqlx::AssertSqlSafe(sql.clone())), bind);
            query.execute(&mut *self.0).await.map_err(engine)?;
        }
        Ok(())
    }

    async fn clear_own(&mut self) -> Result<(), StoreError> {
        sqlx::query("DELETE FROM meta").execute(&mut *self.0).await.map_err(engine)?;
        Ok(())
    }

    async fn finish(self: Box<Self>, _last_sequence: i64, _last_hash: [u8; 32]) -> Result<(), StoreError> {
        self.0.commit().await.map_err(engine)
    }
}
