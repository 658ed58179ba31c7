//! Steps of cut lists.

use becket_floor::Step;
use becket_store::StoreError;
use becket_store::tables::{Code, corrupt, step_of};
use sqlx::PgConnection;

use crate::cells::each;
use crate::errors::engine;

pub(crate) async fn read(db: &mut PgConnection, list_number: i64) -> Result<Vec<Step>, StoreError> {
    let rows = sqlx::query("SELECT * FROM cut_steps WHERE list_number = $1 ORDER BY step_number")
        .bind(list_number)
        .fetch_all(db)
        .await
        .map_err(engine)?;
    each(rows, step_of)
}

/// Adds steps, in one statement however many they are.
pub(crate) async fn insert(
    db: &mut PgConnection,
    list_number: i64,
    steps: &[Step],
) -> Result<(), StoreError> {
    if steps.is_empty() {
        return Ok(());
    }
    let rows = steps.iter().map(|step| row_of(list_number, step)).collect::<Result<Vec<_>, _>>()?;
    sqlx::query("INSERT INTO cut_steps SELECT * FROM json_populate_recordset(NULL::cut_steps, $1::json)")
        .bind(serde_json::Value::from(rows).to_string())
        .execute(db)
        .await
        .map_err(engine)?;
    Ok(())
}

/// A step by the columns of its row. All are given: what is left out would be NULL.
fn row_of(list_number: i64, step: &Step) -> Result<serde_json::Value, StoreError> {
    let piece = step.piece.as_ref();
    let section = piece.and_then(|piece| piece.section.as_ref());
    let notes = piece.map(|piece| serde_json::to_string(&piece.notes).map_err(corrupt)).transpose()?;
    Ok(serde_json::json!({
        "list_number": list_number,
        "step_number": step.step_number,
        "kind": step.kind.code(),
        "state": step.state.code(),
        "coil_id": step.coil_id.as_str(),
        "lot_id": step.lot_id.as_str(),
        "wire_id": step.wire_id.as_str(),
        "reel_position": step.reel_position,
        "serial_id": piece.map(|piece| piece.serial_id.as_str()),
        "piece_id": piece.map(|piece| piece.piece_id.as_str()),
        "piece_kind": piece.map(|piece| piece.kind.code()),
        "notes": notes,
        "piece_um": piece.map(|piece| piece.length.get()),
        "recut": piece.is_some_and(|piece| piece.recut),
        "length_um": step.length.get(),
        "remaining_after_um": step.remaining_after.get(),
        "tail_use": step.tail_use.map(Code::code),
        "opens_coil": step.opens_coil,
        "spoil_cause": step.spoil_cause.map(Code::code),
        "done_us": step.done_us,
        "done_by": step.done_by,
        "section_id": section.map(|section| section.section_id.as_str()),
        "section_number": section.map(|section| section.number),
    }))
}

/// Stores what execution changes of a step, if it is the same step.
pub(crate) async fn execute(
    db: &mut PgConnection,
    list_number: i64,
    step: &Step,
) -> Result<bool, StoreError> {
    let piece = step.piece.as_ref();
    let updated = sqlx::query(
        "UPDATE cut_steps SET state = $1, length_um = $2, remaining_after_um = $3, tail_use = $4, opens_coil = $5, \
         spoil_cause = $6, done_us = $7, done_by = $8 WHERE list_number = $9 AND step_number = $10 AND kind = $11 AND coil_id = $12 \
         AND reel_position = $13 AND serial_id IS NOT DISTINCT FROM $14 AND piece_id IS NOT DISTINCT FROM $15",
    )
    .bind(step.state.code())
    .bind(step.length.get())
    .bind(step.remaining_after.get())
    .bind(step.tail_use.map(Code::code))
    .bind(step.opens_coil)
    .bind(step.spoil_cause.map(Code::code))
    .bind(step.done_us)
    .bind(&step.done_by)
    .bind(list_number)
    .bind(i64::from(step.step_number))
    .bind(step.kind.code())
    .bind(step.coil_id.as_str())
    .bind(i64::from(step.reel_position))
    .bind(piece.map(|piece| piece.serial_id.as_str()))
    .bind(piece.map(|piece| piece.piece_id.as_str()))
    .execute(db)
    .await
    .map_err(engine)?;
    Ok(updated.rows_affected() == 1)
}
