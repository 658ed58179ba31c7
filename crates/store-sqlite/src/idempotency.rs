//! First answers by caller, method and request id.

use becket_store::tables::{FIND_ANSWER_SQL, FoundAnswer, answer_of};
use becket_store::{Outdated, StoreError, WriteContext};
use sqlx::SqliteConnection;

use crate::SqliteStore;
use crate::errors::engine;

/// The first answer to this request, if it was made before.
pub(crate) async fn find(
    db: &mut SqliteConnection,
    ctx: &WriteContext,
) -> Result<Option<Vec<u8>>, StoreError> {
    let found: Vec<FoundAnswer> = sqlx::query_as(FIND_ANSWER_SQL)
        .bind(&ctx.actor)
        .bind(ctx.method)
        .bind(&ctx.request_id)
        .fetch_all(db)
        .await
        .map_err(engine)?;
    answer_of(found, ctx)
}

/// Keeps the first answer.
pub(crate) async fn keep(
    db: &mut SqliteConnection,
    ctx: &WriteContext,
    answer: &[u8],
) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO answers (actor, method, request_id, digest, answer, created_us) VALUES (?, ?, ?, ?, ?, ?)",
    )
    .bind(&ctx.actor)
    .bind(ctx.method)
    .bind(&ctx.request_id)
    .bind(ctx.request_digest.as_slice())
    .bind(answer)
    .bind(ctx.now_us)
    .execute(db)
    .await
    .map_err(engine)?;
    Ok(())
}

/// Drops old answers, and returns how many.
pub(crate) async fn drop_old(store: &SqliteStore, old: &Outdated) -> Result<u64, StoreError> {
    // Looked for without keeping anybody from writing; mostly there is nothing to do.
    let there: bool = sqlx::query_scalar("SELECT EXISTS (SELECT 1 FROM answers WHERE created_us < ?)")
        .bind(old.before_us())
        .fetch_one(&store.reader)
        .await
        .map_err(engine)?;
    if !there {
        return Ok(0);
    }
    let dropped = sqlx::query(
        "DELETE FROM answers WHERE rowid IN (SELECT rowid FROM answers WHERE created_us < ?1 \
         AND created_us < (SELECT created_us FROM answers ORDER BY created_us DESC LIMIT 1 OFFSET ?2) \
         ORDER BY created_us LIMIT ?3)",
    )
    .bind(old.before_us())
    .bind(old.newest_kept.saturating_sub(1))
    .bind(old.most)
    .execute(&store.writer)
    .await
    .map_err(engine)?;
    Ok(dropped.rows_affected())
}
