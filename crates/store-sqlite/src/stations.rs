//! Stations and what is mounted on them.

use std::collections::BTreeMap;

use async_trait::async_trait;
use becket_floor::{CoilId, ListId, Station, StationId};
use becket_store::tables::{StationTables, corrupt, station_of, unsigned};
use becket_store::{Kind, Page, PageRequest, StoreError, StoredStation};
use sqlx::SqliteConnection;

use crate::SqliteStore;
use crate::cells::{Cells, each};
use crate::errors::engine;
use crate::write::Write;

#[async_trait]
impl StationTables for Write<'_> {
    async fn insert_station(&mut self, station: &Station) -> Result<bool, StoreError> {
        let now_us = self.ctx.now_us;
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
        .execute(self.db())
        .await
        .map_err(engine)?;
        Ok(inserted.rows_affected() == 1)
    }

    async fn read_station(&mut self, station_id: &StationId) -> Result<StoredStation, StoreError> {
        read(self.db(), station_id).await
    }

    async fn update_station(&mut self, station: &Station) -> Result<(), StoreError> {
        let now_us = self.ctx.now_us;
        sqlx::query(
            "UPDATE stations SET title = ?, reel_positions = ?, trays = ?, version = version + 1, updated_us = ? \
             WHERE station_id = ?",
        )
        .bind(&station.title)
        .bind(station.reel_positions)
        .bind(station.trays)
        .bind(now_us)
        .bind(station.station_id.as_str())
        .execute(self.db())
        .await
        .map_err(engine)?;
        Ok(())
    }

    async fn clear_position(
        &mut self,
        station_id: &StationId,
        reel_position: u32,
    ) -> Result<Option<CoilId>, StoreError> {
        let coil: Option<String> = sqlx::query_scalar(
            "DELETE FROM mounts WHERE station_id = ? AND reel_position = ? RETURNING coil_id",
        )
        .bind(station_id.as_str())
        .bind(reel_position)
        .fetch_optional(self.db())
        .await
        .map_err(engine)?;
        coil.map(|id| CoilId::new(id).map_err(corrupt)).transpose()
    }

    async fn mount(
        &mut self,
        station_id: &StationId,
        reel_position: u32,
        coil_id: &CoilId,
    ) -> Result<(), StoreError> {
        sqlx::query("INSERT INTO mounts (station_id, reel_position, coil_id) VALUES (?, ?, ?)")
            .bind(station_id.as_str())
            .bind(reel_position)
            .bind(coil_id.as_str())
            .execute(self.db())
            .await
            .map_err(engine)?;
        Ok(())
    }

    async fn lists_expecting(
        &mut self,
        station_id: &StationId,
        coil_id: &CoilId,
    ) -> Result<Vec<(ListId, bool)>, StoreError> {
        let rows: Vec<(String, bool)> = sqlx::query_as(
            "SELECT l.list_id, l.state = 'running' FROM cut_lists l JOIN cut_steps s ON s.list_number = l.list_number \
             WHERE l.station_id = ?1 AND s.coil_id = ?2 AND s.state = 'pending' AND s.kind <> 'mount' \
             AND s.step_number = (SELECT MIN(t.step_number) FROM cut_steps t WHERE t.list_number = l.list_number \
             AND t.coil_id = ?2 AND t.state = 'pending') ORDER BY l.list_number",
        )
        .bind(station_id.as_str())
        .bind(coil_id.as_str())
        .fetch_all(self.db())
        .await
        .map_err(engine)?;
        rows.into_iter().map(|(list, runs)| Ok((ListId::new(list).map_err(corrupt)?, runs))).collect()
    }
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
    let missing = || StoreError::NotFound { kind: Kind::Station, id: station_id.as_str().to_owned() };
    let mut stored = station_of(&Cells(row.ok_or_else(missing)?))?;
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

pub(crate) async fn list(store: &SqliteStore, page: &PageRequest) -> Result<Page<StoredStation>, StoreError> {
    let mut tx = store.reader.begin().await.map_err(engine)?;
    let rows = sqlx::query("SELECT * FROM stations WHERE station_id > ? ORDER BY station_id LIMIT ?")
        .bind(page.after.as_deref().unwrap_or_default())
        .bind(i64::from(page.limit) + 1)
        .fetch_all(&mut *tx)
        .await
        .map_err(engine)?;
    let mut stations = each(rows, station_of)?;
    for stored in &mut stations {
        stored.station.mounted = mounted_on(&mut tx, &stored.station.station_id).await?;
    }
    Ok(Page::from_fetched(stations, page.limit, |stored: &StoredStation| {
        stored.station.station_id.as_str().to_owned()
    }))
}
