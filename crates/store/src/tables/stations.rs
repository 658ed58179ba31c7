//! Stations and what is mounted on them.

use async_trait::async_trait;
use becket_floor::{CoilId, CoilState, ListId, Station, StationId};
use becket_units::Um;

use super::coils::{lock_coil, store_coil};
use super::effects::coils as effects;
use super::{CoilTables, note};
use crate::cut_store::{StoredStation, Unmounted};
use crate::error::{Kind, StoreError};
use crate::floor_json::{mount_json, station_json};

/// The steps of writes of stations.
#[async_trait]
pub trait StationTables: CoilTables {
    /// Keeps others from changing a station, what is mounted on it and which list runs there, until the write has ended. One
    /// that is not there is passed over.
    async fn lock_station(&mut self, _station_id: &StationId) -> Result<(), StoreError> {
        Ok(())
    }

    /// Adds a station with version 1. Returns whether it was new; one that is there stays as it is.
    async fn insert_station(&mut self, station: &Station) -> Result<bool, StoreError>;

    /// A station with what is mounted.
    async fn read_station(&mut self, station_id: &StationId) -> Result<StoredStation, StoreError>;

    /// Stores a station's own data, and raises its version.
    async fn update_station(&mut self, station: &Station) -> Result<(), StoreError>;

    /// Takes off what is on a reel position, and returns it.
    async fn clear_position(
        &mut self,
        station_id: &StationId,
        reel_position: u32,
    ) -> Result<Option<CoilId>, StoreError>;

    /// Puts a coil on an empty reel position.
    async fn mount(
        &mut self,
        station_id: &StationId,
        reel_position: u32,
        coil_id: &CoilId,
    ) -> Result<(), StoreError>;

    /// Lists of a station that expect a coil on its reel, by number, and whether each runs: their next step on the coil does not
    /// mount it.
    async fn lists_expecting(
        &mut self,
        station_id: &StationId,
        coil_id: &CoilId,
    ) -> Result<Vec<(ListId, bool)>, StoreError>;
}

/// See [`CutStore::save_station`](crate::CutStore::save_station).
///
/// # Errors
/// As stated there.
pub async fn save_station(
    tables: &mut impl StationTables,
    station: &Station,
    expected_version: Option<i64>,
) -> Result<StoredStation, StoreError> {
    let before = match expected_version {
        None if tables.insert_station(station).await? => None,
        None => {
            let ids = vec![station.station_id.as_str().to_owned()];
            return Err(StoreError::AlreadyExists { kind: Kind::Station, ids });
        }
        Some(expected) => Some(replace(tables, station, expected).await?),
    };
    let now_us = tables.now_us();
    note(tables, effects::station(before.as_ref(), station, now_us));
    let subject = format!("{}/{}", Kind::Station, station.station_id);
    let was = before.as_ref().map(|before| station_json(&before.station));
    tables.tell(subject, was, Some(station_json(station)));
    tables.read_station(&station.station_id).await
}

/// Returns the station as it was.
async fn replace(
    tables: &mut impl StationTables,
    station: &Station,
    expected: i64,
) -> Result<StoredStation, StoreError> {
    tables.lock_station(&station.station_id).await?;
    let before = tables.read_station(&station.station_id).await?;
    if before.version != expected {
        let (id, current) = (station.station_id.as_str().to_owned(), before.version);
        return Err(StoreError::VersionStale { kind: Kind::Station, id, current });
    }
    let lost = |position: &u32| *position > station.reel_positions;
    let positions: Vec<u32> = before.station.mounted.keys().copied().filter(lost).collect();
    if !positions.is_empty() {
        return Err(StoreError::PositionsInUse { positions });
    }
    tables.update_station(station).await?;
    Ok(before)
}

/// See [`CutStore::unmount_coil`](crate::CutStore::unmount_coil).
///
/// # Errors
/// As stated there.
pub async fn unmount_coil(
    tables: &mut impl StationTables,
    station_id: &StationId,
    reel_position: u32,
) -> Result<Unmounted, StoreError> {
    tables.lock_station(station_id).await?;
    let before = tables.read_station(station_id).await?;
    let Some(coil_id) = before.station.mounted.get(&reel_position).cloned() else {
        return Err(StoreError::PositionEmpty { station_id: station_id.clone(), reel_position });
    };
    let there = lock_coil(tables, &coil_id).await?;
    let expecting = tables.lists_expecting(station_id, &coil_id).await?;
    let (running, planned): (Vec<_>, Vec<_>) = expecting.into_iter().partition(|(_, runs)| *runs);
    let ids = |lists: Vec<(ListId, bool)>| lists.into_iter().map(|(id, _)| id).collect::<Vec<_>>();
    if !running.is_empty() {
        return Err(StoreError::CoilReserved { coil_id, list_ids: ids(running) });
    }
    let was = tables.clear_position(station_id, reel_position).await?;
    note(tables, effects::mounted(station_id, reel_position, was.as_ref(), None));
    let mut coil = there.coil.clone();
    if coil.remaining == Um::ZERO && coil.state.is_usable() {
        coil.state = CoilState::UsedUp;
    }
    store_coil(tables, &there, &coil).await?;
    let (was, is) = (mount_json(reel_position, Some(&coil_id)), mount_json(reel_position, None));
    tables.tell(format!("{}/{station_id}", Kind::Station), Some(was), Some(is));
    let station = tables.read_station(station_id).await?;
    Ok(Unmounted { station, coil_id, list_ids: ids(planned) })
}
