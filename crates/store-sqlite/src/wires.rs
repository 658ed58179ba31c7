//! Wires.

use async_trait::async_trait;
use becket_store::tables::{KnownWire, WireTables, corrupt, wire_of};
use becket_store::{Kind, NewWire, Page, PageRequest, StoreError, StoredWire};

use crate::SqliteStore;
use crate::cells::{Cells, each};
use crate::errors::engine;
use crate::write::Write;

#[async_trait]
impl WireTables for Write<'_> {
    async fn insert_wire(&mut self, wire: &NewWire) -> Result<bool, StoreError> {
        let now_us = self.ctx.now_us;
        let inserted = sqlx::query(
            "INSERT INTO wires (wire_id, material, bytes, json, version, created_us, updated_us) \
             VALUES (?, ?, ?, ?, 1, ?, ?) ON CONFLICT DO NOTHING",
        )
        .bind(&wire.wire_id)
        .bind(wire.material)
        .bind(&wire.document.bytes)
        .bind(&wire.document.json)
        .bind(now_us)
        .bind(now_us)
        .execute(self.db())
        .await
        .map_err(engine)?;
        Ok(inserted.rows_affected() == 1)
    }

    async fn wire_bytes(&mut self, wire_id: &str) -> Result<Vec<u8>, StoreError> {
        sqlx::query_scalar("SELECT bytes FROM wires WHERE wire_id = ?")
            .bind(wire_id)
            .fetch_one(self.db())
            .await
            .map_err(engine)
    }

    async fn lock_wire(&mut self, wire_id: &str) -> Result<Option<KnownWire>, StoreError> {
        let row = sqlx::query("SELECT * FROM wires WHERE wire_id = ?")
            .bind(wire_id)
            .fetch_optional(self.db())
            .await
            .map_err(engine)?;
        row.map(|row| KnownWire::of(&Cells(row))).transpose()
    }

    async fn replace_wire(&mut self, wire: &NewWire) -> Result<StoredWire, StoreError> {
        let now_us = self.ctx.now_us;
        let row = sqlx::query(
            "UPDATE wires SET material = ?, bytes = ?, json = ?, version = version + 1, updated_us = ? \
             WHERE wire_id = ? RETURNING *",
        )
        .bind(wire.material)
        .bind(&wire.document.bytes)
        .bind(&wire.document.json)
        .bind(now_us)
        .bind(&wire.wire_id)
        .fetch_one(self.db())
        .await
        .map_err(engine)?;
        wire_of(&Cells(row))
    }
}

pub(crate) async fn one(store: &SqliteStore, wire_id: &str) -> Result<StoredWire, StoreError> {
    let row = sqlx::query("SELECT * FROM wires WHERE wire_id = ?")
        .bind(wire_id)
        .fetch_optional(&store.reader)
        .await
        .map_err(engine)?;
    wire_of(&Cells(row.ok_or_else(|| StoreError::NotFound { kind: Kind::Wire, id: wire_id.to_owned() })?))
}

pub(crate) async fn some(store: &SqliteStore, wire_ids: &[String]) -> Result<Vec<StoredWire>, StoreError> {
    let ids = serde_json::to_string(wire_ids).map_err(corrupt)?;
    let rows =
        sqlx::query("SELECT * FROM wires WHERE wire_id IN (SELECT value FROM json_each(?)) ORDER BY wire_id")
            .bind(ids)
            .fetch_all(&store.reader)
            .await
            .map_err(engine)?;
    each(rows, wire_of)
}

pub(crate) async fn generation(store: &SqliteStore) -> Result<i64, StoreError> {
    // Every addition and every change adds one, and no wire is ever removed.
    sqlx::query_scalar("SELECT COALESCE(SUM(version), 0) FROM wires")
        .fetch_one(&store.reader)
        .await
        .map_err(engine)
}

pub(crate) async fn list(
    store: &SqliteStore,
    material: Option<i32>,
    page: &PageRequest,
) -> Result<Page<StoredWire>, StoreError> {
    let rows = sqlx::query(
        "SELECT * FROM wires WHERE wire_id > ?1 AND (?2 IS NULL OR material = ?2) ORDER BY wire_id LIMIT ?3",
    )
    .bind(page.after.as_deref().unwrap_or_default())
    .bind(material)
    .bind(i64::from(page.limit) + 1)
    .fetch_all(&store.reader)
    .await
    .map_err(engine)?;
    let wires = each(rows, wire_of)?;
    Ok(Page::from_fetched(wires, page.limit, |wire: &StoredWire| wire.wire_id.clone()))
}
