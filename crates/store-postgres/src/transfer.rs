//! Moving a shop out of a database and into one.

use async_trait::async_trait;
use becket_store::StoreError;
use becket_store::tables::{Row, ShopReader, ShopWriter, Table, Value};
use sqlx::postgres::PgArguments;
use sqlx::query::Query;
use sqlx::{Postgres, Transaction};

use crate::PostgresStore;
use crate::cells::each;
use crate::errors::engine;
use crate::sequencer;

impl PostgresStore {
    /// Everything as it is now, as one snapshot, with every entry of the journal in its place.
    ///
    /// # Errors
    /// Those of the engine.
    pub async fn read_shop(&self) -> Result<Box<dyn ShopReader>, StoreError> {
        sequencer::move_all(&self.writer).await?;
        Ok(Box::new(Whole(self.snapshot().await?)))
    }

    /// Fills this database, which must be empty; until this is dropped nobody else writes.
    ///
    /// # Errors
    /// Those of the engine.
    pub async fn fill_shop(&self) -> Result<Box<dyn ShopWriter>, StoreError> {
        let mut tx = self
            .writer
            .begin_with("BEGIN ISOLATION LEVEL READ COMMITTED READ WRITE")
            .await
            .map_err(engine)?;
        // Every write begins with its answer.
        sqlx::query("LOCK TABLE answers IN EXCLUSIVE MODE").execute(&mut *tx).await.map_err(engine)?;
        Ok(Box::new(Whole(tx)))
    }
}

struct Whole(Transaction<'static, Postgres>);

fn bind<'q>(query: Query<'q, Postgres, PgArguments>, value: &Value) -> Query<'q, Postgres, PgArguments> {
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
        let (name, columns) = (table.name, table.column_list());
        let sql = format!(
            "INSERT INTO {name} ({columns}) SELECT {columns} FROM json_populate_recordset(NULL::{name}, $1::json)"
        );
        let object = |row: &Row| -> serde_json::Value {
            let fields =
                table.columns.iter().zip(row).map(|(column, value)| (column.name.to_owned(), value.json()));
            serde_json::Value::Object(fields.collect())
        };
        let rows: Vec<serde_json::Value> = rows.iter().map(object).collect();
        sqlx::query(sqlx::AssertSqlSafe(sql))
            .bind(serde_json::Value::from(rows).to_string())
            .execute(&mut *self.0)
            .await
            .map_err(engine)?;
        Ok(())
    }

    async fn clear_own(&mut self) -> Result<(), StoreError> {
        sqlx::query("DELETE FROM meta").execute(&mut *self.0).await.map_err(engine)?;
        Ok(())
    }

    async fn finish(mut self: Box<Self>, last_sequence: i64, last_hash: [u8; 32]) -> Result<(), StoreError> {
        sqlx::query("UPDATE journal_head SET sequence = $1, hash = $2")
            .bind(last_sequence)
            .bind(last_hash.as_slice())
            .execute(&mut *self.0)
            .await
            .map_err(engine)?;
        self.0.commit().await.map_err(engine)
    }
}
