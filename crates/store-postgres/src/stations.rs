//! Stations and what is mounted on them.

use std::collections::BTreeMap;

use async_trait::async_trait;
use becket_floor::{CoilId, ListId, Station, StationId};
use becket_store::tables::{Columns, StationTables, corrupt, station_of, unsigned};
use becket_store::{Kind, Page, PageRequest, StoreError, StoredStation};
use sqlx::PgConnection;

use crate::PostgresStore;
use crate::cells::{Cells, each};
use crate::errors::engine;
use crate::write::Write;

#[async_trait]
impl StationTables for Write<'_> {
    async fn lock_station(&mut self, station_id: &StationId) -> Result<(), StoreError> {
        sqlx::query("SELECT 1 FROM stations WHERE station_id = $1 FOR NO KEY UPDATE")
            .bind(station_id.as_str())
            .execute(self.db())
            .await
            .map_err(engine)?;
        Ok(())
    }

    async fn insert_station(&mut self, station: &Station) -> Result<bool, StoreError> {
        let now_us = self.ctx.now_us;
        let inserted = sqlx::query(
            "INSERT INTO stations (station_id, title, reel_positions, trays, version, created_us, updated_us) \
             VALUES ($1, $2, $3, $4, 1, $5, $6) ON CONFLICT DO NOTHING",
        )
        .bind(station.station_id.as_str())
        .bind(&station.title)
        .bind(i64::from(station.reel_positions))
        .bind(i64::from(station.trays))
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
            "UPDATE stations SET title = $1, reel_positions = $2, trays = $3, version = version + 1, updated_us = $4 \
             WHERE station_id = $5",
        )
        .bind(&station.title)
        .bind(i64::from(station.reel_positions))
        .bind(i64::from(station.trays))
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
            "DELETE FROM mounts WHERE station_id = $1 AND reel_position = $2 RETURNING coil_id",
        )
        .bind(station_id.as_str())
        .bind(i64::from(reel_position))
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
        sqlx::query("INSERT INTO mounts (station_id, reel_position, coil_id) VALUES ($1, $2, $3)")
            .bind(station_id.as_str())
            .bind(i64::from(reel_position))
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
             WHERE l.station_id = $1 AND s.coil_id = $2 AND s.state = 'pending' AND s.kind <> 'mount' \
             AND s.step_number = (SELECT MIN(t.step_number) FROM cut_steps t WHERE t.list_number = l.list_number \
             AND t.coil_id = $2 AND t.state = 'pending') ORDER BY l.list_number",
        )
        .bind(station_id.as_str())
        .bind(coil_id.as_str())
        .fetch_all(self.db())
        .await
        .map_err(engine)?;
        rows.into_iter().map(|(list, runs)| Ok((ListId::new(list).map_err(corrupt)?, runs))).collect()
    }
}

pub(crate) async fn one(store: &PostgresStore, station_id: &StationId) -> Result<StoredStation, StoreError> {
    let mut db = store.reader.acquire().await.map_err(engine)?;
    read(&mut db, station_id).await
}

/// The station with its mounts, in one statement, so as they are at one moment.
pub(crate) async fn read(db: &mut PgConnection, station_id: &StationId) -> Result<StoredStation, StoreError> {
    let rows = sqlx::query(
        "SELECT s.*, m.reel_position, m.coil_id FROM stations s LEFT JOIN mounts m ON m.station_id = s.station_id \
         WHERE s.station_id = $1 ORDER BY m.reel_position",
    )
    .bind(station_id.as_str())
    .fetch_all(db)
    .await
    .map_err(engine)?;
    let rows: Vec<Cells> = rows.into_iter().map(Cells).collect();
    let missing = || StoreError::NotFound { kind: Kind::Station, id: station_id.as_str().to_owned() };
    let mut stored = station_of(rows.first().ok_or_else(missing)?)?;
    for row in &rows {
        // A station on which nothing is mounted is one row without.
        if let (Some(position), Some(coil_id)) =
            (row.optional_integer("reel_position")?, row.optional_text("coil_id")?)
        {
            let coil_id = CoilId::new(coil_id).map_err(corrupt)?;
            stored.station.mounted.insert(unsigned(position)?, coil_id);
        }
    }
    Ok(stored)
}

async fn mounted_on(
    db: &mut PgConnection,
    station_id: &StationId,
) -> Result<BTreeMap<u32, CoilId>, StoreError> {
    let rows: Vec<(i64, String)> = sqlx::query_as(
        "SELECT reel_position, coil_id FROM mounts WHERE station_id = $1 ORDER BY reel_position",
    )
    .bind(station_id.as_str())
    .fetch_all(db)
    .await
    .map_err(engine)?;
    rows.into_iter()
        .map(|(position, coil)| Ok((unsigned(position)?, CoilId::new(coil).map_err(corrupt)?)))
        .collect()
}

pub(crate) async fn list(
    store: &PostgresStore,
    page: &PageRequest,
) -> Result<Page<StoredStation>, StoreError> {
    let mut tx = store.snapshot().await?;
    let rows = sqlx::query("SELECT * FROM stations WHERE station_id > $1 ORDER BY station_id LIMIT $2")
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
