//! Where pieces came from, and where wire went: read from executed steps.

use becket_floor::{LotId, SerialId};
use becket_store::tables::{Columns, claim_of, corrupt, cut_record_of, lot_serial_of};
use becket_store::{Claim, CutRecord, LotSerial, Page, PageRequest, StoreError};

use crate::SqliteStore;
use crate::cells::{Cells, each};
use crate::errors::engine;

pub(crate) async fn of_serials(
    store: &SqliteStore,
    serial_ids: &[SerialId],
) -> Result<Vec<CutRecord>, StoreError> {
    let serial_ids: Vec<&str> = serial_ids.iter().map(|id| id.as_str()).collect();
    let rows = sqlx::query(
        "SELECT s.*, l.list_id FROM cut_steps s JOIN cut_lists l ON l.list_number = s.list_number \
         WHERE s.serial_id IN (SELECT value FROM json_each(?)) AND s.kind = 'cut' AND s.done_us IS NOT NULL \
         ORDER BY s.done_us, s.list_number, s.step_number",
    )
    .bind(serde_json::to_string(&serial_ids).map_err(corrupt)?)
    .fetch_all(&store.reader)
    .await
    .map_err(engine)?;
    each(rows, cut_record_of)
}

pub(crate) async fn serials_of_lot(
    store: &SqliteStore,
    lot_id: &LotId,
    page: &PageRequest,
) -> Result<Page<LotSerial>, StoreError> {
    let (after_serial, after_wire) = page.after_pair()?;
    let mut tx = store.reader.begin().await.map_err(engine)?;
    let rows = sqlx::query(
        "SELECT serial_id, wire_id, SUM(length_um) AS length_um FROM cut_steps \
         WHERE lot_id = ?1 AND kind = 'cut' AND state = 'done' AND (serial_id, wire_id) > (?2, ?3) \
         GROUP BY serial_id, wire_id ORDER BY serial_id, wire_id LIMIT ?4",
    )
    .bind(lot_id.as_str())
    .bind(after_serial)
    .bind(after_wire)
    .bind(i64::from(page.limit) + 1)
    .fetch_all(&mut *tx)
    .await
    .map_err(engine)?;
    let mut serials = Vec::with_capacity(rows.len());
    for row in rows.into_iter().map(Cells) {
        let pieces: Vec<(String, String)> = sqlx::query_as(
            "SELECT coil_id, piece_id FROM cut_steps WHERE lot_id = ? AND serial_id = ? AND wire_id = ? \
             AND kind = 'cut' AND state = 'done' ORDER BY done_us, list_number, step_number",
        )
        .bind(lot_id.as_str())
        .bind(row.text("serial_id")?)
        .bind(row.text("wire_id")?)
        .fetch_all(&mut *tx)
        .await
        .map_err(engine)?;
        serials.push(lot_serial_of(&row, pieces)?);
    }
    Ok(Page::from_fetched(serials, page.limit, |serial: &LotSerial| {
        format!("{}/{}", serial.serial_id, serial.wire_id)
    }))
}

pub(crate) async fn claims(store: &SqliteStore, serial_ids: &[SerialId]) -> Result<Vec<Claim>, StoreError> {
    let serial_ids: Vec<&str> = serial_ids.iter().map(|id| id.as_str()).collect();
    let rows = sqlx::query(
        "SELECT s.serial_id, s.piece_id, s.state = 'done' AS is_cut, l.list_id \
         FROM cut_steps s JOIN cut_lists l ON l.list_number = s.list_number \
         WHERE s.serial_id IN (SELECT value FROM json_each(?)) AND s.kind = 'cut' AND s.state IN ('pending', 'done') \
         ORDER BY s.serial_id, s.piece_id",
    )
    .bind(serde_json::to_string(&serial_ids).map_err(corrupt)?)
    .fetch_all(&store.reader)
    .await
    .map_err(engine)?;
    each(rows, claim_of)
}
