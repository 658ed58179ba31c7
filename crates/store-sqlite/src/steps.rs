//! Steps of cut lists.

use becket_floor::Step;
use becket_store::StoreError;
use becket_store::tables::{Code, step_of, step_row};
use sqlx::SqliteConnection;

use crate::cells::{Cells, each};
use crate::errors::engine;

pub(crate) async fn read(db: &mut SqliteConnection, list_number: i64) -> Result<Vec<Step>, StoreError> {
    let rows = sqlx::query("SELECT * FROM cut_steps WHERE list_number = ? ORDER BY step_number")
        .bind(list_number)
        .fetch_all(db)
        .await
        .map_err(engine)?;
    each(rows, step_of)
}

/// Adds steps, in one statement however many they are.
pub(crate) async fn insert(
    db: &mut SqliteConnection,
    list_number: i64,
    steps: &[Step],
) -> Result<(), StoreError> {
    if steps.is_empty() {
        return Ok(());
    }
    let rows = steps.iter().map(|step| step_row(list_number, step)).collect::<Result<Vec<_>, _>>()?;
    sqlx::query(
        "INSERT INTO cut_steps (list_number, step_number, kind, state, coil_id, lot_id, wire_id, reel_position, \
         serial_id, piece_id, piece_kind, notes, piece_um, recut, length_um, remaining_after_um, tail_use, opens_coil, \
         spoil_cause, done_us, done_by, section_id, section_number) \
         SELECT value ->> 'list_number', value ->> 'step_number', value ->> 'kind', value ->> 'state', value ->> 'coil_id', \
         value ->> 'lot_id', value ->> 'wire_id', value ->> 'reel_position', value ->> 'serial_id', value ->> 'piece_id', \
         value ->> 'piece_kind', value ->> 'notes', value ->> 'piece_um', value ->> 'recut', value ->> 'length_um', \
         value ->> 'remaining_after_um', value ->> 'tail_use', value ->> 'opens_coil', value ->> 'spoil_cause', \
         value ->> 'done_us', value ->> 'done_by', value ->> 'section_id', value ->> 'section_number' FROM json_each(?)",
    )
    .bind(serde_json::Value::from(rows).to_string())
    .execute(db)
    .await
    .map_err(engine)?;
    Ok(())
}

/// Stores what execution changes of a step, if it is the same step. Returns it as it was.
pub(crate) async fn execute(
    db: &mut SqliteConnection,
    list_number: i64,
    step: &Step,
) -> Result<Option<Step>, StoreError> {
    let piece = step.piece.as_ref();
    let before = sqlx::query(
        "SELECT * FROM cut_steps WHERE list_number = ? AND step_number = ? AND kind = ? AND coil_id = ? \
         AND reel_position = ? AND serial_id IS ? AND piece_id IS ?",
    )
    .bind(list_number)
    .bind(step.step_number)
    .bind(step.kind.code())
    .bind(step.coil_id.as_str())
    .bind(step.reel_position)
    .bind(piece.map(|piece| piece.serial_id.as_str()))
    .bind(piece.map(|piece| piece.piece_id.as_str()))
    .fetch_optional(&mut *db)
    .await
    .map_err(engine)?;
    let Some(before) = before else { return Ok(None) };
    let before = step_of(&Cells(before))?;
    sqlx::query(
        "UPDATE cut_steps SET state = ?, length_um = ?, remaining_after_um = ?, tail_use = ?, opens_coil = ?, \
         spoil_cause = ?, done_us = ?, done_by = ? WHERE list_number = ? AND step_number = ?",
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
    .bind(step.step_number)
    .execute(db)
    .await
    .map_err(engine)?;
    Ok(Some(before))
}
