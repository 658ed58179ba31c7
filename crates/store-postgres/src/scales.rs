//! Scale revisions.

use async_trait::async_trait;
use becket_store::tables::{KnownScale, ScaleKey, ScaleTables, scale_of};
use becket_store::{Document, Page, PageRequest, ScaleStanding, StoreError, StoredScale};

use crate::PostgresStore;
use crate::cells::{Cells, each};
use crate::errors::engine;
use crate::write::Write;

#[async_trait]
impl ScaleTables for Write<'_> {
    async fn insert_scale(
        &mut self,
        key: ScaleKey<'_>,
        document: &Document,
    ) -> Result<Option<StoredScale>, StoreError> {
        let now_us = self.ctx.now_us;
        let row = sqlx::query(
            "INSERT INTO scales (model_id, revision_id, bytes, json, version, created_us, updated_us) \
             VALUES ($1, $2, $3, $4, 1, $5, $6) ON CONFLICT DO NOTHING RETURNING *",
        )
        .bind(key.model_id)
        .bind(key.revision_id)
        .bind(&document.bytes)
        .bind(&document.json)
        .bind(now_us)
        .bind(now_us)
        .fetch_optional(self.db())
        .await
        .map_err(engine)?;
        row.map(|row| scale_of(&Cells(row))).transpose()
    }

    async fn lock_scale(&mut self, key: ScaleKey<'_>) -> Result<Option<KnownScale>, StoreError> {
        let row = sqlx::query("SELECT * FROM scales WHERE model_id = $1 AND revision_id = $2 FOR UPDATE")
            .bind(key.model_id)
            .bind(key.revision_id)
            .fetch_optional(self.db())
            .await
            .map_err(engine)?;
        row.map(|row| KnownScale::of(&Cells(row))).transpose()
    }

    async fn replace_scale(
        &mut self,
        key: ScaleKey<'_>,
        document: &Document,
    ) -> Result<StoredScale, StoreError> {
        let now_us = self.ctx.now_us;
        let row = sqlx::query(
            "UPDATE scales SET bytes = $1, json = $2, version = version + 1, updated_us = $3 \
             WHERE model_id = $4 AND revision_id = $5 RETURNING *",
        )
        .bind(&document.bytes)
        .bind(&document.json)
        .bind(now_us)
        .bind(key.model_id)
        .bind(key.revision_id)
        .fetch_one(self.db())
        .await
        .map_err(engine)?;
        scale_of(&Cells(row))
    }

    async fn mark_scale_released(&mut self, key: ScaleKey<'_>) -> Result<StoredScale, StoreError> {
        let now_us = self.ctx.now_us;
        let row = sqlx::query(
            "UPDATE scales SET released_us = $1, version = version + 1, updated_us = $1 \
             WHERE model_id = $2 AND revision_id = $3 RETURNING *",
        )
        .bind(now_us)
        .bind(key.model_id)
        .bind(key.revision_id)
        .fetch_one(self.db())
        .await
        .map_err(engine)?;
        scale_of(&Cells(row))
    }
}

pub(crate) async fn one(store: &PostgresStore, key: ScaleKey<'_>) -> Result<StoredScale, StoreError> {
    let row = sqlx::query("SELECT * FROM scales WHERE model_id = $1 AND revision_id = $2")
        .bind(key.model_id)
        .bind(key.revision_id)
        .fetch_optional(&store.reader)
        .await
        .map_err(engine)?;
    scale_of(&Cells(row.ok_or_else(|| key.missing())?))
}

pub(crate) async fn standing(store: &PostgresStore, key: ScaleKey<'_>) -> Result<ScaleStanding, StoreError> {
    let row: Option<(i64, i64)> = sqlx::query_as(
        "SELECT version, (SELECT COALESCE(SUM(version)::bigint, 0) FROM wires) FROM scales \
         WHERE model_id = $1 AND revision_id = $2",
    )
    .bind(key.model_id)
    .bind(key.revision_id)
    .fetch_optional(&store.reader)
    .await
    .map_err(engine)?;
    let (scale_version, wires_generation) = row.ok_or_else(|| key.missing())?;
    Ok(ScaleStanding { scale_version, wires_generation })
}

pub(crate) async fn list(
    store: &PostgresStore,
    model_id: Option<&str>,
    page: &PageRequest,
) -> Result<Page<StoredScale>, StoreError> {
    let (after_model, after_revision) = page.after_pair()?;
    let rows = sqlx::query(
        "SELECT * FROM scales WHERE (model_id, revision_id) > ($1, $2) AND ($3 IS NULL OR model_id = $3) \
         ORDER BY model_id, revision_id LIMIT $4",
    )
    .bind(after_model)
    .bind(after_revision)
    .bind(model_id)
    .bind(i64::from(page.limit) + 1)
    .fetch_all(&store.reader)
    .await
    .map_err(engine)?;
    let scales = each(rows, scale_of)?;
    Ok(Page::from_fetched(scales, page.limit, |scale: &StoredScale| {
        format!("{}/{}", scale.model_id, scale.revision_id)
    }))
}
