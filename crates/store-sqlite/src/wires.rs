//! Wires.

use becket_store::{
    Answer, Imported, Kind, NewWire, Page, PageRequest, StoreError, Stored, StoredWire, WriteContext, Written,
};
use sqlx::sqlite::SqliteRow;
use sqlx::{Row, SqliteConnection};

use crate::SqliteStore;
use crate::errors::{corrupt, engine};
use crate::write::{Write, begin};

pub(crate) async fn import(
    store: &SqliteStore,
    ctx: &WriteContext,
    wires: Vec<NewWire>,
    answer: Answer<Imported>,
) -> Result<Written, StoreError> {
    let mut write = begin!(store, ctx);
    let mut imported = Imported::default();
    let mut clashes = Vec::new();
    for wire in wires {
        let there: Option<Vec<u8>> = sqlx::query_scalar("SELECT bytes FROM wires WHERE wire_id = ?")
            .bind(&wire.wire_id)
            .fetch_optional(write.db())
            .await
            .map_err(engine)?;
        match there {
            Some(bytes) if bytes != wire.document.bytes => clashes.push(wire.wire_id),
            // Given twice alike, it is new once.
            Some(_) if imported.added.contains(&wire.wire_id) => {}
            Some(_) => imported.unchanged.push(wire.wire_id),
            None => {
                insert(&mut write, &wire).await?;
                imported.added.push(wire.wire_id);
            }
        }
    }
    if !clashes.is_empty() {
        return Err(StoreError::AlreadyExists { kind: Kind::Wire, ids: clashes });
    }
    write.finish(&imported, answer).await
}

async fn insert(write: &mut Write<'_>, wire: &NewWire) -> Result<(), StoreError> {
    let now_us = write.ctx.now_us;
    sqlx::query(
        "INSERT INTO wires (wire_id, material, bytes, json, version, created_us, updated_us) \
         VALUES (?, ?, ?, ?, 1, ?, ?)",
    )
    .bind(&wire.wire_id)
    .bind(wire.material)
    .bind(&wire.document.bytes)
    .bind(&wire.document.json)
    .bind(now_us)
    .bind(now_us)
    .execute(write.db())
    .await
    .map_err(engine)?;
    write.journal(subject(&wire.wire_id), None, Some(wire.document.json.clone())).await
}

pub(crate) async fn update(
    store: &SqliteStore,
    ctx: &WriteContext,
    expected_version: i64,
    wire: NewWire,
    answer: Answer<StoredWire>,
) -> Result<Written, StoreError> {
    let mut write = begin!(store, ctx);
    let before: Option<(String, i64)> = sqlx::query_as("SELECT json, version FROM wires WHERE wire_id = ?")
        .bind(&wire.wire_id)
        .fetch_optional(write.db())
        .await
        .map_err(engine)?;
    let (before, current) = before.ok_or_else(|| missing(&wire.wire_id))?;
    if current != expected_version {
        return Err(StoreError::VersionStale { kind: Kind::Wire, id: wire.wire_id, current });
    }
    sqlx::query(
        "UPDATE wires SET material = ?, bytes = ?, json = ?, version = version + 1, updated_us = ? WHERE wire_id = ?",
    )
    .bind(wire.material)
    .bind(&wire.document.bytes)
    .bind(&wire.document.json)
    .bind(ctx.now_us)
    .bind(&wire.wire_id)
    .execute(write.db())
    .await
    .map_err(engine)?;
    write.journal(subject(&wire.wire_id), Some(before), Some(wire.document.json)).await?;
    let stored = read(write.db(), &wire.wire_id).await?;
    write.finish(&stored, answer).await
}

pub(crate) async fn one(store: &SqliteStore, wire_id: &str) -> Result<StoredWire, StoreError> {
    let mut db = store.reader.acquire().await.map_err(engine)?;
    read(&mut db, wire_id).await
}

async fn read(db: &mut SqliteConnection, wire_id: &str) -> Result<StoredWire, StoreError> {
    let row = sqlx::query("SELECT * FROM wires WHERE wire_id = ?")
        .bind(wire_id)
        .fetch_optional(db)
        .await
        .map_err(engine)?;
    wire_of(&row.ok_or_else(|| missing(wire_id))?)
}

pub(crate) async fn some(store: &SqliteStore, wire_ids: &[String]) -> Result<Vec<StoredWire>, StoreError> {
    let ids = serde_json::to_string(wire_ids).map_err(corrupt)?;
    let rows =
        sqlx::query("SELECT * FROM wires WHERE wire_id IN (SELECT value FROM json_each(?)) ORDER BY wire_id")
            .bind(ids)
            .fetch_all(&store.reader)
            .await
            .map_err(engine)?;
    rows.iter().map(wire_of).collect()
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
    let wires = rows.iter().map(wire_of).collect::<Result<_, _>>()?;
    Ok(Page::from_fetched(wires, page.limit, |wire: &StoredWire| wire.wire_id.clone()))
}

fn wire_of(row: &SqliteRow) -> Result<StoredWire, StoreError> {
    Ok(StoredWire { wire_id: row.try_get("wire_id").map_err(engine)?, stored: stored_of(row)? })
}

/// The columns that every document has.
pub(crate) fn stored_of(row: &SqliteRow) -> Result<Stored, StoreError> {
    Ok(Stored {
        bytes: row.try_get("bytes").map_err(engine)?,
        version: row.try_get("version").map_err(engine)?,
        created_us: row.try_get("created_us").map_err(engine)?,
        updated_us: row.try_get("updated_us").map_err(engine)?,
    })
}

fn subject(wire_id: &str) -> String {
    format!("{}/{wire_id}", Kind::Wire)
}

fn missing(wire_id: &str) -> StoreError {
    StoreError::NotFound { kind: Kind::Wire, id: wire_id.to_owned() }
}
