//! First answers by caller, method and request id.

use becket_store::{StoreError, WriteContext};
use sqlx::SqliteConnection;

use crate::errors::engine;

/// The first answer to this request, if it was made before.
pub(crate) async fn find(
    db: &mut SqliteConnection,
    ctx: &WriteContext,
) -> Result<Option<Vec<u8>>, StoreError> {
    let row: Option<(Vec<u8>, Vec<u8>)> = sqlx::query_as(
        "SELECT digest, answer FROM answers WHERE actor = ? AND method = ? AND request_id = ?",
    )
    .bind(&ctx.actor)
    .bind(ctx.method)
    .bind(&ctx.request_id)
    .fetch_optional(db)
    .await
    .map_err(engine)?;
    match row {
        None => Ok(None),
        Some((digest, answer)) if digest == ctx.request_digest => Ok(Some(answer)),
        Some(_) => Err(StoreError::RequestIdReused),
    }
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
