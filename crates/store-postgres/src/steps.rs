//! Steps of cut lists.

use becket_floor::Step;
use becket_store::StoreError;
use becket_store::tables::{Code, step_of, step_row};
use sqlx::PgConnection;

use crate::cells::{Cells, each};
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
    let rows = steps.iter().map(|step| step_row(list_number, step)).collect::<Result<Vec<_>, _>>()?;
    sqlx::query("INSERT INTO cut_steps SELECT * FROM json_populate_recordset(NULL::cut_steps, $1::json)")
        .bind(serde_json::Value::from(rows).to_string())
        .execute(db)
        .await
        .map_err(engine)?;
    Ok(())
}

/// Stores what execution changes of a step, if it is the same step. Returns it as it was, which the same statement reads: the list is locked, so
/// nobody else changes it.
pub(crate) async fn execute(
    db: &mut PgConnection,
    list_number: i64,
    step: &Step,
) -> Result<Option<Step>, StoreError> {
    let piece = step.piece.as_ref();
    let before = sqlx::query(
        "UPDATE cut_steps s SET state = $1, length_um = $2, remaining_after_um = $3, tail_use = $4, opens_coil = $5, \
         spoil_cause = $6, done_us = $7, done_by = $8 FROM cut_steps o WHERE s.list_number = $9 AND s.step_number = $10 \
         AND s.kind = $11 AND s.coil_id = $12 AND s.reel_position = $13 AND s.serial_id IS NOT DISTINCT FROM $14 \
         AND s.piece_id IS NOT DISTINCT FROM $15 AND o.list_number = $9 AND o.step_number = $10 RETURNING o.*",
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
    .fetch_optional(db)
    .await
    .map_err(engine)?;
    before.map(|row| step_of(&Cells(row))).transpose()
}
