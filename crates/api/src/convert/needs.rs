//! What the floor needs of a string set.

use std::collections::BTreeMap;

use becket_floor::{PieceId, PieceNeed, Section, SectionId, SerialDigest, SerialId, SerialNeed, WireId};
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
    let sections = section_numbers(set);
    for (index, piece) in set.pieces.iter().enumerate() {
        match piece_need(piece, &sections) {
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

/// Sections by name, numbered from the bass up: from the lowest note of each.
fn section_numbers(set: &StringSet) -> BTreeMap<&str, u32> {
    let mut lowest: BTreeMap<&str, i32> = BTreeMap::new();
    for string in &set.strings {
        let note = lowest.entry(string.section_id.as_str()).or_insert(string.note);
        *note = string.note.min(*note);
    }
    let mut sections: Vec<(i32, &str)> = lowest.into_iter().map(|(section, note)| (note, section)).collect();
    sections.sort_unstable();
    (1u32..).zip(sections).map(|(number, (_, section))| (section, number)).collect()
}

fn piece_need(piece: &Piece, sections: &BTreeMap<&str, u32>) -> Result<PieceNeed, Fault> {
    let Piece { piece_id, kind, wire_id, string_ids, section_id, length_um, mass_g: _ } = piece;
    let section = SectionId::new(section_id.as_str());
    let section = section.map_err(|_| Fault::new("section_id", section_id, SectionId::ALLOWED))?;
    let number = sections.get(section_id.as_str()).copied();
    let number = number.ok_or_else(|| Fault::new("section_id", section_id, "the section of a string"))?;
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
        section: Some(Section { number, section_id: section }),
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
