//! The journal.

use async_trait::async_trait;
use becket_store::journal::chain;
use becket_store::tables::{Told, bytes_32, entry_of};
use becket_store::{Engine, Entry, JournalStore, Listener, Outdated, StoreError, WriteContext};
use sqlx::SqliteConnection;

use crate::SqliteStore;
use crate::cells::each;
use crate::errors::engine;
use crate::idempotency;

/// Adds what a write has to tell, and returns the subjects.
pub(crate) async fn append(
    db: &mut SqliteConnection,
    ctx: &WriteContext,
    told: Told,
) -> Result<Vec<String>, StoreError> {
    append_entries(db, told.entries(ctx)?).await
}

/// Sequence and hash of the last entry; before the first, 0 and [`becket_store::journal::GENESIS`].
pub(crate) async fn head(db: &mut SqliteConnection) -> Result<(i64, [u8; 32]), StoreError> {
    let (sequence, hash): (i64, Vec<u8>) =
        sqlx::query_as("SELECT sequence, hash FROM journal_head").fetch_one(db).await.map_err(engine)?;
    Ok((sequence, bytes_32(hash)?))
}

/// Moves the head to an entry.
pub(crate) async fn set_head(
    db: &mut SqliteConnection,
    sequence: i64,
    hash: &[u8; 32],
) -> Result<(), StoreError> {
    sqlx::query("UPDATE journal_head SET sequence = ?, hash = ?")
        .bind(sequence)
        .bind(hash.as_slice())
        .execute(db)
        .await
        .map_err(engine)?;
    Ok(())
}

/// Gives entries their places and adds them. Returns their subjects.
pub(crate) async fn append_entries(
    db: &mut SqliteConnection,
    mut entries: Vec<Entry>,
) -> Result<Vec<String>, StoreError> {
    let (sequence, hash) = head(&mut *db).await?;
    chain(sequence, hash, &mut entries);
    let Some(last) = entries.last() else { return Ok(Vec::new()) };
    set_head(&mut *db, last.sequence, &last.hash).await?;
    for entry in &entries {
        sqlx::query(
            "INSERT INTO journal (sequence, entry_us, actor, origin, request_id, method, subject, before_json, \
             after_json, hash, effects_json) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        )
        .bind(entry.sequence)
        .bind(entry.entry_us)
        .bind(&entry.actor)
        .bind(&entry.origin)
        .bind(&entry.request_id)
        .bind(&entry.method)
        .bind(&entry.subject)
        .bind(&entry.before)
        .bind(&entry.after)
        .bind(entry.hash.as_slice())
        .bind(&entry.effects)
        .execute(&mut *db)
        .await
        .map_err(engine)?;
    }
    Ok(entries.into_iter().map(|entry| entry.subject).collect())
}

#[async_trait]
impl JournalStore for SqliteStore {
    async fn entries(
        &self,
        after_sequence: i64,
        limit: u32,
        subject: Option<&str>,
    ) -> Result<Vec<Entry>, StoreError> {
        // Two statements, since one with "subject = ? OR ? IS NULL" would not use the index.
        let query = match subject {
            None => sqlx::query("SELECT * FROM journal WHERE sequence > ? ORDER BY sequence LIMIT ?"),
            Some(subject) => sqlx::query(
                "SELECT * FROM journal WHERE subject = ? AND sequence > ? ORDER BY sequence LIMIT ?",
            )
            .bind(subject),
        };
        let rows = query.bind(after_sequence).bind(limit).fetch_all(&self.reader).await.map_err(engine)?;
        each(rows, entry_of)
    }

    async fn last_sequence(&self) -> Result<i64, StoreError> {
        sqlx::query_scalar("SELECT COALESCE(MAX(sequence), 0) FROM journal")
            .fetch_one(&self.reader)
            .await
            .map_err(engine)
    }
}

#[async_trait]
impl Engine for SqliteStore {
    async fn find_answer(&self, ctx: &WriteContext) -> Result<Option<Vec<u8>>, StoreError> {
        let mut db = self.reader.acquire().await.map_err(engine)?;
        idempotency::find(&mut db, ctx).await
    }

    async fn drop_answers(&self, old: &Outdated) -> Result<u64, StoreError> {
        idempotency::drop_old(self, old).await
    }

    async fn token_key(&self) -> Result<[u8; 32], StoreError> {
        let key: Vec<u8> = sqlx::query_scalar("SELECT value FROM meta WHERE key = 'token_key'")
            .fetch_one(&self.reader)
            .await
            .map_err(engine)?;
        bytes_32(key)
    }

    async fn check(&self) -> Result<(), StoreError> {
        // An immediate transaction shows that the database can be locked for writing, and leaves nothing.
        let tx = self.writer.begin_with("BEGIN IMMEDIATE").await.map_err(engine)?;
        tx.rollback().await.map_err(engine)
    }

    async fn changes(&self) -> Result<Box<dyn Listener>, StoreError> {
        Ok(self.news.listen())
    }
}
