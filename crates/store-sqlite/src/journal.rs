//! The journal.

use async_trait::async_trait;
use becket_store::journal::GENESIS;
use becket_store::{Engine, Entry, JournalStore, StoreError, WriteContext};
use sqlx::sqlite::SqliteRow;
use sqlx::{Row, SqliteConnection};

use crate::SqliteStore;
use crate::errors::{corrupt, engine};
use crate::idempotency;

/// The last entry.
pub(crate) struct Tail {
    sequence: i64,
    hash: [u8; 32],
}

impl Tail {
    pub(crate) async fn read(db: &mut SqliteConnection) -> Result<Self, StoreError> {
        let row: Option<(i64, Vec<u8>)> =
            sqlx::query_as("SELECT sequence, hash FROM journal ORDER BY sequence DESC LIMIT 1")
                .fetch_optional(db)
                .await
                .map_err(engine)?;
        match row {
            None => Ok(Self { sequence: 0, hash: GENESIS }),
            Some((sequence, hash)) => Ok(Self { sequence, hash: hash_of(hash)? }),
        }
    }

    pub(crate) async fn append(
        self,
        db: &mut SqliteConnection,
        ctx: &WriteContext,
        subject: String,
        before: Option<String>,
        after: Option<String>,
    ) -> Result<Self, StoreError> {
        let entry = Entry::following(self.sequence, &self.hash, ctx, subject, before, after);
        sqlx::query(
            "INSERT INTO journal (sequence, entry_us, actor, origin, request_id, method, subject, before_json, \
             after_json, hash) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
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
        .execute(db)
        .await
        .map_err(engine)?;
        Ok(Self { sequence: entry.sequence, hash: entry.hash })
    }
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
        rows.iter().map(entry_of).collect()
    }
}

#[async_trait]
impl Engine for SqliteStore {
    async fn find_answer(&self, ctx: &WriteContext) -> Result<Option<Vec<u8>>, StoreError> {
        let mut db = self.reader.acquire().await.map_err(engine)?;
        idempotency::find(&mut db, ctx).await
    }

    async fn token_key(&self) -> Result<[u8; 32], StoreError> {
        let key: Vec<u8> = sqlx::query_scalar("SELECT value FROM meta WHERE key = 'token_key'")
            .fetch_one(&self.reader)
            .await
            .map_err(engine)?;
        key.try_into().map_err(|_| corrupt("the token key does not have 32 bytes"))
    }

    async fn check(&self) -> Result<(), StoreError> {
        // An immediate transaction shows that the database can be locked for writing, and leaves nothing.
        let tx = self.writer.begin_with("BEGIN IMMEDIATE").await.map_err(engine)?;
        tx.rollback().await.map_err(engine)
    }
}

fn entry_of(row: &SqliteRow) -> Result<Entry, StoreError> {
    Ok(Entry {
        sequence: row.try_get("sequence").map_err(engine)?,
        entry_us: row.try_get("entry_us").map_err(engine)?,
        actor: row.try_get("actor").map_err(engine)?,
        origin: row.try_get("origin").map_err(engine)?,
        request_id: row.try_get("request_id").map_err(engine)?,
        method: row.try_get("method").map_err(engine)?,
        subject: row.try_get("subject").map_err(engine)?,
        before: row.try_get("before_json").map_err(engine)?,
        after: row.try_get("after_json").map_err(engine)?,
        hash: hash_of(row.try_get("hash").map_err(engine)?)?,
    })
}

fn hash_of(bytes: Vec<u8>) -> Result<[u8; 32], StoreError> {
    bytes.try_into().map_err(|_| corrupt("a journal hash does not have 32 bytes"))
}
