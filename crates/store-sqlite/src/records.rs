//! Where pieces came from, and where wire went: read from executed steps.

use becket_floor::{CoilId, ListId, LotId, PieceId, SerialId, SpoilCause};
use becket_store::{Claim, CutRecord, LotSerial, Page, PageRequest, StoreError};
use sqlx::Row;
use sqlx::sqlite::SqliteRow;

use crate::SqliteStore;
use crate::codes::Code;
use crate::coils::{coil_id, lot_id, um, wire_id};
use crate::errors::{corrupt, engine, unsigned};

pub(crate) async fn of_serial(
    store: &SqliteStore,
    serial_id: &SerialId,
) -> Result<Vec<CutRecord>, StoreError> {
    let rows = sqlx::query(
        "SELECT s.*, l.list_id FROM cut_steps s JOIN cut_lists l ON l.list_number = s.list_number \
         WHERE s.serial_id = ? AND s.kind = 'cut' AND s.done_us IS NOT NULL \
         ORDER BY s.done_us, s.list_number, s.step_number",
    )
    .bind(serial_id.as_str())
    .fetch_all(&store.reader)
    .await
    .map_err(engine)?;
    rows.iter().map(record_of).collect()
}

fn record_of(row: &SqliteRow) -> Result<CutRecord, StoreError> {
    let cause: Option<String> = row.try_get("spoil_cause").map_err(engine)?;
    Ok(CutRecord {
        serial_id: serial_id(row)?,
        piece_id: piece_id(row)?,
        coil_id: coil_id(row)?,
        lot_id: lot_id(row)?,
        wire_id: wire_id(row)?,
        length: um(row, "length_um")?,
        list_id: list_id(row)?,
        step_number: unsigned(row.try_get("step_number").map_err(engine)?)?,
        cut_us: row.try_get("done_us").map_err(engine)?,
        cut_by: row.try_get("done_by").map_err(engine)?,
        spoil_cause: cause.map(|code| SpoilCause::of(&code)).transpose()?,
    })
}

pub(crate) async fn serials_of_lot(
    store: &SqliteStore,
    lot_id: &LotId,
    page: &PageRequest,
) -> Result<Page<LotSerial>, StoreError> {
    let after = page.after.as_deref().map(|cursor| cursor.split_once('/').ok_or(StoreError::CursorInvalid));
    let (after_serial, after_wire) = after.transpose()?.unwrap_or_default();
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
    for row in &rows {
        let mut serial = LotSerial {
            serial_id: serial_id(row)?,
            wire_id: wire_id(row)?,
            coil_ids: Vec::new(),
            piece_ids: Vec::new(),
            length: um(row, "length_um")?,
        };
        let pieces: Vec<(String, String)> = sqlx::query_as(
            "SELECT coil_id, piece_id FROM cut_steps WHERE lot_id = ? AND serial_id = ? AND wire_id = ? \
             AND kind = 'cut' AND state = 'done' ORDER BY done_us, list_number, step_number",
        )
        .bind(lot_id.as_str())
        .bind(serial.serial_id.as_str())
        .bind(serial.wire_id.as_str())
        .fetch_all(&mut *tx)
        .await
        .map_err(engine)?;
        for (coil, piece) in pieces {
            let coil = CoilId::new(coil).map_err(corrupt)?;
            if !serial.coil_ids.contains(&coil) {
                serial.coil_ids.push(coil);
            }
            serial.piece_ids.push(PieceId::new(piece).map_err(corrupt)?);
        }
        serials.push(serial);
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
    let claim = |row: &SqliteRow| {
        Ok(Claim {
            serial_id: serial_id(row)?,
            piece_id: piece_id(row)?,
            list_id: list_id(row)?,
            is_cut: row.try_get("is_cut").map_err(engine)?,
        })
    };
    rows.iter().map(claim).collect()
}

fn serial_id(row: &SqliteRow) -> Result<SerialId, StoreError> {
    SerialId::new(row.try_get::<String, _>("serial_id").map_err(engine)?).map_err(corrupt)
}

fn piece_id(row: &SqliteRow) -> Result<PieceId, StoreError> {
    PieceId::new(row.try_get::<String, _>("piece_id").map_err(engine)?).map_err(corrupt)
}

fn list_id(row: &SqliteRow) -> Result<ListId, StoreError> {
    ListId::new(row.try_get::<String, _>("list_id").map_err(engine)?).map_err(corrupt)
}
