//! Moving a shop out of a file and into one.

use async_trait::async_trait;
use becket_store::StoreError;
use becket_store::replay::checkpoint;
use becket_store::tables::{Row, ShopReader, ShopWriter, Table, Value};
use sqlx::query::Query;
use sqlx::sqlite::SqliteArguments;
use sqlx::{Sqlite, Transaction};

use crate::SqliteStore;
use crate::cells::each;
use crate::errors::engine;
use crate::journal;

impl SqliteStore {
    /// Everything as it is now; until this is dropped nobody changes it.
    ///
    /// # Errors
    /// [`StoreError::Busy`] if another program is writing, and those of the engine.
    pub async fn read_shop(&self) -> Result<Box<dyn ShopReader>, StoreError> {
        Ok(Box::new(self.whole().await?))
    }

    /// Everything as it is now, as one snapshot; others may write meanwhile.
    ///
    /// # Errors
    /// Those of the engine.
    pub async fn snapshot(&self) -> Result<Box<dyn ShopReader>, StoreError> {
        Ok(Box::new(Whole(self.reader.begin().await.map_err(engine)?)))
    }

    /// Writes a checkpoint into the journal if a migration asked for one.
    pub(crate) async fn checkpoint_if_wanted(&self) -> Result<(), StoreError> {
        let (wanted, now_us): (bool, i64) = sqlx::query_as(
            "SELECT EXISTS (SELECT 1 FROM meta WHERE key = ?), \
             CAST((julianday('now') - 2440587.5) * 86400000000.0 AS INTEGER)",
        )
        .bind(checkpoint::WANTED)
        .fetch_one(&self.writer)
        .await
        .map_err(engine)?;
        if !wanted {
            return Ok(());
        }
        let mut whole = self.whole().await?;
        let asked = sqlx::query("DELETE FROM meta WHERE key = ?")
            .bind(checkpoint::WANTED)
            .execute(&mut *whole.0)
            .await
            .map_err(engine)?;
        if asked.rows_affected() == 0 {
            return Ok(());
        }
        let entries = checkpoint::entries(&mut whole, now_us).await?;
        journal::append_entries(&mut whole.0, entries).await?;
        whole.0.commit().await.map_err(engine)
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

    async fn head(&mut self) -> Result<Option<(i64, [u8; 32])>, StoreError> {
        journal::head(&mut self.0).await.map(Some)
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

    async fn finish(mut self: Box<Self>, last_sequence: i64, last_hash: [u8; 32]) -> Result<(), StoreError> {
        journal::set_head(&mut self.0, last_sequence, &last_hash).await?;
        self.0.commit().await.map_err(engine)
    }
}
