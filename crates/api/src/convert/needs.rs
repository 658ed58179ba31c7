//! What the floor needs of a string set.

use becket_floor::{PieceId, PieceNeed, SerialDigest, SerialId, SerialNeed, WireId};
use becket_scale::StringId;
use becket_units::{Fault, Um};

use super::enums::required;
use crate::stringing::{Piece, StringSet};

/// The pieces of a serial's set, to be planned.
///
/// # Errors
/// All faults by their paths in the set. A set that the stringing service computed has none.
pub fn serial_need(set: &StringSet, due_date: &str) -> Result<SerialNeed, Vec<Fault>> {
    let mut faults = Vec::new();
    let serial_id = SerialId::new(set.serial_id.as_str());
    if serial_id.is_err() {
        faults.push(Fault::new("serial_id", &set.serial_id, SerialId::ALLOWED));
    }
    let mut pieces = Vec::with_capacity(set.pieces.len());
    for (index, piece) in set.pieces.iter().enumerate() {
        match piece_need(piece) {
            Ok(need) => pieces.push(need),
            Err(fault) => faults.push(fault.within(&format!("pieces[{index}]"))),
        }
    }
    match serial_id {
        Ok(serial_id) if faults.is_empty() => {
            let (set_digest, due_date) = (set.digest.clone(), due_date.to_owned());
            Ok(SerialNeed { serial: SerialDigest { serial_id, set_digest, due_date }, pieces })
        }
        _ => Err(faults),
    }
}

fn piece_need(piece: &Piece) -> Result<PieceNeed, Fault> {
    let Piece { piece_id, kind, wire_id, string_ids, section_id: _, length_um, mass_g: _ } = piece;
    if *length_um <= 0 {
        return Err(Fault::new("length_um", length_um, "more than 0"));
    }
    Ok(PieceNeed {
        piece_id: PieceId::new(piece_id.as_str())
            .map_err(|_| Fault::new("piece_id", piece_id, PieceId::ALLOWED))?,
        kind: required("kind", *kind)?,
        wire_id: WireId::new(wire_id.as_str())
            .map_err(|_| Fault::new("wire_id", wire_id, WireId::ALLOWED))?,
        length: Um::new(*length_um),
        notes: notes(string_ids)?,
        recut: false,
    })
}

/// Notes that the strings of a piece serve, rising, each once.
fn notes(string_ids: &[String]) -> Result<Vec<i32>, Fault> {
    let mut notes = Vec::with_capacity(string_ids.len());
    for (index, string_id) in string_ids.iter().enumerate() {
        let string: StringId = string_id.parse().map_err(|error: becket_scale::IdError| {
            Fault::new(format!("string_ids[{index}]"), string_id, error.allowed)
        })?;
        notes.push(i32::from(string.note()));
    }
    notes.sort_unstable();
    notes.dedup();
    Ok(notes)
}
