//! The journal.

use async_trait::async_trait;
use becket_store::tables::{Told, bytes_32, entry_of};
use becket_store::{Engine, Entry, JournalStore, Listener, Outdated, StoreError, WriteContext};
use sqlx::PgConnection;

use crate::PostgresStore;
use crate::cells::each;
use crate::errors::engine;
use crate::{idempotency, news, sequencer};

/// Puts what a write has to tell into the inbox of the journal.
pub(crate) async fn put(db: &mut PgConnection, ctx: &WriteContext, told: Told) -> Result<(), StoreError> {
    put_entries(db, &told.entries(ctx)?).await
}

/// Puts entries of one write into the inbox.
pub(crate) async fn put_entries(db: &mut PgConnection, entries: &[Entry]) -> Result<(), StoreError> {
    let Some(Entry { entry_us, actor, origin, request_id, method, .. }) = entries.first() else {
        return Ok(());
    };
    let subjects: Vec<&str> = entries.iter().map(|entry| entry.subject.as_str()).collect();
    let before: Vec<Option<&str>> = entries.iter().map(|entry| entry.before.as_deref()).collect();
    let after: Vec<Option<&str>> = entries.iter().map(|entry| entry.after.as_deref()).collect();
    let effects: Vec<Option<&str>> = entries.iter().map(|entry| entry.effects.as_deref()).collect();
    sqlx::query(
        "INSERT INTO journal_inbox (entry_us, actor, origin, request_id, method, subject, before_json, after_json, effects_json) \
         SELECT $1, $2, $3, $4, $5, e.subject, e.before_json, e.after_json, e.effects_json \
         FROM UNNEST($6::text[], $7::text[], $8::text[], $9::text[]) \
         WITH ORDINALITY AS e (subject, before_json, after_json, effects_json, place) \
         ORDER BY e.place",
    )
    .bind(entry_us)
    .bind(actor)
    .bind(origin)
    .bind(request_id)
    .bind(method)
    .bind(subjects)
    .bind(before)
    .bind(after)
    .bind(effects)
    .execute(db)
    .await
    .map_err(engine)?;
    Ok(())
}

#[async_trait]
impl JournalStore for PostgresStore {
    async fn entries(
        &self,
        after_sequence: i64,
        limit: u32,
        subject: Option<&str>,
    ) -> Result<Vec<Entry>, StoreError> {
        // What was answered before this call is in the journal or in its inbox.
        sequencer::move_all(&self.writer).await?;
        // Two statements, since one with "subject = $1 OR $1 IS NULL" would not use the index.
        let of_one = "SELECT * FROM journal WHERE sequence > $1 AND subject = $3 ORDER BY sequence LIMIT $2";
        let query = match subject {
            None => sqlx::query("SELECT * FROM journal WHERE sequence > $1 ORDER BY sequence LIMIT $2"),
            Some(_) => sqlx::query(of_one),
        };
        let mut query = query.bind(after_sequence).bind(i64::from(limit));
        if let Some(subject) = subject {
            query = query.bind(subject);
        }
        each(query.fetch_all(&self.reader).await.map_err(engine)?, entry_of)
    }

    async fn last_sequence(&self) -> Result<i64, StoreError> {
        // What is committed and waits in the inbox counts: it is what the last sequence will be. One statement sees an entry either
        // here or there, so the sum rises with every commit and never falls.
        sqlx::query_scalar("SELECT sequence + (SELECT COUNT(*) FROM journal_inbox) FROM journal_head")
            .fetch_one(&self.reader)
            .await
            .map_err(engine)
    }
}

#[async_trait]
impl Engine for PostgresStore {
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
        // A standby answers reads and refuses every write.
        let standby: bool =
            sqlx::query_scalar("SELECT pg_is_in_recovery()").fetch_one(&self.writer).await.map_err(engine)?;
        if standby {
            return Err(StoreError::Unavailable("the server is a standby, which takes no writes".into()));
        }
        Ok(())
    }

    async fn changes(&self) -> Result<Box<dyn Listener>, StoreError> {
        news::listen(self).await
    }
}
