//! First answers by caller, method and request id.

use becket_store::{StoreError, WriteContext};
use sqlx::PgConnection;

use crate::errors::engine;

/// The first answer to this request, if it was made before. Else its place is taken: whoever sends the same request meanwhile
/// waits until this one is stored or undone.
pub(crate) async fn claim(db: &mut PgConnection, ctx: &WriteContext) -> Result<Option<Vec<u8>>, StoreError> {
    let claimed = sqlx::query(
        "INSERT INTO answers (actor, method, request_id, digest, answer, created_us) VALUES ($1, $2, $3, $4, '', $5) \
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
    find(db, ctx).await
}

/// The first answer to this request, if it was made before.
pub(crate) async fn find(db: &mut PgConnection, ctx: &WriteContext) -> Result<Option<Vec<u8>>, StoreError> {
    let row: Option<(Vec<u8>, Vec<u8>)> = sqlx::query_as(
        "SELECT digest, answer FROM answers WHERE actor = $1 AND method = $2 AND request_id = $3",
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

/// Keeps the first answer in the place that was taken.
pub(crate) async fn keep(db: &mut PgConnection, ctx: &WriteContext, answer: &[u8]) -> Result<(), StoreError> {
    sqlx::query("UPDATE answers SET answer = $4 WHERE actor = $1 AND method = $2 AND request_id = $3")
        .bind(&ctx.actor)
        .bind(ctx.method)
        .bind(&ctx.request_id)
        .bind(answer)
        .execute(db)
        .await
        .map_err(engine)?;
    Ok(())
}
