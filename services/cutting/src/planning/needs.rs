//! Which pieces of the serials' sets are to be planned.

use std::collections::BTreeSet;

use becket_floor::{PieceId, SerialId, SerialNeed};
use becket_store::{Claim, CutRecord};

/// Leaves out pieces that are cut and good, or on another list.
pub(crate) fn drop_claimed(needs: &mut [SerialNeed], claims: &[Claim]) {
    let claimed: BTreeSet<(&SerialId, &PieceId)> =
        claims.iter().map(|c| (&c.serial_id, &c.piece_id)).collect();
    for SerialNeed { serial, pieces } in needs {
        pieces.retain(|piece| !claimed.contains(&(&serial.serial_id, &piece.piece_id)));
    }
}

/// Leaves only these pieces of a serial.
pub(crate) fn keep_pieces(need: &mut SerialNeed, wanted: &BTreeSet<(SerialId, PieceId)>) {
    let serial_id = need.serial.serial_id.clone();
    need.pieces.retain(|piece| wanted.contains(&(serial_id.clone(), piece.piece_id.clone())));
}

/// Marks pieces that were cut before and lost.
pub(crate) fn mark_recuts(need: &mut SerialNeed, cuts: &[CutRecord]) {
    let serial_id = &need.serial.serial_id;
    let of_serial = cuts.iter().filter(|cut| cut.serial_id == *serial_id && cut.spoil_cause.is_some());
    let lost: BTreeSet<&PieceId> = of_serial.map(|cut| &cut.piece_id).collect();
    for piece in &mut need.pieces {
        piece.recut = lost.contains(&piece.piece_id);
    }
}
