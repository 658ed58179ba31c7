//! Stations and what is mounted on them.

use std::collections::BTreeMap;

use becket_floor::{CoilId, CoilState, ListId, Station, StationId};
use becket_store::{
    Answer, Kind, Page, PageRequest, StoreError, StoredStation, Unmounted, WriteContext, Written, mount_json,
    station_json,
};
use becket_units::Um;
use sqlx::sqlite::SqliteRow;
use sqlx::{Row, SqliteConnection};

use crate::SqliteStore;
use crate::coils;
use crate::errors::{corrupt, engine, unsigned};
use crate::write::{Write, begin};

pub(crate) async fn save(
    store: &SqliteStore,
    ctx: &WriteContext,
    station: Station,
    expected_version: Option<i64>,
    answer: Answer<StoredStation>,
) -> Result<Written, StoreError> {
    let mut write = begin!(store, ctx);
    let before = match expected_version {
        None => {
            insert(&mut write, &station).await?;
            None
        }
        Some(expected) => Some(update(&mut write, &station, expected).await?),
    };
    let subject = format!("{}/{}", Kind::Station, station.station_id);
    write.journal(subject, before.as_ref().map(station_json), Some(station_json(&station))).await?;
    let stored = read(write.db(), &station.station_id).await?;
    write.finish(&stored, answer).await
}

async fn insert(write: &mut Write<'_>, station: &Station) -> Result<(), StoreError> {
    let now_us = write.ctx.now_us;
    let inserted = sqlx::query(
        "INSERT INTO stations (station_id, title, reel_positions, trays, version, created_us, updated_us) \
         VALUES (?, ?, ?, ?, 1, ?, ?) ON CONFLICT DO NOTHING",
    )
    .bind(station.station_id.as_str())
    .bind(&station.title)
    .bind(station.reel_positions)
    .bind(station.trays)
    .bind(now_us)
    .bind(now_us)
    .execute(write.db())
    .await
    .map_err(engine)?;
    if inserted.rows_affected() == 0 {
        let ids = vec![station.station_id.as_str().to_owned()];
        return Err(StoreError::AlreadyExists { kind: Kind::Station, ids });
    }
    Ok(())
}

/// Returns the station as it was.
async fn update(write: &mut Write<'_>, station: &Station, expected: i64) -> Result<Station, StoreError> {
    let now_us = write.ctx.now_us;
    let before = read(write.db(), &station.station_id).await?;
    if before.version != expected {
        let (id, current) = (station.station_id.as_str().to_owned(), before.version);
        return Err(StoreError::VersionStale { kind: Kind::Station, id, current });
    }
    let positions: Vec<u32> = before
        .station
        .mounted
        .keys()
        .copied()
        .filter(|position| *position > station.reel_positions)
        .collect();
    if !positions.is_empty() {
        return Err(StoreError::PositionsInUse { positions });
    }
    sqlx::query(
        "UPDATE stations SET title = ?, reel_positions = ?, trays = ?, version = version + 1, updated_us = ? \
         WHERE station_id = ?",
    )
    .bind(&station.title)
    .bind(station.reel_positions)
    .bind(station.trays)
    .bind(now_us)
    .bind(station.station_id.as_str())
    .execute(write.db())
    .await
    .map_err(engine)?;
    Ok(before.station)
}

pub(crate) async fn one(store: &SqliteStore, station_id: &StationId) -> Result<StoredStation, StoreError> {
    // One snapshot for the station and its mounts.
    let mut tx = store.reader.begin().await.map_err(engine)?;
    read(&mut tx, station_id).await
}

pub(crate) async fn read(
    db: &mut SqliteConnection,
    station_id: &StationId,
) -> Result<StoredStation, StoreError> {
    let row = sqlx::query("SELECT * FROM stations WHERE station_id = ?")
        .bind(station_id.as_str())
        .fetch_optional(&mut *db)
        .await
        .map_err(engine)?;
    let row =
        row.ok_or_else(|| StoreError::NotFound { kind: Kind::Station, id: station_id.as_str().to_owned() })?;
    let mut stored = station_of(&row)?;
    stored.station.mounted = mounted_on(db, station_id).await?;
    Ok(stored)
}

async fn mounted_on(
    db: &mut SqliteConnection,
    station_id: &StationId,
) -> Result<BTreeMap<u32, CoilId>, StoreError> {
    let rows: Vec<(i64, String)> = sqlx::query_as(
        "SELECT reel_position, coil_id FROM mounts WHERE station_id = ? ORDER BY reel_position",
    )
    .bind(station_id.as_str())
    .fetch_all(db)
    .await
    .map_err(engine)?;
    rows.into_iter()
        .map(|(position, coil)| Ok((unsigned(position)?, CoilId::new(coil).map_err(corrupt)?)))
        .collect()
}

pub(crate) async fn unmount(
    store: &SqliteStore,
    ctx: &WriteContext,
    station_id: &StationId,
    reel_position: u32,
    answer: Answer<Unmounted>,
) -> Result<Written, StoreError> {
    let mut write = begin!(store, ctx);
    let before = read(write.db(), station_id).await?;
    let Some(coil_id) = before.station.mounted.get(&reel_position).cloned() else {
        return Err(StoreError::PositionEmpty { station_id: station_id.clone(), reel_position });
    };
    let (running, list_ids) = expecting(write.db(), station_id, &coil_id).await?;
    if !running.is_empty() {
        return Err(StoreError::CoilReserved { coil_id, list_ids: running });
    }
    sqlx::query("DELETE FROM mounts WHERE station_id = ? AND reel_position = ?")
        .bind(station_id.as_str())
        .bind(reel_position)
        .execute(write.db())
        .await
        .map_err(engine)?;
    let mut coil = coils::read(write.db(), &coil_id).await?.coil;
    if coil.remaining == Um::ZERO && coil.state.is_usable() {
        coil.state = CoilState::UsedUp;
    }
    coils::update(&mut write, &coil).await?;
    let subject = format!("{}/{station_id}", Kind::Station);
    let (was, is) = (mount_json(reel_position, Some(&coil_id)), mount_json(reel_position, None));
    write.journal(subject, Some(was), Some(is)).await?;
    let station = read(write.db(), station_id).await?;
    write.finish(&Unmounted { station, coil_id, list_ids }, answer).await
}

/// Lists of a station that expect a coil on its reel, running ones apart: their next step on the coil does not mount it.
async fn expecting(
    db: &mut SqliteConnection,
    station_id: &StationId,
    coil_id: &CoilId,
) -> Result<(Vec<ListId>, Vec<ListId>), StoreError> {
    let rows: Vec<(String, bool)> = sqlx::query_as(
        "SELECT l.list_id, l.state = 'running' FROM cut_lists l JOIN cut_steps s ON s.list_number = l.list_number \
         WHERE l.station_id = ?1 AND s.coil_id = ?2 AND s.state = 'pending' AND s.kind <> 'mount' \
         AND s.step_number = (SELECT MIN(t.step_number) FROM cut_steps t WHERE t.list_number = l.list_number \
         AND t.coil_id = ?2 AND t.state = 'pending') ORDER BY l.list_number",
    )
    .bind(station_id.as_str())
    .bind(coil_id.as_str())
    .fetch_all(db)
    .await
    .map_err(engine)?;
    let (mut running, mut planned) = (Vec::new(), Vec::new());
    for (list_id, runs) in rows {
        let list_id = ListId::new(list_id).map_err(corrupt)?;
        if runs { running.push(list_id) } else { planned.push(list_id) }
    }
    Ok((running, planned))
}

pub(crate) async fn list(store: &SqliteStore, page: &PageRequest) -> Result<Page<StoredStation>, StoreError> {
    let mut tx = store.reader.begin().await.map_err(engine)?;
    let rows = sqlx::query("SELECT * FROM stations WHERE station_id > ? ORDER BY station_id LIMIT ?")
        .bind(page.after.as_deref().unwrap_or_default())
        .bind(i64::from(page.limit) + 1)
        .fetch_all(&mut *tx)
        .await
        .map_err(engine)?;
    let mut stations = Vec::with_capacity(rows.len());
    for row in &rows {
        let mut stored = station_of(row)?;
        stored.station.mounted = mounted_on(&mut tx, &stored.station.station_id).await?;
        stations.push(stored);
    }
    Ok(Page::from_fetched(stations, page.limit, |stored: &StoredStation| {
        stored.station.station_id.as_str().to_owned()
    }))
}

fn station_of(row: &SqliteRow) -> Result<StoredStation, StoreError> {
    Ok(StoredStation {
        station: Station {
            station_id: StationId::new(row.try_get::<String, _>("station_id").map_err(engine)?)
                .map_err(corrupt)?,
            title: row.try_get("title").map_err(engine)?,
            reel_positions: unsigned(row.try_get("reel_positions").map_err(engine)?)?,
            trays: unsigned(row.try_get("trays").map_err(engine)?)?,
            mounted: BTreeMap::new(),
        },
        version: row.try_get("version").map_err(engine)?,
        created_us: row.try_get("created_us").map_err(engine)?,
        updated_us: row.try_get("updated_us").map_err(engine)?,
    })
}
