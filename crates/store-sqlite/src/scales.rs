//! Scale revisions.

use becket_store::{
    Answer, Document, Kind, Page, PageRequest, ScaleStanding, StoreError, StoredScale, WriteContext, Written,
};
use sqlx::sqlite::SqliteRow;
use sqlx::{Row, SqliteConnection};

use crate::SqliteStore;
use crate::errors::engine;
use crate::wires::stored_of;
use crate::write::{Write, begin};

/// Name of a revision.
#[derive(Clone, Copy)]
pub(crate) struct ScaleKey<'a> {
    pub(crate) model_id: &'a str,
    pub(crate) revision_id: &'a str,
}

impl ScaleKey<'_> {
    fn id(self) -> String {
        format!("{}/{}", self.model_id, self.revision_id)
    }

    fn subject(self) -> String {
        format!("{}/{}", Kind::Scale, self.id())
    }
}

pub(crate) async fn create(
    store: &SqliteStore,
    ctx: &WriteContext,
    key: ScaleKey<'_>,
    document: Document,
    answer: Answer<StoredScale>,
) -> Result<Written, StoreError> {
    let mut write = begin!(store, ctx);
    let inserted = sqlx::query(
        "INSERT INTO scales (model_id, revision_id, bytes, json, version, created_us, updated_us) \
         VALUES (?, ?, ?, ?, 1, ?, ?) ON CONFLICT DO NOTHING",
    )
    .bind(key.model_id)
    .bind(key.revision_id)
    .bind(&document.bytes)
    .bind(&document.json)
    .bind(ctx.now_us)
    .bind(ctx.now_us)
    .execute(write.db())
    .await
    .map_err(engine)?;
    if inserted.rows_affected() == 0 {
        return Err(StoreError::AlreadyExists { kind: Kind::Scale, ids: vec![key.id()] });
    }
    write.journal(key.subject(), None, Some(document.json)).await?;
    let scale = read(write.db(), key).await?;
    write.finish(&scale, answer).await
}

pub(crate) async fn update(
    store: &SqliteStore,
    ctx: &WriteContext,
    key: ScaleKey<'_>,
    expected_version: i64,
    document: Document,
    answer: Answer<StoredScale>,
) -> Result<Written, StoreError> {
    let mut write = begin!(store, ctx);
    let before = draft_json(&mut write, key, expected_version).await?;
    sqlx::query(
        "UPDATE scales SET bytes = ?, json = ?, version = version + 1, updated_us = ? \
         WHERE model_id = ? AND revision_id = ?",
    )
    .bind(&document.bytes)
    .bind(&document.json)
    .bind(ctx.now_us)
    .bind(key.model_id)
    .bind(key.revision_id)
    .execute(write.db())
    .await
    .map_err(engine)?;
    write.journal(key.subject(), Some(before), Some(document.json)).await?;
    let scale = read(write.db(), key).await?;
    write.finish(&scale, answer).await
}

pub(crate) async fn release(
    store: &SqliteStore,
    ctx: &WriteContext,
    key: ScaleKey<'_>,
    expected_version: i64,
    answer: Answer<StoredScale>,
) -> Result<Written, StoreError> {
    let mut write = begin!(store, ctx);
    draft_json(&mut write, key, expected_version).await?;
    sqlx::query(
        "UPDATE scales SET released_us = ?1, version = version + 1, updated_us = ?1 \
         WHERE model_id = ?2 AND revision_id = ?3",
    )
    .bind(ctx.now_us)
    .bind(key.model_id)
    .bind(key.revision_id)
    .execute(write.db())
    .await
    .map_err(engine)?;
    let state = |state: &str| Some(serde_json::json!({ "state": state }).to_string());
    write.journal(key.subject(), state("DRAFT"), state("RELEASED")).await?;
    let scale = read(write.db(), key).await?;
    write.finish(&scale, answer).await
}

/// The JSON of a draft that is as expected.
async fn draft_json(write: &mut Write<'_>, key: ScaleKey<'_>, expected: i64) -> Result<String, StoreError> {
    let row: Option<(String, i64, Option<i64>)> = sqlx::query_as(
        "SELECT json, version, released_us FROM scales WHERE model_id = ? AND revision_id = ?",
    )
    .bind(key.model_id)
    .bind(key.revision_id)
    .fetch_optional(write.db())
    .await
    .map_err(engine)?;
    match row {
        None => Err(missing(key)),
        Some((_, _, Some(_))) => Err(StoreError::ScaleReleased { id: key.id() }),
        Some((_, current, None)) if current != expected => {
            Err(StoreError::VersionStale { kind: Kind::Scale, id: key.id(), current })
        }
        Some((json, _, None)) => Ok(json),
    }
}

pub(crate) async fn one(store: &SqliteStore, key: ScaleKey<'_>) -> Result<StoredScale, StoreError> {
    let mut db = store.reader.acquire().await.map_err(engine)?;
    read(&mut db, key).await
}

pub(crate) async fn standing(store: &SqliteStore, key: ScaleKey<'_>) -> Result<ScaleStanding, StoreError> {
    let row: Option<(i64, i64)> = sqlx::query_as(
        "SELECT version, (SELECT COALESCE(SUM(version), 0) FROM wires) FROM scales \
         WHERE model_id = ? AND revision_id = ?",
    )
    .bind(key.model_id)
    .bind(key.revision_id)
    .fetch_optional(&store.reader)
    .await
    .map_err(engine)?;
    let (scale_version, wires_generation) = row.ok_or_else(|| missing(key))?;
    Ok(ScaleStanding { scale_version, wires_generation })
}

async fn read(db: &mut SqliteConnection, key: ScaleKey<'_>) -> Result<StoredScale, StoreError> {
    let row = sqlx::query("SELECT * FROM scales WHERE model_id = ? AND revision_id = ?")
        .bind(key.model_id)
        .bind(key.revision_id)
        .fetch_optional(db)
        .await
        .map_err(engine)?;
    scale_of(&row.ok_or_else(|| missing(key))?)
}

pub(crate) async fn list(
    store: &SqliteStore,
    model_id: Option<&str>,
    page: &PageRequest,
) -> Result<Page<StoredScale>, StoreError> {
    let after = page.after.as_deref().map(|cursor| cursor.split_once('/').ok_or(StoreError::CursorInvalid));
    let (after_model, after_revision) = after.transpose()?.unwrap_or_default();
    let rows = sqlx::query(
        "SELECT * FROM scales WHERE (model_id, revision_id) > (?1, ?2) AND (?3 IS NULL OR model_id = ?3) \
         ORDER BY model_id, revision_id LIMIT ?4",
    )
    .bind(after_model)
    .bind(after_revision)
    .bind(model_id)
    .bind(i64::from(page.limit) + 1)
    .fetch_all(&store.reader)
    .await
    .map_err(engine)?;
    let scales = rows.iter().map(scale_of).collect::<Result<_, _>>()?;
    Ok(Page::from_fetched(scales, page.limit, |scale: &StoredScale| {
        format!("{}/{}", scale.model_id, scale.revision_id)
    }))
}

fn scale_of(row: &SqliteRow) -> Result<StoredScale, StoreError> {
    Ok(StoredScale {
        model_id: row.try_get("model_id").map_err(engine)?,
        revision_id: row.try_get("revision_id").map_err(engine)?,
        stored: stored_of(row)?,
        released_us: row.try_get("released_us").map_err(engine)?,
    })
}

fn missing(key: ScaleKey<'_>) -> StoreError {
    StoreError::NotFound { kind: Kind::Scale, id: key.id() }
}
