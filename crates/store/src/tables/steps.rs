//! Steps as rows.

use becket_floor::Step;

use super::{Code, corrupt};
use crate::error::StoreError;

/// A step by the columns of its row, for engines that add many at once. All are given: what is left out would be NULL.
///
/// # Errors
/// [`StoreError::Corrupt`] if the notes cannot be written down, which does not happen.
pub fn step_row(list_number: i64, step: &Step) -> Result<serde_json::Value, StoreError> {
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
