//! Lists among the coils and the other lists of the floor.

use std::collections::{BTreeMap, BTreeSet};

use becket_floor::{CoilId, ListId, StationId};
use becket_store::tables::corrupt;
use becket_store::{ListOnFloor, StoreError, Workplace};
use becket_units::Um;

use crate::PostgresStore;
use crate::errors::engine;
use crate::{coils, cut_lists, stations};

pub(crate) async fn list(
    store: &PostgresStore,
    list_id: &ListId,
    more: &[CoilId],
) -> Result<ListOnFloor, StoreError> {
    // One snapshot for the list and all that it finds.
    let mut tx = store.snapshot().await?;
    let (number, list) = cut_lists::read(&mut tx, list_id).await?;
    let named: BTreeSet<&CoilId> = list.list.pending().iter().map(|step| &step.coil_id).chain(more).collect();
    let named: Vec<CoilId> = named.into_iter().cloned().collect();
    let coils = coils::read_floor_coils(&mut tx, &named, Some(list_id)).await?;
    let names: Vec<&str> = named.iter().map(|id| id.as_str()).collect();
    let rows: Vec<(String, i64, i64)> = sqlx::query_as(
        "SELECT s.coil_id, \
         COALESCE(SUM(s.length_um) FILTER (WHERE l.state = 'running' AND l.list_number < $1), 0)::bigint, \
         COALESCE(SUM(s.length_um) FILTER (WHERE l.state = 'running' OR l.list_number < $1), 0)::bigint \
         FROM cut_steps s JOIN cut_lists l ON l.list_number = s.list_number \
         WHERE s.coil_id = ANY($2) AND s.state = 'pending' AND s.kind IN ('mount', 'cut') \
         AND s.list_number <> $1 GROUP BY s.coil_id",
    )
    .bind(number)
    .bind(names)
    .fetch_all(&mut *tx)
    .await
    .map_err(engine)?;
    let (mut ahead_running, mut ahead_planned) = (BTreeMap::new(), BTreeMap::new());
    for (coil_id, running, planned) in rows {
        let coil_id = CoilId::new(coil_id).map_err(corrupt)?;
        ahead_running.insert(coil_id.clone(), Um::new(running));
        ahead_planned.insert(coil_id, Um::new(planned));
    }
    Ok(ListOnFloor { list, coils, ahead_running, ahead_planned })
}

pub(crate) async fn workplace(
    store: &PostgresStore,
    station_id: &StationId,
    list_id: &ListId,
    coil_ids: &[CoilId],
) -> Result<Workplace, StoreError> {
    let mut db = store.reader.acquire().await.map_err(engine)?;
    let station = stations::read(&mut db, station_id).await?;
    let found = coils::coils_ahead(&mut db, coil_ids, list_id).await?;
    Ok(Workplace::of(station, found))
}

pub(crate) async fn wanted_elsewhere(
    store: &PostgresStore,
    station_id: &StationId,
) -> Result<BTreeSet<CoilId>, StoreError> {
    let ids: Vec<String> = sqlx::query_scalar(
        "SELECT DISTINCT s.coil_id FROM cut_steps s JOIN cut_lists l ON l.list_number = s.list_number \
         WHERE s.state = 'pending' AND s.kind IN ('mount', 'cut') AND l.station_id <> $1",
    )
    .bind(station_id.as_str())
    .fetch_all(&store.reader)
    .await
    .map_err(engine)?;
    ids.into_iter().map(|id| CoilId::new(id).map_err(corrupt)).collect()
}
