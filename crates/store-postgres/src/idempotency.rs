//! First answers by caller, method and request id.
//!
//! A request whose answer was dropped is known by its entry in the journal. It is looked for twice: when the place of the answer is taken, and
//! when the answer is put there. The first look may be older than the moment at which the place became free; the second begins after the
//! place was taken, so it sees the entry of whatever was dropped to make it free.

use becket_store::tables::{FIND_ANSWER_SQL, FoundAnswer, answer_of, corrupt};
use becket_store::{Outdated, StoreError, WriteContext};
use sqlx::PgConnection;

use crate::errors::engine;
use crate::write::Turn;
use crate::{PostgresStore, sequencer};

/// The first answer to this request, if it was made before. Else its place is taken: whoever sends the same request meanwhile
/// waits until this one is stored or undone.
pub(crate) async fn claim(db: &mut PgConnection, ctx: &WriteContext) -> Result<Option<Vec<u8>>, StoreError> {
    let claimed = sqlx::query(
        "INSERT INTO answers (actor, method, request_id, digest, answer, created_us) \
         SELECT $1::text, $2::text, $3::text, $4::bytea, ''::bytea, $5::bigint WHERE NOT EXISTS \
         (SELECT 1 FROM journal WHERE request_id = $3::text AND method = $2::text AND actor = $1::text) \
         ON CONFLICT DO NOTHING",
    )
    .bind(&ctx.actor)
    .bind(ctx.method)
    .bind(&ctx.request_id)
    .bind(ctx.request_digest.as_slice())
    .bind(ctx.now_us)
    .execute(&mut *db)
    .await
    .map_err(engine)?;
    if claimed.rows_affected() == 1 {
        return Ok(None);
    }
    match find(db, ctx).await? {
        Some(answer) => Ok(Some(answer)),
        // What kept the place is gone by now.
        None => Err(StoreError::Busy),
    }
}

/// The first answer to this request, if it was made before.
pub(crate) async fn find(db: &mut PgConnection, ctx: &WriteContext) -> Result<Option<Vec<u8>>, StoreError> {
    let found: Vec<FoundAnswer> = sqlx::query_as(FIND_ANSWER_SQL)
        .bind(&ctx.actor)
        .bind(ctx.method)
        .bind(&ctx.request_id)
        .fetch_all(db)
        .await
        .map_err(engine)?;
    answer_of(found, ctx)
}

/// Keeps the first answer in the place that was taken.
pub(crate) async fn keep(db: &mut PgConnection, ctx: &WriteContext, answer: &[u8]) -> Result<(), StoreError> {
    let kept = sqlx::query(
        "UPDATE answers SET answer = $4 WHERE actor = $1 AND method = $2 AND request_id = $3 AND NOT EXISTS \
         (SELECT 1 FROM journal WHERE request_id = $3 AND method = $2 AND actor = $1)",
    )
    .bind(&ctx.actor)
    .bind(ctx.method)
    .bind(&ctx.request_id)
    .bind(answer)
    .execute(&mut *db)
    .await
    .map_err(engine)?;
    if kept.rows_affected() == 1 {
        return Ok(());
    }
    let sequence: Option<i64> = sqlx::query_scalar(
        "SELECT sequence FROM journal WHERE request_id = $3 AND method = $2 AND actor = $1 LIMIT 1",
    )
    .bind(&ctx.actor)
    .bind(ctx.method)
    .bind(&ctx.request_id)
    .fetch_optional(db)
    .await
    .map_err(engine)?;
    let sequence = sequence.ok_or_else(|| corrupt("the place of an answer is gone"))?;
    Err(StoreError::AnswerDropped { sequence })
}

/// Drops old answers, and returns how many; nothing while another replica does so.
pub(crate) async fn drop_old(store: &PostgresStore, old: &Outdated) -> Result<u64, StoreError> {
    // What is committed by now is in the journal afterwards, where a repeat finds it.
    sequencer::move_all(&store.writer).await?;
    let mut tx =
        store.writer.begin_with("BEGIN ISOLATION LEVEL READ COMMITTED READ WRITE").await.map_err(engine)?;
    let mine: bool = sqlx::query_scalar("SELECT pg_try_advisory_xact_lock($1)")
        .bind(Turn::OldAnswers as i64)
        .fetch_one(&mut *tx)
        .await
        .map_err(engine)?;
    if !mine {
        return Ok(0);
    }
    // One whose entry still waits for its place stays, however old a clock made it; and one that is in use is passed over.
    let dropped = sqlx::query(
        "DELETE FROM answers WHERE ctid = ANY (ARRAY(SELECT a.ctid FROM answers a \
         WHERE a.created_us < LEAST($1, (EXTRACT(EPOCH FROM clock_timestamp()) * 1000000)::bigint) - $2 \
         AND a.created_us < (SELECT n.created_us FROM answers n ORDER BY n.created_us DESC LIMIT 1 OFFSET $3) \
         AND NOT EXISTS (SELECT 1 FROM journal_inbox i WHERE i.request_id = a.request_id COLLATE \"C\" \
         AND i.method = a.method COLLATE \"C\" AND i.actor = a.actor COLLATE \"C\") ORDER BY a.created_us LIMIT $4 FOR UPDATE OF a SKIP LOCKED))",
    )
    .bind(old.now_us)
    .bind(old.kept_us)
    .bind(i64::from(old.newest_kept.saturating_sub(1)))
    .bind(i64::from(old.most))
    .execute(&mut *tx)
    .await
    .map_err(engine)?;
    tx.commit().await.map_err(engine)?;
    Ok(dropped.rows_affected())
}
