//! Receivers of events by HTTP.

use async_trait::async_trait;
use becket_store::tables::{self, WEBHOOKS_SQL, WebhookTables, corrupt, letter_of, webhook_of};
use becket_store::{
    Answer, DeadLetter, NewWebhook, Outcome, Outdated, Page, PageRequest, StoreError, StoredWebhook,
    WebhookProgress, WebhookStore, WriteContext, Written,
};
use sqlx::PgConnection;

use crate::PostgresStore;
use crate::cells::{Cells, each};
use crate::errors::engine;
use crate::journal;
use crate::write::{Write, run};

#[async_trait]
impl WebhookTables for Write<'_> {
    async fn insert_webhook(&mut self, webhook: &NewWebhook) -> Result<bool, StoreError> {
        let now_us = self.ctx.now_us;
        let NewWebhook { webhook_id, url, types, subject_prefix, secret } = webhook;
        let inserted = sqlx::query(
            "INSERT INTO webhooks (webhook_id, url, types, subject_prefix, secret, state, created_us) \
             VALUES ($1, $2, $3, $4, $5, 'active', $6) ON CONFLICT DO NOTHING",
        )
        .bind(webhook_id)
        .bind(url)
        .bind(types.join(" "))
        .bind(subject_prefix)
        .bind(&secret.0)
        .bind(now_us)
        .execute(self.db())
        .await
        .map_err(engine)?;
        if inserted.rows_affected() == 0 {
            return Ok(false);
        }
        // What is committed by now has its place up to here, or gets it.
        sqlx::query(
            "INSERT INTO webhook_progress (webhook_id, told_sequence, attempts, next_us, last_error) \
             VALUES ($1, (SELECT sequence + (SELECT COUNT(*) FROM journal_inbox) FROM journal_head), 0, 0, '')",
        )
        .bind(webhook_id)
        .execute(self.db())
        .await
        .map_err(engine)?;
        Ok(true)
    }

    async fn read_webhook(&mut self, webhook_id: &str) -> Result<Option<StoredWebhook>, StoreError> {
        let sql = format!("{WEBHOOKS_SQL} = $1 FOR UPDATE OF w");
        let row = sqlx::query(sqlx::AssertSqlSafe(sql))
            .bind(webhook_id)
            .fetch_optional(self.db())
            .await
            .map_err(engine)?;
        row.map(|row| webhook_of(&Cells(row))).transpose()
    }

    async fn remove_webhook(&mut self, webhook_id: &str) -> Result<(), StoreError> {
        sqlx::query("DELETE FROM webhooks WHERE webhook_id = $1")
            .bind(webhook_id)
            .execute(self.db())
            .await
            .map_err(engine)?;
        Ok(())
    }

    async fn queue_letters(&mut self, webhook_id: &str, sequences: &[i64]) -> Result<i64, StoreError> {
        let updated = sqlx::query(
            "UPDATE webhook_letters SET state = 'queued' WHERE webhook_id = $1 AND (cardinality($2::bigint[]) = 0 OR sequence = ANY($2))",
        )
        .bind(webhook_id)
        .bind(sequences)
        .execute(self.db())
        .await
        .map_err(engine)?;
        i64::try_from(updated.rows_affected()).map_err(corrupt)
    }
}

#[async_trait]
impl WebhookStore for PostgresStore {
    async fn create_webhook(
        &self,
        ctx: &WriteContext,
        webhook: NewWebhook,
        answer: Answer<StoredWebhook>,
    ) -> Result<Written, StoreError> {
        run!(self, ctx, answer, |tables| tables::create_webhook(tables, &webhook))
    }

    async fn delete_webhook(
        &self,
        ctx: &WriteContext,
        webhook_id: &str,
        answer: Answer<()>,
    ) -> Result<Written, StoreError> {
        run!(self, ctx, answer, |tables| tables::delete_webhook(tables, webhook_id))
    }

    async fn queue_letters(
        &self,
        ctx: &WriteContext,
        webhook_id: &str,
        sequences: Vec<i64>,
        answer: Answer<i64>,
    ) -> Result<Written, StoreError> {
        run!(self, ctx, answer, |tables| tables::queue_letters(tables, webhook_id, &sequences))
    }

    async fn list_webhooks(&self, page: &PageRequest) -> Result<Page<StoredWebhook>, StoreError> {
        let sql = format!("{WEBHOOKS_SQL} > $1 ORDER BY w.webhook_id LIMIT $2");
        let rows = sqlx::query(sqlx::AssertSqlSafe(sql))
            .bind(page.after.as_deref().unwrap_or_default())
            .bind(i64::from(page.limit) + 1)
            .fetch_all(&self.reader)
            .await
            .map_err(engine)?;
        let webhooks = each(rows, webhook_of)?;
        Ok(Page::from_fetched(webhooks, page.limit, |stored: &StoredWebhook| {
            stored.webhook.webhook_id.clone()
        }))
    }

    async fn list_letters(
        &self,
        webhook_id: &str,
        queued: bool,
        page: &PageRequest,
    ) -> Result<Page<DeadLetter>, StoreError> {
        let rows = sqlx::query(
            "SELECT * FROM webhook_letters WHERE webhook_id = $1 AND sequence > $2 AND (state = 'queued' OR NOT $3) \
             ORDER BY sequence LIMIT $4",
        )
        .bind(webhook_id)
        .bind(page.after_number()?.unwrap_or(0))
        .bind(queued)
        .bind(i64::from(page.limit) + 1)
        .fetch_all(&self.reader)
        .await
        .map_err(engine)?;
        let letters = each(rows, letter_of)?;
        Ok(Page::from_fetched(letters, page.limit, |letter: &DeadLetter| letter.sequence.to_string()))
    }

    async fn take_lease(&self, holder: &str, _now_us: i64, ttl_us: i64) -> Result<Option<i64>, StoreError> {
        sqlx::query_scalar(
            "INSERT INTO webhook_lease (lease_id, holder, fence, until_us) VALUES (1, $1, 1, (extract(epoch FROM clock_timestamp()) * 1000000)::bigint + $2) \
             ON CONFLICT (lease_id) DO UPDATE SET holder = excluded.holder, until_us = excluded.until_us, \
             fence = webhook_lease.fence + CASE WHEN webhook_lease.holder = excluded.holder THEN 0 ELSE 1 END \
             WHERE webhook_lease.holder = excluded.holder OR webhook_lease.until_us <= (extract(epoch FROM clock_timestamp()) * 1000000)::bigint \
             OR webhook_lease.until_us > excluded.until_us RETURNING fence",
        )
        .bind(holder)
        .bind(ttl_us)
        .fetch_optional(&self.writer)
        .await
        .map_err(engine)
    }

    async fn note_outcome(
        &self,
        fence: i64,
        webhook_id: &str,
        told_sequence: i64,
        outcome: &Outcome,
    ) -> Result<bool, StoreError> {
        let mut tx = self
            .writer
            .begin_with("BEGIN ISOLATION LEVEL READ COMMITTED READ WRITE")
            .await
            .map_err(engine)?;
        // The row of the lease is held until the end, so that nobody takes over in between.
        let held: Option<i64> = sqlx::query_scalar("SELECT fence FROM webhook_lease FOR UPDATE")
            .fetch_optional(&mut *tx)
            .await
            .map_err(engine)?;
        let noted = held == Some(fence) && note(&mut tx, webhook_id, told_sequence, outcome).await?;
        if !noted {
            return Ok(false);
        }
        if let Outcome::Gone { gone_us, .. } = outcome {
            journal::put_entries(&mut tx, &[tables::webhook_gone(webhook_id, *gone_us)]).await?;
        }
        tx.commit().await.map_err(engine)?;
        if matches!(outcome, Outcome::Gone { .. }) {
            self.sequencer.wake();
        }
        Ok(true)
    }

    async fn drop_letters(&self, fence: i64, old: &Outdated) -> Result<u64, StoreError> {
        // The row of the lease is held, so that nobody takes over in between.
        let dropped = sqlx::query(
            "WITH held AS (SELECT 1 FROM webhook_lease WHERE fence = $5 FOR UPDATE) \
             DELETE FROM webhook_letters WHERE ctid = ANY (ARRAY(SELECT l.ctid FROM webhook_letters l \
             WHERE l.state = 'dead' AND EXISTS (SELECT 1 FROM held) \
             AND l.failed_us < LEAST($1, (EXTRACT(EPOCH FROM clock_timestamp()) * 1000000)::bigint) - $2 \
             AND l.failed_us < (SELECT n.failed_us FROM webhook_letters n ORDER BY n.failed_us DESC LIMIT 1 OFFSET $3) \
             ORDER BY l.failed_us LIMIT $4 FOR UPDATE OF l SKIP LOCKED))",
        )
        .bind(old.now_us)
        .bind(old.kept_us)
        .bind(i64::from(old.newest_kept.saturating_sub(1)))
        .bind(i64::from(old.most))
        .bind(fence)
        .execute(&self.writer)
        .await
        .map_err(engine)?;
        Ok(dropped.rows_affected())
    }
}

async fn note(
    db: &mut PgConnection,
    webhook_id: &str,
    told_sequence: i64,
    outcome: &Outcome,
) -> Result<bool, StoreError> {
    match outcome {
        Outcome::Progress(progress) => advance(db, webhook_id, told_sequence, progress).await,
        Outcome::LaidAside(progress, letter) => Ok(advance(db, webhook_id, told_sequence, progress).await?
            && lay_aside(db, webhook_id, letter).await?),
        Outcome::Gone { progress, gone_us: _ } => {
            Ok(advance(db, webhook_id, told_sequence, progress).await? && end(db, webhook_id).await?)
        }
        Outcome::LetterTold { sequence } => {
            let deleted = sqlx::query("DELETE FROM webhook_letters WHERE webhook_id = $1 AND sequence = $2")
                .bind(webhook_id)
                .bind(sequence)
                .execute(db)
                .await
                .map_err(engine)?;
            Ok(deleted.rows_affected() == 1)
        }
        Outcome::LetterFailed(letter) => lay_aside(db, webhook_id, letter).await,
    }
}

async fn advance(
    db: &mut PgConnection,
    webhook_id: &str,
    from: i64,
    to: &WebhookProgress,
) -> Result<bool, StoreError> {
    let updated = sqlx::query(
        "UPDATE webhook_progress SET told_sequence = $3, attempts = $4, next_us = $5, last_error = $6 \
         WHERE webhook_id = $1 AND told_sequence = $2",
    )
    .bind(webhook_id)
    .bind(from)
    .bind(to.told_sequence)
    .bind(to.attempts)
    .bind(to.next_us)
    .bind(&to.last_error)
    .execute(db)
    .await
    .map_err(engine)?;
    Ok(updated.rows_affected() == 1)
}

/// Lays an event aside; a receiver that is removed meanwhile has no letters.
async fn lay_aside(db: &mut PgConnection, webhook_id: &str, letter: &DeadLetter) -> Result<bool, StoreError> {
    let laid = sqlx::query(
        "INSERT INTO webhook_letters (webhook_id, sequence, state, attempts, failed_us, last_error) \
         SELECT webhook_id, $2, $3, $4, $5, $6 FROM webhooks WHERE webhook_id = $1 \
         ON CONFLICT (webhook_id, sequence) DO UPDATE SET state = excluded.state, attempts = excluded.attempts, \
         failed_us = excluded.failed_us, last_error = excluded.last_error",
    )
    .bind(webhook_id)
    .bind(letter.sequence)
    .bind(if letter.queued { "queued" } else { "dead" })
    .bind(letter.attempts)
    .bind(letter.failed_us)
    .bind(&letter.last_error)
    .execute(db)
    .await
    .map_err(engine)?;
    Ok(laid.rows_affected() == 1)
}

async fn end(db: &mut PgConnection, webhook_id: &str) -> Result<bool, StoreError> {
    let updated = sqlx::query("UPDATE webhooks SET state = 'gone' WHERE webhook_id = $1")
        .bind(webhook_id)
        .execute(db)
        .await
        .map_err(engine)?;
    Ok(updated.rows_affected() == 1)
}
