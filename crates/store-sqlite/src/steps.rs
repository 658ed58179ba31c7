//! Steps of cut lists.

use becket_floor::{PieceId, PieceKind, SerialId, SpoilCause, Step, StepKind, StepPiece, StepState, TailUse};
use becket_store::StoreError;
use sqlx::sqlite::SqliteRow;
use sqlx::{Row, SqliteConnection};

use crate::codes::Code;
use crate::coils::{coil_id, lot_id, um, wire_id};
use crate::errors::{corrupt, engine, unsigned};

pub(crate) async fn read(db: &mut SqliteConnection, list_number: i64) -> Result<Vec<Step>, StoreError> {
    let rows = sqlx::query("SELECT * FROM cut_steps WHERE list_number = ? ORDER BY step_number")
        .bind(list_number)
        .fetch_all(db)
        .await
        .map_err(engine)?;
    rows.iter().map(step_of).collect()
}

pub(crate) async fn insert(
    db: &mut SqliteConnection,
    list_number: i64,
    step: &Step,
) -> Result<(), StoreError> {
    let piece = step.piece.as_ref();
    let notes = piece.map(|piece| serde_json::to_string(&piece.notes).map_err(corrupt)).transpose()?;
    sqlx::query(
        "INSERT INTO cut_steps (list_number, step_number, kind, state, coil_id, lot_id, wire_id, reel_position, \
         serial_id, piece_id, piece_kind, notes, piece_um, recut, length_um, remaining_after_um, tail_use, opens_coil, \
         spoil_cause, done_us, done_by) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    )
    .bind(list_number)
    .bind(step.step_number)
    .bind(step.kind.code())
    .bind(step.state.code())
    .bind(step.coil_id.as_str())
    .bind(step.lot_id.as_str())
    .bind(step.wire_id.as_str())
    .bind(step.reel_position)
    .bind(piece.map(|piece| piece.serial_id.as_str()))
    .bind(piece.map(|piece| piece.piece_id.as_str()))
    .bind(piece.map(|piece| piece.kind.code()))
    .bind(notes)
    .bind(piece.map(|piece| piece.length.get()))
    .bind(piece.is_some_and(|piece| piece.recut))
    .bind(step.length.get())
    .bind(step.remaining_after.get())
    .bind(step.tail_use.map(Code::code))
    .bind(step.opens_coil)
    .bind(step.spoil_cause.map(Code::code))
    .bind(step.done_us)
    .bind(&step.done_by)
    .execute(db)
    .await
    .map_err(engine)?;
    Ok(())
}

/// Stores what execution changes of a step. What it cuts, for whom and from which coil does not change by that; a step of that
/// number that differs in it is not found.
pub(crate) async fn execute(
    db: &mut SqliteConnection,
    list_number: i64,
    step: &Step,
) -> Result<(), StoreError> {
    let piece = step.piece.as_ref();
    let updated = sqlx::query(
        "UPDATE cut_steps SET state = ?, length_um = ?, remaining_after_um = ?, tail_use = ?, opens_coil = ?, \
         spoil_cause = ?, done_us = ?, done_by = ? WHERE list_number = ? AND step_number = ? AND kind = ? AND coil_id = ? \
         AND reel_position = ? AND serial_id IS ? AND piece_id IS ?",
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
    .bind(step.kind.code())
    .bind(step.coil_id.as_str())
    .bind(step.reel_position)
    .bind(piece.map(|piece| piece.serial_id.as_str()))
    .bind(piece.map(|piece| piece.piece_id.as_str()))
    .execute(db)
    .await
    .map_err(engine)?;
    if updated.rows_affected() == 1 {
        return Ok(());
    }
    Err(StoreError::ChangeInconsistent { reason: format!("step {} is another one", step.step_number) })
}

fn step_of(row: &SqliteRow) -> Result<Step, StoreError> {
    let get = |column: &str| row.try_get::<Option<String>, _>(column).map_err(engine);
    let tail_use = get("tail_use")?.map(|code| TailUse::of(&code)).transpose()?;
    let spoil_cause = get("spoil_cause")?.map(|code| SpoilCause::of(&code)).transpose()?;
    Ok(Step {
        step_number: unsigned(row.try_get("step_number").map_err(engine)?)?,
        kind: StepKind::of(row.try_get("kind").map_err(engine)?)?,
        state: StepState::of(row.try_get("state").map_err(engine)?)?,
        coil_id: coil_id(row)?,
        lot_id: lot_id(row)?,
        wire_id: wire_id(row)?,
        reel_position: unsigned(row.try_get("reel_position").map_err(engine)?)?,
        piece: piece_of(row)?,
        length: um(row, "length_um")?,
        remaining_after: um(row, "remaining_after_um")?,
        tail_use,
        opens_coil: row.try_get("opens_coil").map_err(engine)?,
        spoil_cause,
        done_us: row.try_get("done_us").map_err(engine)?,
        done_by: row.try_get("done_by").map_err(engine)?,
    })
}

fn piece_of(row: &SqliteRow) -> Result<Option<StepPiece>, StoreError> {
    let get = |column: &str| row.try_get::<Option<String>, _>(column).map_err(engine);
    let (Some(serial), Some(piece), Some(kind), Some(notes)) =
        (get("serial_id")?, get("piece_id")?, get("piece_kind")?, get("notes")?)
    else {
        return Ok(None);
    };
    Ok(Some(StepPiece {
        serial_id: SerialId::new(serial).map_err(corrupt)?,
        piece_id: PieceId::new(piece).map_err(corrupt)?,
        kind: PieceKind::of(&kind)?,
        notes: serde_json::from_str(&notes).map_err(corrupt)?,
        length: um(row, "piece_um")?,
        recut: row.try_get("recut").map_err(engine)?,
    }))
}
