//! Moving a shop out of a database and into one.

use async_trait::async_trait;
use becket_store::replay::checkpoint;
use becket_store::tables::{Row, ShopReader, ShopWriter, Table, Value, bytes_32};
use becket_store::{Entry, StoreError};
use sqlx::postgres::PgArguments;
use sqlx::query::Query;
use sqlx::{PgPool, Postgres, Transaction};

use crate::PostgresStore;
use crate::cells::each;
use crate::errors::engine;
use crate::{journal, sequencer};

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

/// Writes a checkpoint into the journal if a migration asked for one.
pub(crate) async fn checkpoint_if_wanted(pool: &PgPool) -> Result<(), StoreError> {
    let (wanted, now_us): (bool, i64) = sqlx::query_as(
        "SELECT EXISTS (SELECT 1 FROM meta WHERE key = $1), \
         (EXTRACT(EPOCH FROM clock_timestamp()) * 1000000)::bigint",
    )
    .bind(checkpoint::WANTED)
    .fetch_one(pool)
    .await
    .map_err(engine)?;
    if !wanted {
        return Ok(());
    }
    let mut tx = pool.begin_with("BEGIN ISOLATION LEVEL READ COMMITTED READ WRITE").await.map_err(engine)?;
    // Whoever else asks waits here, and finds nothing to do then.
    let asked = sqlx::query("DELETE FROM meta WHERE key = $1")
        .bind(checkpoint::WANTED)
        .execute(&mut *tx)
        .await
        .map_err(engine)?;
    if asked.rows_affected() == 0 {
        return Ok(());
    }
    // A write of another replica ends before this or tells its entries behind it, since it puts them here last.
    sqlx::query("LOCK TABLE journal_inbox IN EXCLUSIVE MODE").execute(&mut *tx).await.map_err(engine)?;
    let mut whole = Whole(tx);
    for entry in checkpoint::entries(&mut whole, now_us).await? {
        journal::put_entries(&mut whole.0, &[entry]).await?;
    }
    whole.0.commit().await.map_err(engine)?;
    sequencer::move_all(pool).await
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

    async fn head(&mut self) -> Result<Option<(i64, [u8; 32])>, StoreError> {
        let (sequence, hash): (i64, Vec<u8>) = sqlx::query_as("SELECT sequence, hash FROM journal_head")
            .fetch_one(&mut *self.0)
            .await
            .map_err(engine)?;
        Ok(Some((sequence, bytes_32(hash)?)))
    }

    async fn waiting(&mut self) -> Result<Vec<Entry>, StoreError> {
        let rows = sqlx::query("SELECT *, xmin::text AS writer FROM journal_inbox")
            .fetch_all(&mut *self.0)
            .await
            .map_err(engine)?;
        sequencer::write_by_write(rows)
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
